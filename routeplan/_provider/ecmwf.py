"""Single fields out of large files: ECMWF open data, by index and byte ranges.

File names and index are described at ECMWF, "Open data: real-time forecasts from IFS and AIFS"
(confluence.ecmwf.int/display/DAC): beside each GRIB file stands a file of the same name ending
in ``.index``, one JSON object a line, whose ``_offset`` and ``_length`` say where a field is.
From IFS cycle 50r1 (May 2026) the ensemble files hold the perturbed members alone.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from routeplan._download.checks import one_line
from routeplan._download.fetcher import Job
from routeplan._provider.base import Ask, Field, NotThereError, Part, absent, stamp
from routeplan._provider.grib import read_messages
from routeplan.errors import DownloadError

__all__ = ["ECMWF", "EcmwfService", "ecmwf_ensemble_steps", "ecmwf_steps"]

_HOUR = np.timedelta64(3600, "s")
_INDEX_BYTES = 32 * 1024 * 1024
_INDEX_LINES = 200_000
_FIELD_BYTES = 64 * 1024 * 1024
_FILE_BYTES = 2**40
_CROP_TIMEOUT_S = (60.0, 0.5)  # at all, and for each field

_AIR = (
    Field("eastward_wind", (0, 2, 2), ("10u",), ((103, 10.0),), required=True),
    Field("northward_wind", (0, 2, 3), ("10v",), ((103, 10.0),), required=True),
    # The greatest gust since the step before goes by several names, by the length of the step.
    Field("wind_speed_of_gust", (0, 2, 22), ("10fg", "10fg3", "10fg6", "i10fg"), ((103, 10.0),)),
    Field("air_temperature", (0, 0, 0), ("2t",), ((103, 2.0),)),
)
_SEA = (
    Field("sea_surface_wave_significant_height", (10, 0, 3), ("swh",), required=True),
    Field("sea_surface_wave_mean_period", (10, 0, 15), ("mwp",)),
    Field("sea_surface_wave_from_direction", (10, 0, 14), ("mwd",)),
    Field("sea_surface_wave_period_at_variance_spectral_density_maximum", (10, 0, 34), ("pp1d",)),
)


@dataclass(frozen=True, slots=True)
class _Entry:
    offset: int
    length: int
    field: Field
    member: int | None


@dataclass(frozen=True, slots=True)
class EcmwfService:
    """The high-resolution forecast, or the members of the ensemble; each with its waves."""

    def parts(self, members: bool) -> tuple[Part, ...]:
        """Return the streams; a part is named by its stream and type."""
        air, sea = ("enfo-ef", "waef-ef") if members else ("oper-fc", "wave-fc")
        return Part(air, "weather", _AIR, True), Part(sea, "waves", _SEA, False)

    def probe(self, ask: Ask, part: Part) -> None:
        """Fetch the index of the last step, which comes out last."""
        _fetch_all(ask, [_index_job(ask, part, ask.steps_h[-1])], "")

    def fetch(self, ask: Ask, part: Part) -> list[Path]:
        """Fetch the indices, then the fields, neighbours in one range."""
        indices = _fetch_all(
            ask, [_index_job(ask, part, s) for s in ask.steps_h], f"{part.title}, contents"
        )
        jobs: list[Job] = []
        total = 0
        for step, path in zip(ask.steps_h, indices, strict=True):
            entries = _chosen(path, ask, part, step)
            total += sum(e.length for e in entries)
            jobs.extend(_range_job(ask, part, step, run) for run in _neighbours(entries))
        if total > ask.max_bytes:
            msg = (
                f"{part.name}: {total / 1e6:.0f} MB to fetch, {ask.max_bytes / 1e6:.0f} MB "
                "allowed; ask for fewer hours, no members, or allow more"
            )
            raise DownloadError(msg, url=ask.base_url)
        return _fetch_all(ask, jobs, part.title)

    def finish(self, ask: Ask, joined: Path) -> None:
        """Cut the box out of the global fields, in a process of its own.

        The decoder is foreign code on foreign data: should it crash, it crashes alone.
        """
        cropped = joined.with_name(f"{joined.name}.crop")
        command = [sys.executable, "-m", "routeplan._provider.crop", str(joined), str(cropped)]
        command += [f"{b:.6f}" for b in ask.box]
        timeout_s = _CROP_TIMEOUT_S[0] + _CROP_TIMEOUT_S[1] * len(read_messages(joined))
        try:
            run = subprocess.run(
                command, capture_output=True, text=True, timeout=timeout_s, check=False
            )
        except subprocess.TimeoutExpired as error:
            cropped.unlink(missing_ok=True)
            msg = f"cutting out the box took more than {timeout_s:.0f} s"
            raise DownloadError(msg, url=ask.base_url) from error
        if run.returncode != 0:
            cropped.unlink(missing_ok=True)
            words = one_line((run.stderr.strip().splitlines() or ["no word why"])[-1])
            msg = f"the fields that came could not be decoded ({words})"
            raise DownloadError(msg, url=ask.base_url)
        cropped.replace(joined)


def _fetch_all(ask: Ask, jobs: list[Job], what: str) -> list[Path]:
    try:
        return ask.fetcher.fetch_all(jobs, ask.report(what) if what else None)
    except DownloadError as error:
        if absent(error):
            raise NotThereError(str(error), url=error.url, status=error.status) from error
        raise


def _url(ask: Ask, part: Part, step: int, ending: str) -> str:
    date, hour = stamp(ask.run)[:8], stamp(ask.run)[8:]
    stream = part.name.split("-")[0]
    place = f"{ask.base_url}/{date}/{hour}z/ifs/0p25/{stream}"
    return f"{place}/{date}{hour}0000-{step}h-{part.name}.{ending}"


def _index_job(ask: Ask, part: Part, step: int) -> Job:
    def check(path: Path) -> str:
        try:
            entries = _chosen(path, ask, part, step)
        except ValueError as error:
            return str(error)
        missing = [f.name for f in part.fields if f.required and not _has(entries, f, ask)]
        return f"no {missing[0]} in the index" if missing else ""

    return Job(
        url=_url(ask, part, step, "index"),
        name=f"{ask.folder}/{part.name}-{step}h.index",
        expect="text",
        max_bytes=_INDEX_BYTES,
        check=check,
    )


def _has(entries: list[_Entry], field: Field, ask: Ask) -> bool:
    members = {e.member for e in entries if e.field is field}
    return members >= set(ask.members) if ask.members else bool(members)


def _chosen(path: Path, ask: Ask, part: Part, step: int) -> list[_Entry]:
    """Return the entries wanted, in the order of the file; ValueError if the index is no good."""
    found: dict[tuple[str, int | None], dict[str, _Entry]] = {}
    wanted = {name: field for field in part.fields for name in field.names}
    for line in _lines(path):
        field = wanted.get(str(line.get("param")))
        if field is None or str(line.get("step")) != str(step):
            continue
        member = _member(line) if ask.members else None
        if ask.members and member not in ask.members:
            continue
        entry = _Entry(_whole(line, "_offset"), _whole(line, "_length"), field, member)
        if entry.offset > _FILE_BYTES or not 20 <= entry.length <= _FIELD_BYTES:
            msg = f"the index states a field of {entry.length} bytes at {entry.offset}"
            raise ValueError(msg)
        found.setdefault((field.name, member), {})[str(line["param"])] = entry
    best = [_preferred(named) for named in found.values()]
    return sorted(best, key=lambda e: e.offset)


def _preferred(named: dict[str, _Entry]) -> _Entry:
    field = next(iter(named.values())).field
    return next(named[name] for name in field.names if name in named)


def _lines(path: Path) -> Iterator[dict[str, Any]]:
    with path.open(encoding="utf-8") as handle:
        for number, text in enumerate(handle, 1):
            if number > _INDEX_LINES:
                msg = f"the index has more than {_INDEX_LINES} lines"
                raise ValueError(msg)
            if not text.strip():
                continue
            try:
                line = json.loads(text)
            except (ValueError, RecursionError):
                line = None
            if not isinstance(line, dict):
                msg = f"line {number} of the index is no JSON object"
                raise ValueError(msg)
            yield line


def _whole(line: dict[str, Any], key: str) -> int:
    value = line.get(key)
    if isinstance(value, bool) or not isinstance(value, int) or value < 0:
        msg = f"the index has {key} {one_line(repr(value), 40)}"
        raise ValueError(msg)
    return value


def _member(line: dict[str, Any]) -> int | None:
    text = str(line.get("number", "0" if line.get("type") == "cf" else ""))
    return int(text) if text.isascii() and text.isdigit() and len(text) < 5 else None


def _neighbours(entries: list[_Entry]) -> Iterator[list[_Entry]]:
    run: list[_Entry] = []
    for entry in entries:
        if run and run[-1].offset + run[-1].length != entry.offset:
            yield run
            run = []
        run.append(entry)
    if run:
        yield run


def _range_job(ask: Ask, part: Part, step: int, run: list[_Entry]) -> Job:
    first, last = run[0].offset, run[-1].offset + run[-1].length - 1
    return Job(
        url=_url(ask, part, step, "grib2"),
        name=f"{ask.folder}/{part.name}-{step}h-{first}-{last}.grib2",
        byte_range=(first, last),
        expect="grib",
        check=_checker(ask, step, run),
    )


def _checker(ask: Ask, step: int, run: list[_Entry]) -> Callable[[Path], str]:
    valid = ask.run + step * _HOUR

    def check(path: Path) -> str:
        try:
            messages = read_messages(path)
        except ValueError as error:
            return str(error)
        if [m.length for m in messages] != [e.length for e in run]:
            return "the fields are not where the index says"
        for message, entry in zip(messages, run, strict=True):
            if len(message.fields) != 1 or not entry.field.matches(message.fields[0]):
                return f"not the {entry.field.name} that the index says"
            one = message.fields[0]
            if one.reference != ask.run or one.valid != valid:
                return f"{entry.field.name} is of {one.reference}Z for {one.valid}Z"
            if entry.member is not None and one.member != entry.member:
                return f"{entry.field.name} is of member {one.member}, not {entry.member}"
        return ""

    return check


def ecmwf_steps(hour: int) -> tuple[int, ...]:
    """3-hourly to 144 h, 6-hourly to 240 h; the runs of 06 and 18 UTC end at 90 h."""
    return tuple(range(0, 91, 3)) if hour % 12 else (*range(0, 145, 3), *range(150, 241, 6))


def ecmwf_ensemble_steps(hour: int) -> tuple[int, ...]:
    """3-hourly to 144 h, 6-hourly to 360 h; the runs of 06 and 18 UTC end at 144 h."""
    return (*range(0, 145, 3), *(() if hour % 12 else range(150, 361, 6)))


ECMWF = EcmwfService()
