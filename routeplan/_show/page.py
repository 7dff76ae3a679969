"""Text on a console: clean, in characters the terminal has, never taken for markup."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from routeplan._show.wording import fit, plain

__all__ = ["INVENTED", "Page"]

INVENTED = "INVENTED DATA: not for use on the water"

_WRAP_MIN = 8  # least width of a column that may wrap


@dataclass(frozen=True, slots=True)
class Page:
    """A console that is given text only: nothing a stranger wrote is taken for markup."""

    console: Console

    def text(self, words: object, style: str = "") -> Text:
        """Clean text in characters the terminal has."""
        return Text(fit(plain(words, 1_000), self.console.encoding), style=style)

    def line(self, words: object = "", style: str = "", indent: int = 0) -> None:
        """Print one paragraph, wrapped."""
        self.console.print(Padding(self.text(words, style), (0, 0, 0, indent)))

    def item(self, mark: str, words: object, indent: int = 2) -> None:
        """Print a paragraph that hangs behind a mark."""
        grid = Table.grid(padding=(0, 1, 0, 0))
        grid.add_column(no_wrap=True)
        grid.add_column(overflow="fold")  # a long path or address is never cut
        grid.add_row(self.text(mark), self.text(words))
        self.console.print(Padding(grid, (0, 0, 0, indent)))

    def pairs(self, rows: Sequence[tuple[str, str]], indent: int = 2) -> None:
        """Print paragraphs that hang behind headings of one width."""
        grid = Table.grid(padding=(0, 2, 0, 0))
        grid.add_column(no_wrap=True)
        grid.add_column(overflow="fold")
        for head, words in rows:
            grid.add_row(self.text(head, "bold"), self.text(words))
        self.console.print(Padding(grid, (0, 0, 0, indent)))

    def raw(self, words: str, indent: int = 0) -> None:
        """Print one line whose blanks matter, cut at the width of the terminal."""
        text = Text(" " * indent + fit(words, self.console.encoding))
        self.console.print(text, no_wrap=True, overflow="crop")

    def heading(self, words: object) -> None:
        """Print a heading after an empty line."""
        self.console.print()
        self.line(words, "bold")

    def table(self, *columns: tuple[str, str]) -> Table:
        """A table without rules; each column is its heading and "left", "right" or "wrap"."""
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="underline")
        for name, how in columns:
            table.add_column(
                self.text(name),
                justify="right" if how == "right" else "left",
                no_wrap=how != "wrap",
                overflow="fold",
                min_width=_WRAP_MIN if how == "wrap" else None,
            )
        return table

    def row(self, table: Table, *cells: object, style: str = "") -> None:
        """Add a row of plain cells."""
        table.add_row(*(self.text(cell) for cell in cells), style=style)

    def show(self, table: Table, indent: int = 2) -> None:
        """Print a table."""
        self.console.print(Padding(table, (0, 0, 0, indent)))
