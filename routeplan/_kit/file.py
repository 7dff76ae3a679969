"""TOML files of the kit, read with bounds and with line numbers for messages."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

from routeplan._toml import loads_toml
from routeplan.errors import InputError
from routeplan.units import parse_quantity, range_words

__all__ = ["Entry", "KitFile", "read_kit_file"]

_MAX_BYTES = 256 * 1024
_MAX_ENTRIES = 500
_MAX_TEXT = 500


@dataclass(frozen=True, slots=True)
class Entry:
    """One `[[name]]` or `[name]` table of a file and the line it begins on."""

    file: KitFile
    kind: str
    line: int
    table: Mapping[str, Any]

    def error(self, key: str, what: str) -> InputError:
        """Error about a key: file, line, what is wrong, what is allowed."""
        name = self.table.get("name")
        called = f" {name[:60]!r}" if isinstance(name, str) else ""
        line = self.file.line_of(key, self.line)
        msg = f"{self.file.path}:{line}: {self.kind}{called}: {key} {what}"
        return InputError(msg, field=key, value=self.table.get(key), path=self.file.path)

    def fail(self, key: str, what: str) -> NoReturn:
        """Raise what `error` gives.

        Raises
        ------
        InputError
        """
        raise self.error(key, what)

    def check_keys(self, allowed: Collection[str]) -> None:
        """Refuse keys that mean nothing here."""
        for key in self.table:
            if key not in allowed:
                self.fail(key[:60], f"is not known; allowed are {', '.join(allowed)}")

    def text(self, key: str, default: str | None = None) -> str:
        """A text, not empty; the default when the key is not there."""
        value = self.table.get(key, default)
        if not isinstance(value, str) or (key in self.table and not value.strip()):
            self.fail(key, "must be a text that says something")
        if len(value) > _MAX_TEXT:
            self.fail(key, f"has {len(value):,} characters; allowed are {_MAX_TEXT}")
        return " ".join(value.split())

    def texts(self, key: str) -> tuple[str, ...]:
        """A text or a list of texts as a tuple; empty when the key is not there."""
        value = self.table.get(key, [])
        many = [value] if isinstance(value, str) else value
        if not (isinstance(many, list) and all(isinstance(v, str) and v.strip() for v in many)):
            self.fail(key, "must be a text or a list of texts")
        if len(many) > 50 or any(len(v) > _MAX_TEXT for v in many):
            self.fail(key, f"is too long; allowed are 50 texts of {_MAX_TEXT} characters")
        return tuple(" ".join(v.split()) for v in many)

    def choice(self, key: str, allowed: Collection[str], default: str | None = None) -> str:
        """One of the texts allowed."""
        value = self.text(key, default)
        if value not in allowed:
            words = ", ".join(word for word in allowed if word)
            self.fail(key, f"is {value[:60]!r}; allowed are {words}")
        return value

    def flag(self, key: str) -> bool | None:
        """A truth value; None when the key is not there."""
        value = self.table.get(key)
        if value is not None and not isinstance(value, bool):
            self.fail(key, f"is {value!r:.60}; allowed are true and false")
        return value

    def number(self, key: str, low: float, high: float, default: float | None = None) -> float:
        """A plain number in a range."""
        value = self.table.get(key, default)
        plain = isinstance(value, (int, float)) and not isinstance(value, bool)
        if not plain or not low <= value <= high:
            self.fail(key, f"is {value!r:.60}; allowed is a number from {low:g} to {high:g}")
        return float(value)

    def quantity(
        self, key: str, dimension: str, low: float, high: float, default: float | None = None
    ) -> float:
        """A quantity with its unit, in SI; nan or the default when the key is not there."""
        if key not in self.table:
            return float("nan") if default is None else default
        try:
            value = parse_quantity(self.table[key], dimension)
        except InputError as error:
            self.fail(key, str(error))
        if not low <= value <= high:
            words = range_words(low, high, dimension)
            self.fail(key, f"is {self.table[key]!r}; allowed is {words}")
        return value


@dataclass(frozen=True, slots=True)
class KitFile:
    """A file that was read: its tables by kind, in order."""

    path: Path
    lines: tuple[str, ...]
    tables: Mapping[str, Any]

    def entries(self, kind: str) -> tuple[Entry, ...]:
        """Tables `[[kind]]`, or the one table `[kind]`."""
        found = self.tables.get(kind, [])
        many = [found] if isinstance(found, dict) else found
        if not (isinstance(many, list) and all(isinstance(t, dict) for t in many)):
            msg = f"{self.path}: {kind} must be tables: begin each with a line [[{kind}]]"
            raise InputError(msg, field=kind, path=self.path)
        if len(many) > _MAX_ENTRIES:
            msg = f"{self.path}: {len(many):,} tables [[{kind}]]; allowed are {_MAX_ENTRIES}"
            raise InputError(msg, field=kind, path=self.path)
        header = re.compile(rf"\s*\[\[?\s*{re.escape(kind)}\s*\]\]?\s*(#.*)?")
        at = [n for n, line in enumerate(self.lines, start=1) if header.fullmatch(line)]
        at += [1] * (len(many) - len(at))
        return tuple(Entry(self, kind, n, t) for n, t in zip(at, many, strict=False))

    def line_of(self, key: str, begin: int) -> int:
        """Line of a key in the table that begins at a line; that line when it is not found."""
        for n, line in enumerate(self.lines[begin:], start=begin + 1):
            if line.lstrip().startswith("["):
                break
            if re.match(rf"\s*[\"']?{re.escape(key)}[\"']?\s*=", line):
                return n
        return begin


def read_kit_file(path: str | Path, kinds: Collection[str]) -> KitFile:
    """Read a TOML file that holds tables of these kinds alone.

    Raises
    ------
    InputError
        In one line: cannot be read, too large, no TOML, a table of another kind.
    """
    path = Path(path)
    try:
        with path.open("rb") as file:
            raw = file.read(_MAX_BYTES + 1)
    except OSError as error:
        msg = f"{path}: {(error.strerror or 'cannot be read').lower()}; allowed is a TOML file"
        raise InputError(msg, path=path) from None
    if len(raw) > _MAX_BYTES:
        msg = f"{path}: larger than {_MAX_BYTES // 1024} kB, which is the most allowed"
        raise InputError(msg, path=path)
    try:
        text = raw.decode("utf-8-sig")
        tables = loads_toml(text)
    except (ValueError, RecursionError) as error:
        what = str(error).splitlines()[0][:200]
        msg = f"{path}: not a TOML file ({what}); allowed are tables {', '.join(kinds)}"
        raise InputError(msg, path=path) from None
    for kind in tables:
        if kind not in kinds:
            msg = f"{path}: {kind[:60]!r} is not known; allowed are tables {', '.join(kinds)}"
            raise InputError(msg, field=kind, path=path)
    return KitFile(path, tuple(text.splitlines()), tables)
