"""What every picture shares: look, safe text, heading, foot, and the way to a PNG."""

from __future__ import annotations

import functools
import io
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from routeplan._show.wording import plain

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.figure import Figure

    from routeplan.plan import Plan

__all__ = [
    "DOTS_PER_INCH",
    "FOOT_SIZE",
    "INK",
    "MARGIN_IN",
    "QUIET",
    "drawable",
    "foot",
    "heading",
    "look",
    "number_badge",
    "png_bytes",
    "put",
    "text_box",
    "wrapped",
]

DOTS_PER_INCH = 150
MARGIN_IN = 0.35
FOOT_SIZE = 7
INK = "#1d2327"
QUIET = "#4d565c"
_WARNING = "#8a1c00"

_STYLE: dict[str, Any] = {
    "font.family": ["DejaVu Sans"],  # comes with matplotlib, so pictures do not depend on a machine
    "font.size": 9.0,
    "axes.edgecolor": INK,
    "axes.linewidth": 0.8,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "hatch.linewidth": 0.7,
    "text.usetex": False,
    "svg.fonttype": "none",
}


@contextmanager
def look() -> Iterator[None]:
    """The drawing defaults of this package, whatever the user's own settings are."""
    from matplotlib import rc_context, rcParamsDefault

    base: dict[Any, Any] = {k: v for k, v in rcParamsDefault.items() if k.split(".")[0] in _GROUPS}
    style: dict[Any, Any] = _STYLE
    with rc_context({**base, **style}):
        yield


_GROUPS = {
    "axes", "figure", "font", "hatch", "image", "lines", "patch", "path", "savefig", "text",
    "xtick", "ytick",
}  # fmt: skip


def png_bytes(figure: Figure) -> bytes:
    """A figure as the bytes of a PNG file; the same figure gives the same bytes."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    FigureCanvasAgg(figure)
    out = io.BytesIO()
    with look():
        figure.savefig(
            out,
            format="png",
            dpi=DOTS_PER_INCH,
            metadata={"Software": "routeplan"},
            pil_kwargs={"compress_level": 3},  # a tenth larger, in half the time
        )
    return out.getvalue()


@functools.cache
def _glyphs() -> frozenset[int]:
    """Characters that every cut of the font has."""
    from matplotlib.font_manager import FontProperties, findfont, get_font

    cuts: Any = (("normal", "normal"), ("bold", "normal"), ("normal", "oblique"))
    fonts = (FontProperties(family="DejaVu Sans", weight=w, style=s) for w, s in cuts)
    return frozenset.intersection(
        *(frozenset(get_font(findfont(font)).get_charmap()) for font in fonts)
    )


def drawable(text: str, limit: int = 300) -> str:
    """One line of clean text in letters the font has; others become an empty box."""
    return "".join(c if ord(c) in _glyphs() else "□" for c in plain(text, limit))


def put(place: Any, x: float, y: float, text: str, **how: Any) -> Any:
    """Write text on an axes or a figure, exactly as it reads: `$` starts no formula."""
    lines = [drawable(line) for line in text.split("\n")]
    artist = place.text(x, y, "\n".join(lines), **how)
    artist.set_parse_math(False)
    return artist


def heading(figure: Figure, plan: Plan, title: str, subtitle: str) -> None:
    """Title at the top left, and beside it in words when the forecast is invented."""
    height = figure.get_figheight()
    put(
        figure, MARGIN_IN / figure.get_figwidth(), 1 - 0.22 / height, title,
        fontsize=14, fontweight="bold", va="top",
    )  # fmt: skip
    put(
        figure, MARGIN_IN / figure.get_figwidth(), 1 - 0.50 / height, subtitle,
        fontsize=9, color=QUIET, va="top",
    )  # fmt: skip
    badges = ["INVENTED DATA: not for use on the water"] if plan.invented else []
    badges += ["WARNING: see the first lines below"] if plan.warnings else []
    for row, words in enumerate(badges):
        badge = put(
            figure, 1 - MARGIN_IN / figure.get_figwidth(), 1 - (0.22 + 0.29 * row) / height, words,
            fontsize=10 - 2 * row, fontweight="bold", color=_WARNING, va="top", ha="right",
        )  # fmt: skip
        badge.set_bbox({"boxstyle": "square,pad=0.35", "fc": "white", "ec": _WARNING, "lw": 1.4})


def number_badge(
    place: Any, x: float, y: float, number: int, *, flagged: bool, size: float = 7.0
) -> None:
    """Write a leg's number in a disc: white, black when the leg is flagged."""
    put(
        place, x, y, str(number), fontsize=size, fontweight="bold", ha="center", va="center",
        color="white" if flagged else INK, zorder=9,
        bbox={
            "boxstyle": "circle,pad=0.28", "fc": INK if flagged else "white", "ec": INK, "lw": 1.0
        },
    )  # fmt: skip


def wrapped(text: str, width_in: float, size: float) -> list[str]:
    """Text broken into lines that fit a width at a font size; a long word is cut."""
    room = width_in * 72.0 / size
    lines = [""]
    for word in drawable(text, 1_000).split():
        longer = f"{lines[-1]} {word}" if lines[-1] else word
        if text_width(longer) <= room:
            lines[-1] = longer
            continue
        if lines[-1]:
            lines.append("")
        lines[-1] = _cut(word, room)
    return lines


def text_width(text: str) -> float:
    """Width of a line of regular text over its font size."""
    return sum(_advance(char) for char in drawable(text, 1_000))


def _cut(word: str, room: float) -> str:
    while len(word) > 1 and text_width(word) > room:
        word = word[:-2] + "…"
    return word


@functools.cache
def _advance(char: str) -> float:
    from matplotlib.font_manager import findfont, get_font

    font = get_font(findfont("DejaVu Sans"))
    font.set_size(_EM, 72)
    return float(font.load_char(ord(char)).linearHoriAdvance) / 65536.0 / _EM


_EM = 64.0


def foot(figure: Figure, lines: list[str]) -> None:
    """Sources and cautions along the bottom, one to a line."""
    height = figure.get_figheight()
    for row, line in enumerate(reversed(lines)):
        put(
            figure, MARGIN_IN / figure.get_figwidth(), (0.14 + 0.155 * row) / height, line,
            fontsize=FOOT_SIZE, color=_WARNING if line.startswith("WARNING") else QUIET,
            va="bottom",
        )  # fmt: skip


def text_box(artist: Artist, figure: Figure) -> tuple[float, float, float, float]:
    """Left, bottom, right, top of a drawn text in pixels."""
    box = artist.get_window_extent(figure.canvas.get_renderer())  # type: ignore[attr-defined]
    return float(box.x0), float(box.y0), float(box.x1), float(box.y1)
