"""Pages from data: fonts, letters that no font has, and the call of the typesetter.

Text of strangers reaches the typesetter as JSON alone and is set as text, never read as markup.
"""

from __future__ import annotations

import atexit
import functools
import importlib.util
import json
import re
import shutil
import tempfile
import unicodedata
from collections.abc import Mapping
from dataclasses import asdict, is_dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

from routeplan._sheet.words import INVENTED, NOT_PLANNED
from routeplan._show.wording import UNKNOWN

__all__ = ["MISSING", "pdf_of", "without_missing"]

MISSING = (
    "[U+...] stands for letters that no font on this machine has; "
    "sheet.txt and plan.json have them as they are."
)
FAMILY = "DejaVu Sans"  # comes with matplotlib, so that a page is the same on every machine
_FONT_FILES = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf")

_PLAIN = frozenset(map(chr, (*range(0x20, 0x7F), *range(0xA0, 0x180), *range(0x391, 0x3CA),
                             *range(0x400, 0x460)))) | frozenset("–—…′″·×→≤≥°’‘“”")  # fmt: skip
_BREAK = "\N{ZERO WIDTH SPACE}"
_LONG_WORD = re.compile(r"\S{20}(?=\S)")  # broken there, or it would run off the page
_MOST_CODES = 6  # of letters in a row that are written as codes; more are counted


def pdf_of(template: str, data: Any, pictures: Mapping[str, str] | None = None) -> bytes:
    """A PDF from a template of this package.

    Parameters
    ----------
    template : str
        Name of the template.
    data : dataclass or mapping
        Plain values; strings are shown as they are.
    pictures : mapping of str to str, optional
        SVG by name.
    """
    import typst  # the typesetter loads here: nobody else needs it

    values = asdict(data) if is_dataclass(data) and not isinstance(data, type) else dict(data)
    lost: set[str] = set()
    values = _mapped(values, lost)
    values["missing"] = MISSING if lost else ""
    values["words"] = {"invented": INVENTED, "unknown": UNKNOWN, "not_planned": NOT_PLANNED}
    here = files("routeplan._sheet")
    inputs = {"data": json.dumps(values), "family": FAMILY, **(pictures or {})}
    source: Any = here.joinpath(template).read_bytes()
    fonts = _fonts()
    # The root is where a template may read files: there are none but the fonts.
    out: bytes = typst.compile(source, root=fonts, font_paths=[fonts], sys_inputs=inputs)
    return out


def _mapped(value: Any, lost: set[str]) -> Any:
    """The same values with text in letters that can be set; `lost` gets the others."""
    if isinstance(value, str):
        return _LONG_WORD.sub(lambda word: f"{word[0]}{_BREAK}", without_missing(value, lost))
    if isinstance(value, Mapping):
        return {key: _mapped(inner, lost) for key, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [_mapped(inner, lost) for inner in value]
    return value


def without_missing(text: str, lost: set[str], have: frozenset[int] | None = None) -> str:
    """Text with letters that no font has written as codes, `[U+5F20 U+4F1F]`.

    Parameters
    ----------
    text : str
    lost : set of str
        Gets the letters that were replaced.
    have : frozenset of int, optional
        Code points that can be shown; those of the fonts of this machine when None.
    """
    strange = {char for char in text if char not in _PLAIN}
    if not strange:
        return text
    known = _letters() if have is None else have
    missing = {char for char in strange if ord(char) not in known}
    if not missing:
        return text
    lost |= missing
    out: list[str] = []
    run: list[str] = []
    for char in text:
        if char in missing:
            run += [char] if not unicodedata.category(char).startswith("M") else []
            continue
        out.append(_codes(run))
        run = []
        out.append(char)
    return "".join([*out, _codes(run)])


def _codes(run: list[str]) -> str:
    if not run:
        return ""
    more = f" and {len(run) - _MOST_CODES} more" if len(run) > _MOST_CODES else ""
    return f"[{' '.join(f'U+{ord(char):04X}' for char in run[:_MOST_CODES])}{more}]"


@functools.cache
def _fonts() -> str:
    """A directory with our fonts alone, for as long as the process lives.

    Beside them matplotlib keeps a font of boxes for all letters there are, which the typesetter
    would take for letters that it could set.
    """
    spec = importlib.util.find_spec("matplotlib")  # without loading it
    assert spec is not None  # a dependency of this package
    assert spec.origin is not None
    there = Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf"
    out = tempfile.mkdtemp(prefix="routeplan-fonts-")
    atexit.register(shutil.rmtree, out, ignore_errors=True)
    for name in _FONT_FILES:
        shutil.copy(there / name, out)
    return out


@functools.cache
def _letters() -> frozenset[int]:
    """Code points of all fonts that the typesetter finds here, as files."""
    import typst
    from fontTools.ttLib import TTFont, TTLibError

    out: set[int] = set()
    for font in typst.Fonts(font_paths=[_fonts()]).fonts():
        if font.path is None or "lastresort" in font.family.casefold().replace(" ", ""):
            continue
        try:
            with TTFont(font.path, fontNumber=font.index, lazy=True) as read:
                out |= set(read.getBestCmap() or ())
        except (TTLibError, OSError, KeyError):
            continue  # a broken font of the system: what it may have counts as missing
    return frozenset(out)
