"""Who is told ashore: what the user says of the contact, the people and how they are seen.

    ashore = read_ashore("group.toml")              # the table [ashore] of a file, or None
    ashore = ashore_from(table, path, text)         # the same table, read by somebody else

Nothing is filled in for the user: what is not given stays empty and becomes a line to write on.
Public through `ashore`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from routeplan._kit.file import Entry, KitFile, read_kit_file
from routeplan.units import HOUR_S

__all__ = ["GROUP_TABLES", "Ashore", "ashore_from", "read_ashore"]

GROUP_TABLES = ("group", "person", "bag", "spare", "ashore")
"""Tables that a group's file may hold."""

_TEXTS = ("contact", "emergency_service", "call_sign", "beacon", "vehicle", "vehicle_at", "note")
_PHONES = ("contact_phone", "emergency_phone")
_BY_PERSON = ("phones", "colours", "medical")
_KEYS = (*_TEXTS, *_PHONES, "mmsi", "people", "call_in", "alarm", *_BY_PERSON)
_MOST_PEOPLE = 100  # as many as a group may have
_LONGEST = 200  # characters of a text
_LONGEST_PHONE = 40
_SHORT_NUMBER = 999_999  # a number without quotes: emergency numbers have up to six figures


@dataclass(frozen=True, slots=True)
class Ashore:
    """What the user says to the contact ashore; "" and missing names are not given.

    Attributes
    ----------
    contact, contact_phone : str
        Who keeps the sheet.
    emergency_phone, emergency_service : str
        Whom that person calls in an emergency: the user's to fill in, never guessed.
    people : tuple of str
        Names, for a trip without a group.
    phones, colours, medical : mapping of str to str
        By name of the person: number afloat; craft and colours; what helpers must know.
    call_sign, mmsi, beacon : str
        Of the radio, and the identity of the beacon.
    vehicle, vehicle_at : str
        What it is, and where it stands.
    note : str
    call_in_s : float
        Time after the arrival planned by which the group calls. Common practice, no source. [s]
    alarm_s : float
        Time after that without a call when the contact raises the alarm. Common practice, no
        source. [s]
    """

    contact: str = ""
    contact_phone: str = ""
    emergency_phone: str = ""
    emergency_service: str = ""
    people: tuple[str, ...] = ()
    phones: Mapping[str, str] = field(default_factory=dict)
    colours: Mapping[str, str] = field(default_factory=dict)
    medical: Mapping[str, str] = field(default_factory=dict)
    call_sign: str = ""
    mmsi: str = ""
    beacon: str = ""
    vehicle: str = ""
    vehicle_at: str = ""
    note: str = ""
    call_in_s: float = HOUR_S
    alarm_s: float = 2.0 * HOUR_S


def read_ashore(path: str | Path) -> Ashore | None:
    """Read the table `[ashore]` of a group's file; None when there is none.

    Raises
    ------
    InputError
        In one line: file, line, what is wrong, what is allowed.
    """
    file = read_kit_file(path, GROUP_TABLES)
    table = file.tables.get("ashore")
    return None if table is None else _ashore(file)


def ashore_from(table: Mapping[str, Any], path: str | Path, text: str) -> Ashore:
    """Read a table `[ashore]` that is parsed already.

    Parameters
    ----------
    table : mapping
        The table as `tomllib` gives it.
    path : str or Path
        Name of the file, for messages.
    text : str
        What the file says, from which messages tell the line.

    Raises
    ------
    InputError
        In one line: file, line, what is wrong, what is allowed.
    """
    return _ashore(KitFile(Path(path), tuple(text.splitlines()), {"ashore": table}))


def _ashore(file: KitFile) -> Ashore:
    entry = _only(file)
    entry.check_keys(_KEYS)
    people = entry.texts("people")
    _check_people(entry, people)
    words: dict[str, Any] = {key: _text(entry, key) for key in _TEXTS}
    words |= {key: _phone(entry, key) for key in _PHONES}
    words |= {key: _by_person(entry, key, people) for key in _BY_PERSON}
    return Ashore(
        **words,
        people=people,
        mmsi=_mmsi(entry),
        call_in_s=entry.quantity("call_in", "time", 0.0, 24.0 * HOUR_S, HOUR_S),
        alarm_s=entry.quantity("alarm", "time", 0.0, 72.0 * HOUR_S, 2.0 * HOUR_S),
    )


def _only(file: KitFile) -> Entry:
    """The one table `[ashore]`."""
    table = file.tables["ashore"]
    is_one = isinstance(table, Mapping)
    entry = Entry(file, "ashore", _line_of(file, "ashore"), table if is_one else {})
    if not is_one:
        entry.fail("ashore", "must be one table: begin it with a line [ashore]")
    return entry


def _line_of(file: KitFile, kind: str) -> int:
    """Line on which a table begins; 1 when it is not written as a table of its own."""
    header = re.compile(rf"\s*\[\[?\s*{re.escape(kind)}\s*\]\]?\s*(#.*)?")
    return next((n for n, line in enumerate(file.lines, 1) if header.fullmatch(line)), 1)


def _check_people(entry: Entry, people: tuple[str, ...]) -> None:
    if len(set(people)) < len(people):
        entry.fail("people", "names somebody twice; a name is allowed once")
    for name in people:
        if len(name) > _LONGEST:
            entry.fail("people", f"has a name of {len(name)} characters; allowed are {_LONGEST}")


def _text(entry: Entry, key: str) -> str:
    text = entry.text(key, "")
    if len(text) > _LONGEST:
        entry.fail(key, f"has {len(text):,} characters; allowed are {_LONGEST}")
    return text


def _phone(entry: Entry, key: str) -> str:
    value = entry.table.get(key, "")
    if isinstance(value, int) and not isinstance(value, bool):
        if not 0 < value <= _SHORT_NUMBER:
            entry.fail(key, 'must be in quotes, as "+46 70 …", or a 0 or + in front is lost')
        value = str(value)
    text = value if value == "" else _text(_with(entry, key, value), key)
    if text and not (sum(c.isdecimal() for c in text) >= 2 and len(text) <= _LONGEST_PHONE):
        entry.fail(
            key, f"is {text[:60]!r}; allowed is a number of up to {_LONGEST_PHONE} characters"
        )
    return text


def _with(entry: Entry, key: str, value: Any) -> Entry:
    return Entry(entry.file, entry.kind, entry.line, {key: value})


def _mmsi(entry: Entry) -> str:
    """Nine figures (ITU-R M.585), blanks allowed; "" when not given."""
    if "mmsi" not in entry.table:
        return ""
    figures = str(entry.table["mmsi"]).replace(" ", "")
    if not (len(figures) == 9 and figures.isascii() and figures.isdecimal()):
        entry.fail("mmsi", f"is {str(entry.table['mmsi'])[:60]!r}; allowed are nine figures")
    return figures


def _by_person(entry: Entry, key: str, people: tuple[str, ...]) -> dict[str, str]:
    """Texts by name: a table of its own, or in braces on one line."""
    table = entry.table.get(key, {})
    if not isinstance(table, Mapping):
        entry.fail(key, f"must be a table: a line [ashore.{key}], below it a name = text a line")
    if len(table) > _MOST_PEOPLE:
        entry.fail(key, f"has {len(table):,} names; allowed are {_MOST_PEOPLE}")
    kind = f"ashore.{key}"
    own = any(re.match(rf"\s*\[\s*{re.escape(kind)}\s*\]", line) for line in entry.file.lines)
    line = _line_of(entry.file, kind) if own else entry.file.line_of(key, entry.line)
    inner = Entry(entry.file, kind, line, table)
    read = _phone if key == "phones" else _text
    out = {}
    for name in table:
        called = " ".join(name.split())
        if not called or len(called) > _LONGEST:
            inner.fail(name, f"is no name; allowed are 1 to {_LONGEST} characters")
        if people and called not in people:
            inner.fail(name, "is nobody of people; allowed are " + _some(people))
        out[called] = read(inner, name)
    return out


def _some(names: tuple[str, ...]) -> str:
    return ", ".join(names[:5]) + (", ..." if len(names) > 5 else "")
