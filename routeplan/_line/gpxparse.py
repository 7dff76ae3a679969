"""GPX text to plain values, with limits and line numbers. Plumbing of `gpx`.

Files come from strangers. defusedxml's expat driver refuses document type declarations, hence
every entity bomb and outside reference, before anything is expanded. The elements wanted here
are few, so they are picked from the stream: that gives each complaint its line, applies the
limits while reading, and skips times, extensions and foreign elements without keeping them.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import NoReturn
from xml.sax import SAXParseException
from xml.sax.handler import ContentHandler, feature_namespaces
from xml.sax.xmlreader import AttributesNSImpl

from defusedxml.common import DefusedXmlException
from defusedxml.expatreader import DefusedExpatParser

from routeplan._line.waypoint import Waypoint
from routeplan.errors import GPXError

__all__ = ["MAX_WAYPOINTS", "ParsedGPX", "ParsedLine", "clean_text", "parse_gpx", "shown"]

MAX_POINTS = 1_000_000  # of all kinds together
MAX_WAYPOINTS = 10_000
MAX_LINES = 1_000  # routes and tracks
_MAX_DEPTH = 100
_MAX_NAME = 120
_MAX_NOTE = 500
_MAX_DIGITS = 2_000  # the longest exact decimal of a double has some 1,100
_MAX_RAW = 4_000  # characters of one element that are looked at
_CHUNK = 1 << 16

# What expat says when the text stops in the middle.
_CUT_OFF = frozenset(
    {"no element found", "unclosed token", "partial character", "unclosed CDATA section"}
)

# What may stand inside what; everything else is skipped with all it holds.
_CHILDREN: dict[str, frozenset[str]] = {
    "gpx": frozenset({"wpt", "rte", "trk", "metadata", "name"}),
    "metadata": frozenset({"name"}),
    "rte": frozenset({"name", "rtept"}),
    "trk": frozenset({"name", "trkseg"}),
    "trkseg": frozenset({"trkpt"}),
    "wpt": frozenset({"name", "type", "sym", "ele", "cmt", "desc"}),
    "rtept": frozenset({"name", "type", "sym", "ele", "cmt", "desc"}),
}
_POINTS = {"wpt": "a waypoint", "rtept": "a route point", "trkpt": "a track point"}
_TEXTS = frozenset({"name", "type", "sym", "ele", "cmt", "desc"})
_NAMESPACE = re.compile(r"https?://www\.topografix\.com/GPX/1/[01]/?", re.IGNORECASE)
_NUMBER = re.compile(r"\s*[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,3})?\s*", re.ASCII)


@dataclass(slots=True)
class ParsedLine:
    """A route (`points`) or a track (`segments` of longitude, latitude) as it stands."""

    origin: str
    line: int
    name: str = ""
    points: list[Waypoint] = field(default_factory=list)
    segments: list[list[tuple[float, float]]] = field(default_factory=list)
    timed: bool = False  # whether its points have times, which are skipped

    @property
    def count(self) -> int:
        """Number of points."""
        return len(self.points) + sum(len(segment) for segment in self.segments)


@dataclass(slots=True)
class ParsedGPX:
    """What a file holds, in its order."""

    name: str = ""
    waypoints: list[Waypoint] = field(default_factory=list)
    routes: list[ParsedLine] = field(default_factory=list)
    tracks: list[ParsedLine] = field(default_factory=list)


def clean_text(text: str, limit: int = _MAX_NAME) -> str:
    """Words from a stranger made safe to show: one line, no control codes, of limited length.

    Control characters (terminal escapes), characters that turn the direction of writing and
    unassigned ones are dropped; the joiners that some scripts need stay.
    """
    kept = "".join(
        character
        for character in " ".join(text.split())
        if character in "\u200c\u200d" or unicodedata.category(character)[0] != "C"
    )
    kept = " ".join(kept.split())
    return kept if len(kept) <= limit else kept[: limit - 1].rstrip() + "…"


def shown(path: Path) -> str:
    """Give a path for a message."""
    return clean_text(str(path), 1_000)


def parse_gpx(data: bytes, path: Path) -> ParsedGPX:
    """Read the text of a GPX file.

    Raises
    ------
    GPXError
        If it is not complete and well-formed GPX 1.0 or 1.1, or breaks a limit.
    """
    if not data.strip(b"\xef\xbb\xbf \t\r\n"):
        msg = f"{shown(path)} is empty; a GPX file is needed"
        raise GPXError(msg, path=path)
    parser = DefusedExpatParser(forbid_dtd=True)
    handler = _Handler(path, parser.getLineNumber)
    parser.setFeature(feature_namespaces, True)
    parser.setContentHandler(handler)
    try:
        for start in range(0, len(data), _CHUNK):
            parser.feed(data[start : start + _CHUNK])
        parser.close()
    except GPXError:
        raise
    except SAXParseException as error:
        raise _syntax_error(error, data, path, handler) from error
    except DefusedXmlException as error:
        msg = (
            f"{shown(path)}, line {parser.getLineNumber()}: document type declarations and "
            "entities are not allowed in a GPX file"
        )
        raise GPXError(msg, path=path, line=parser.getLineNumber()) from error
    except (LookupError, ValueError) as error:  # from the codecs, before any element
        msg = (
            f"{shown(path)}, line 1: the declared text encoding is not known or not allowed; "
            "UTF-8, UTF-16 and encodings of one byte per character are"
        )
        raise GPXError(msg, path=path, line=1) from error
    return handler.result


def _syntax_error(error: SAXParseException, data: bytes, path: Path, handler: _Handler) -> GPXError:
    """Say in the words of a user what the parser did not understand."""
    line, reason = error.getLineNumber() or 1, str(error.getMessage())
    if not handler.begun and reason != "unknown encoding":
        msg = f"{shown(path)} is not XML (line {line}: {reason}); a GPX file is needed"
    elif reason in _CUT_OFF:
        msg = f"{shown(path)}, line {line}: the file ends too early; it is not complete"
    elif reason.startswith("not well-formed") and (bad := _not_utf8(data)):
        line = bad
        msg = (
            f"{shown(path)}, line {line}: text is not UTF-8 and no other encoding is declared; "
            "declare it in the first line, or save the file as UTF-8"
        )
    else:
        msg = f"{shown(path)}, line {line}: not well-formed XML ({reason})"
    return GPXError(msg, path=path, line=line)


def _not_utf8(data: bytes) -> int:
    """Line of the first byte that is not UTF-8 in a file that should be; 0 without one."""
    declared = re.match(rb"""\s*<\?xml[^>]*encoding\s*=\s*["']([\w.-]+)""", data)
    if declared and declared[1].lower() not in (b"utf-8", b"utf8"):
        return 0
    try:
        data.decode("utf-8")
    except UnicodeDecodeError as error:
        return data.count(b"\n", 0, error.start) + 1
    return 0


class _Handler(ContentHandler):
    """Collects the wanted elements from the stream."""

    def __init__(self, path: Path, line_number: Callable[[], int]) -> None:
        super().__init__()
        self.result = ParsedGPX()
        self.begun = False
        self._path = path
        self._line_number = line_number
        self._uri: str | None = None
        self._open: list[str] = []
        self._skipped = 0  # depth inside an element that is not wanted
        self._points = 0
        self._line: ParsedLine | None = None
        self._position = (0.0, 0.0)
        self._words: dict[str, str] = {}
        self._text: list[str] | None = None
        self._length = 0

    def startElementNS(
        self, name: tuple[str | None, str], _qname: str | None, attrs: AttributesNSImpl
    ) -> None:
        """Open an element."""
        uri, tag = name
        if not self.begun:
            self._root(uri, tag)
        elif self._skipped or uri != self._uri or not self._wanted(tag):
            self._notice(tag)
            self._skipped += 1
            if self._skipped + len(self._open) > _MAX_DEPTH:
                self._refuse(f"elements are nested deeper than {_MAX_DEPTH}, which is not allowed")
        else:
            self._open.append(tag)
            self._begin(tag, attrs)

    def endElementNS(self, _name: tuple[str | None, str], _qname: str | None) -> None:
        """Close an element."""
        if self._skipped:
            self._skipped -= 1
            return
        tag = self._open.pop()
        if tag in _TEXTS:
            self._end_text(tag)
        elif tag in ("wpt", "rtept"):
            self._end_point(tag)
        elif tag in ("rte", "trk"):
            self._end_line(tag)

    def characters(self, content: str) -> None:
        """Take text, as far as it is wanted."""
        if self._text is not None and not self._skipped and self._length < _MAX_RAW:
            self._text.append(content)
            self._length += len(content)

    def _root(self, uri: str | None, tag: str) -> None:
        self.begun = True
        if tag != "gpx":
            self._refuse(
                f"the file begins with <{clean_text(tag, 40)}>, so it is not GPX; "
                "a GPX file begins with <gpx>"
            )
        if uri is not None and not _NAMESPACE.fullmatch(uri):
            self._refuse(f"namespace {clean_text(uri, 80)} is not that of GPX 1.0 or 1.1")
        self._uri = uri
        self._open.append(tag)

    def _notice(self, tag: str) -> None:
        """Remember that a line's own points have times."""
        on_point = not self._skipped and self._open[-1] in ("rtept", "trkpt")
        if tag == "time" and on_point and self._line is not None:
            self._line.timed = True

    def _wanted(self, tag: str) -> bool:
        return tag in _CHILDREN.get(self._open[-1], ())

    def _begin(self, tag: str, attrs: AttributesNSImpl) -> None:
        if tag in _POINTS:
            self._begin_point(tag, attrs)
        elif tag in ("rte", "trk"):
            if len(self.result.routes) + len(self.result.tracks) >= MAX_LINES:
                self._refuse(f"more than {MAX_LINES} routes and tracks are not allowed")
            origin = "route" if tag == "rte" else "track"
            self._line = ParsedLine(origin, self._line_number())
        elif tag == "trkseg" and self._line is not None:
            self._line.segments.append([])
        elif tag in _TEXTS:
            self._text, self._length = [], 0

    def _begin_point(self, tag: str, attrs: AttributesNSImpl) -> None:
        self._points += 1
        if self._points > MAX_POINTS:
            self._refuse(f"more than {MAX_POINTS} points are not allowed")
        latitude = self._coordinate(attrs, tag, "lat", "latitude", 90)
        longitude = self._coordinate(attrs, tag, "lon", "longitude", 180)
        self._position = latitude, longitude
        self._words = {}
        if tag == "trkpt" and self._line is not None:
            self._line.segments[-1].append((longitude, latitude))

    def _coordinate(
        self, attrs: AttributesNSImpl, tag: str, key: str, what: str, limit: int
    ) -> float:
        text = attrs.get((None, key))
        if text is None:
            self._refuse(f"{_POINTS[tag]} has no {key} attribute; a {what} is needed", what)
        if len(text) > _MAX_DIGITS or not _NUMBER.fullmatch(text):
            self._refuse(
                f"{what} {clean_text(text, 40)!r} of {_POINTS[tag]} is not a number; "
                f"decimal degrees in -{limit}..{limit} are needed",
                what,
            )
        value = float(text)
        if not abs(value) <= limit:
            self._refuse(
                f"{what} {text.strip()} of {_POINTS[tag]} is outside -{limit}..{limit}", what
            )
        return value

    def _end_text(self, tag: str) -> None:
        text, self._text = "".join(self._text or ()), None
        parent = self._open[-1]
        if parent in ("wpt", "rtept"):
            self._words.setdefault(tag, text)
        elif parent in ("rte", "trk") and self._line is not None:
            self._line.name = self._line.name or clean_text(text)
        else:
            self.result.name = self.result.name or clean_text(text)

    def _end_point(self, tag: str) -> None:
        words = self._words
        notes = [clean_text(words[key], _MAX_NOTE) for key in ("desc", "cmt") if key in words]
        point = Waypoint(
            *self._position,
            name=clean_text(words.get("name", "")),
            kind=clean_text(words.get("type", "")),
            symbol=clean_text(words.get("sym", "")),
            elevation_m=_elevation(words.get("ele", "")),
            note="; ".join(note for note in dict.fromkeys(notes) if note),
        )
        if tag == "rtept" and self._line is not None:
            self._line.points.append(point)
            return
        if len(self.result.waypoints) >= MAX_WAYPOINTS:
            self._refuse(f"more than {MAX_WAYPOINTS} waypoints are not allowed")
        self.result.waypoints.append(point)

    def _end_line(self, tag: str) -> None:
        # One without points cannot be chosen, so it does not count.
        if self._line is not None and self._line.count:
            (self.result.routes if tag == "rte" else self.result.tracks).append(self._line)
        self._line = None

    def _refuse(self, reason: str, what: str | None = None) -> NoReturn:
        line = self._line_number()
        msg = f"{shown(self._path)}, line {line}: {reason}"
        raise GPXError(msg, path=self._path, line=line, field=what)


def _elevation(text: str) -> float | None:
    """Elevation [m]; it decides nothing, so one that is no number is as good as none."""
    return float(text) if len(text) <= _MAX_DIGITS and _NUMBER.fullmatch(text) else None
