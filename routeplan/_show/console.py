"""Standard output and standard error: one document or one text, whole or not at all."""

from __future__ import annotations

import contextlib
import io
import sys
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

from routeplan._show.wording import plain
from routeplan.errors import InputError

if TYPE_CHECKING:
    from rich.console import Console

    from routeplan.plan import Plan, Trip

__all__ = ["Tell", "emit_document", "emit_text", "plan_with_progress", "progress_line", "write"]

Tell = Callable[[str, float | None], None]


@contextlib.contextmanager
def progress_line() -> Iterator[Tell | None]:
    """Give a function that tells what is done and which share (None: unknown) on one line.

    None where nobody is looking: standard error is no terminal. The line is wiped at the end.
    """
    if not sys.stderr.isatty():
        yield None
        return

    def tell(what: str, share: float | None) -> None:
        shown = "     " if share is None else f"{100 * share:3.0f} %"
        sys.stderr.write(f"\r{plain(what, 60):<60} {shown}")
        sys.stderr.flush()

    try:
        yield tell
    finally:
        sys.stderr.write("\r" + " " * 66 + "\r")
        sys.stderr.flush()


def plan_with_progress(trip: Trip) -> Plan:
    """Plan a trip; tell how far it is where a person is looking."""
    from routeplan.plan import plan_trip

    with progress_line() as tell:
        return plan_trip(trip) if tell is None else plan_trip(trip, progress=tell)


def emit_document(document: dict[str, Any]) -> None:
    """Write a document to standard output, in UTF-8 whatever the terminal."""
    from routeplan.report import document_text

    write(document_text(document), "utf-8")


def emit_text(show: Callable[[Console], None]) -> None:
    """Render everything first, so that a failure leaves no half of it; then write."""
    from rich.console import Console

    sheet = _Sheet()
    console = Console(file=sheet, markup=False, highlight=False, emoji=False)
    show(console)
    lines = sheet.getvalue().split("\n")
    write("\n".join(line.rstrip(" ") for line in lines), console.encoding)


class _Sheet(io.StringIO):
    """Memory that passes for standard output when asked what that can show."""

    @property
    def encoding(self) -> str:  # type: ignore[override]
        return sys.stdout.encoding or "utf-8"

    def isatty(self) -> bool:
        return sys.stdout.isatty()


def write(text: str, encoding: str) -> None:
    """Write to standard output.

    Raises
    ------
    InputError
        If the system refuses, but for a reader who has left: that is BrokenPipeError.
    """
    try:
        sys.stdout.buffer.write(text.encode(encoding, errors="replace"))
        sys.stdout.flush()
    except BrokenPipeError:
        raise
    except OSError as error:
        msg = f"standard output cannot be written: {error.strerror or error}"
        raise InputError(msg) from None
