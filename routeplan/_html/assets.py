"""Styles and scripts of the report: put into one file, or linked from a server."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["SCRIPTS", "STYLES", "Assets", "asset_files", "content_policy"]

STYLES = ("report.css", "print.css")
SCRIPTS = (
    "nonce.js",
    "bokeh.min.js",
    "bokeh-api.min.js",
    "base.js",
    "map.js",
    "day.js",
    "rose.js",
    "grid.js",
    "report.js",
)
"""In the order in which they run; the two of bokeh come from its package."""

_STATIC = Path(__file__).parent / "static"


def asset_files() -> dict[str, Path]:
    """Every style and script by the name under which the report asks for it."""
    found = find_spec("bokeh")  # its files only: the package itself is not loaded
    assert found is not None
    assert found.origin is not None
    bokeh = Path(found.origin).parent / "server" / "static" / "js"
    return {
        name: (bokeh if name.startswith("bokeh") else _STATIC) / name
        for name in (*STYLES, *SCRIPTS)
    }


@cache
def _text(name: str) -> str:
    return asset_files()[name].read_text(encoding="utf-8")


@dataclass(frozen=True, slots=True)
class Assets:
    """How a report gets its styles and scripts.

    `prefix` is where a server has them, None when they are put into the document; `nonce` is that
    of every style and script.
    """

    prefix: str | None
    nonce: str
    meta: bool

    @staticmethod
    def of(prefix: str | None, nonce: str | None, content: str) -> Assets:
        """With a nonce drawn from the content where none is given: same plan, same file.

        The document then states its policy itself.
        """
        drawn = hashlib.sha256(content.encode()).hexdigest()[:32]
        return Assets(prefix, nonce or drawn, meta=nonce is None)

    @property
    def policy(self) -> str:
        """What the document itself allows; "" where whoever serves it says so."""
        return content_policy(self.nonce) if self.meta else ""

    def style(self, name: str) -> Markup:
        """A style sheet."""
        from markupsafe import Markup

        if self.prefix is not None:
            return Markup('<link rel="stylesheet" href="{}{}" nonce="{}">').format(
                self.prefix, name, self.nonce
            )
        text = Markup(_closed(_text(name), "style"))
        return Markup('<style nonce="{}">{}</style>').format(self.nonce, text)

    def script(self, name: str) -> Markup:
        """A script."""
        from markupsafe import Markup

        if self.prefix is not None:
            return Markup('<script src="{}{}" nonce="{}"></script>').format(
                self.prefix, name, self.nonce
            )
        text = Markup(_closed(_text(name), "script"))
        return Markup('<script nonce="{}">{}</script>').format(self.nonce, text)


def _closed(text: str, element: str) -> str:
    """The text of one of our own files or of bokeh, which must not end its element."""
    low = text.lower()
    if f"</{element}" in low or "<!--" in low:
        msg = f"a {element} of the report holds text that ends it or begins a comment"
        raise RuntimeError(msg)
    return text


def content_policy(nonce: str) -> str:
    """The content security policy that the report needs, and no more.

    Scripts and styles by their nonce; no eval, no inline attributes, no images, no requests.
    """
    return (
        f"default-src 'none'; script-src 'nonce-{nonce}'; style-src 'nonce-{nonce}'; "
        "base-uri 'none'; form-action 'none'"
    )
