"""Reading a table of quantities with units from a TOML file."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from routeplan._toml import loads_toml
from routeplan.errors import InputError
from routeplan.units import parse_quantity, range_words

__all__ = ["Key", "read_table", "table_values"]

_MAX_BYTES = 64 * 1024
_TABLE = "limits"


@dataclass(frozen=True, slots=True)
class Key:
    """One key of the file: its field, kind of quantity and allowed range in SI."""

    name: str
    field: str
    dimension: str
    low: float
    high: float
    optional: bool = True

    @property
    def range_words(self) -> str:
        """Allowed range for people."""
        none = ' or "none"' if self.optional else ""
        return f"{range_words(self.low, self.high, self.dimension)}{none}"


def read_table(path: str | Path, keys: Mapping[str, Key]) -> dict[str, Any]:
    """Fields of the [limits] table by name, with `explicit`: the keys that were given."""
    path = Path(path)
    return table_values(path, _load(path), keys)


def table_values(path: Path, table: Mapping[str, Any], keys: Mapping[str, Key]) -> dict[str, Any]:
    """The same of a table that is parsed already; the path is for messages."""
    found: dict[str, Any] = {}
    for name, text in table.items():
        if name not in keys:
            msg = f"{path}: [{_TABLE}] {name[:60]!r} is no limit; allowed are {', '.join(keys)}"
            raise InputError(msg, field=name, path=path)
        found[keys[name].field] = _value(path, keys[name], text)
    found["explicit"] = frozenset(table)
    return found


def _value(path: Path, key: Key, text: Any) -> float | None:
    where = f"{path}: [{_TABLE}] {key.name}"
    if key.optional and isinstance(text, str) and text.strip().lower() == "none":
        return None
    try:
        value = parse_quantity(text, key.dimension)
    except InputError as error:
        tail = ', or "none"' if key.optional else ""
        msg = f"{where}: {error}{tail}"
        raise InputError(msg, field=key.name, value=text, path=path) from None
    if not key.low <= value <= key.high:
        msg = f"{where}: {text!r} is out of range; allowed is {key.range_words}"
        raise InputError(msg, field=key.name, value=text, path=path)
    return value


def _load(path: Path) -> dict[str, Any]:
    try:
        with path.open("rb") as file:
            raw = file.read(_MAX_BYTES + 1)
    except OSError as error:
        reason = (error.strerror or "cannot be read").lower()
        msg = f"{path}: {reason}; allowed is a TOML file with a table [{_TABLE}]"
        raise InputError(msg, path=path) from None
    if len(raw) > _MAX_BYTES:
        msg = f"{path}: larger than {_MAX_BYTES // 1024} kB; allowed is a short TOML file"
        raise InputError(msg, path=path)
    try:
        document = loads_toml(raw.decode("utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
        what = str(error).splitlines()[0]
        msg = f"{path}: not a TOML file ({what}); allowed is a table [{_TABLE}]"
        raise InputError(msg, path=path) from None
    table = document.get(_TABLE)
    if not isinstance(table, dict):
        msg = f"{path}: there is no table [{_TABLE}]; begin the file with the line [{_TABLE}]"
        raise InputError(msg, path=path)
    return table
