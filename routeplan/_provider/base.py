"""What every forecast service has: fields, runs, steps, the box that is asked for."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np

from routeplan._download.fetcher import Fetcher
from routeplan._provider.grib import GribField
from routeplan.errors import DownloadError, InputError

__all__ = [
    "Ask",
    "Bounds",
    "Field",
    "NotThereError",
    "Part",
    "Progress",
    "Service",
    "Steps",
    "absent",
    "contains",
    "needed_steps",
    "padded_box",
    "rank_runs",
    "run_times",
    "stamp",
]

Bounds = tuple[float, float, float, float]
Progress = Callable[[str, int, int], None]
Steps = Callable[[int], Sequence[int]]  # forecast hours by the run's hour of the day

_HOUR = np.timedelta64(3600, "s")
_RUN_H = 6  # all services here start a run every six hours
_CANDIDATES = 4
_MARGIN_DEG = 1.0  # around the route, for interpolation and the nearest sea cell
_ROUND_DEG = 0.25  # so that requests which hardly differ share what is cached
_EDGE_DEG = 1e-3


class NotThereError(DownloadError):
    """The server does not have a run, or not yet all of it."""


@dataclass(frozen=True, slots=True)
class Field:
    """A variable: its CF name here, its GRIB code, and the service's names for it.

    `code` is (discipline, category, number); `levels` lists the accepted (type of surface,
    value) pairs, empty: any. `names` is in order of preference. `instant` leaves values over
    an interval out.
    """

    name: str
    code: tuple[int, int, int]
    names: tuple[str, ...]
    levels: tuple[tuple[int, float], ...] = ()
    required: bool = False
    instant: bool = False

    def matches(self, found: GribField) -> bool:
        """Whether a field of a file is this variable."""
        if (found.discipline, found.category, found.number) != self.code:
            return False
        if self.instant and found.interval:
            return False
        return not self.levels or (found.level_type, found.level) in self.levels


@dataclass(frozen=True, slots=True)
class Part:
    """A stream of files of one run that carries some of the fields."""

    name: str
    title: str
    fields: tuple[Field, ...]
    required: bool


@dataclass(frozen=True, slots=True)
class Ask:
    """One run of one service, and what is wanted of it.

    `box` is (west, south, east, north) with east >= west, `bounds` the same without margin,
    `members` the member numbers (empty: a single forecast), `folder` the place in the cache.
    """

    fetcher: Fetcher
    base_url: str
    folder: str
    run: np.datetime64
    steps_h: tuple[int, ...]
    bounds: Bounds
    box: Bounds
    members: tuple[int, ...]
    max_bytes: int
    progress: Progress | None

    def report(self, what: str) -> Callable[[int, int | None], None] | None:
        """Return a progress callback of the download layer that names what is under way."""
        if self.progress is None:
            return None
        tell = self.progress
        return lambda done, total: tell(what, done, total or 0)


class Service(Protocol):
    """How one kind of server is asked."""

    def parts(self, members: bool) -> tuple[Part, ...]:
        """Return the streams there are."""
        ...

    def probe(self, ask: Ask, part: Part) -> None:
        """Return when the last file needed is there; else raise NotThereError."""
        ...

    def fetch(self, ask: Ask, part: Part) -> list[Path]:
        """Return GRIB files that hold the fields of the part, one after the other in time."""
        ...

    def finish(self, ask: Ask, joined: Path) -> None:
        """Do to the joined file what the server could not."""
        ...


def stamp(run: np.datetime64) -> str:
    """Return a run as YYYYMMDDHH."""
    return str(run.astype("datetime64[h]")).replace("-", "").replace("T", "")


def absent(error: DownloadError) -> bool:
    """Whether a failure means that a file is not there.

    The grib filter says so with a page titled "data file is not present", at times with
    status 200.
    """
    return error.status in (404, 410) or "not present" in str(error).lower()


def padded_box(bounds: Bounds) -> tuple[Bounds, Bounds]:
    """Check a box and return it with east >= west, and again with a margin, rounded outwards.

    Parameters
    ----------
    bounds : (west, south, east, north)
        Degrees; west > east means across the antimeridian.

    Raises
    ------
    InputError
        If a value is no number or off the Earth, or south > north.
    """
    west, south, east, north = (float(b) for b in bounds)
    finite = all(math.isfinite(b) for b in (west, south, east, north))
    if not finite or not -90 <= south <= north <= 90 or not (-180 <= west <= 360):
        _refuse_bounds(bounds)
    if not -180 <= east <= 360:
        _refuse_bounds(bounds)
    west, east = (west + 180) % 360 - 180, (east + 180) % 360 - 180
    if east < west:
        east += 360
    box = (
        _down(west - _MARGIN_DEG),
        max(-90.0, _down(south - _MARGIN_DEG)),
        -_down(-(east + _MARGIN_DEG)),
        min(90.0, -_down(-(north + _MARGIN_DEG))),
    )
    if box[2] - box[0] >= 360:
        box = (-180.0, box[1], 180.0, box[3])
    return (west, south, east, north), box


def _refuse_bounds(bounds: Bounds) -> None:
    msg = f"bounds {bounds}: west, south, east, north in degrees are wanted, south <= north"
    raise InputError(msg, field="bounds", value=bounds)


def _down(value: float) -> float:
    return math.floor(value / _ROUND_DEG) * _ROUND_DEG


def contains(outer: Bounds, inner: Bounds) -> bool:
    """Whether one box lies in another, longitudes taken round the Earth."""
    if inner[1] < outer[1] - _EDGE_DEG or inner[3] > outer[3] + _EDGE_DEG:
        return False
    width = outer[2] - outer[0]
    if width >= 359:
        return True
    start = (inner[0] - outer[0] + _EDGE_DEG) % 360 - _EDGE_DEG
    return start + inner[2] - inner[0] <= width + _EDGE_DEG


def rank_runs(
    steps_of: Steps,
    lag_s: float,
    *,
    end: np.datetime64,
    now: np.datetime64,
) -> list[np.datetime64]:
    """Return the runs worth asking for, best first.

    A run that reaches the end of the period stands before one that does not, then the newer
    one. The newest is the one that started `lag_s` [s] ago or before.
    """
    latest = (now - np.timedelta64(int(lag_s), "s")).astype("datetime64[h]")
    hour = int(latest.astype(int)) % 24
    newest = (latest - hour % _RUN_H).astype("datetime64[s]")
    runs = [newest - i * _RUN_H * _HOUR for i in range(_CANDIDATES)]

    def reach(run: np.datetime64) -> np.datetime64:
        return min(run_times(steps_of, run)[-1], end)

    return sorted(runs, key=lambda run: (reach(run), run), reverse=True)


def run_times(steps_of: Steps, run: np.datetime64) -> list[np.datetime64]:
    """Return the times that a run has fields for."""
    hour = int(run.astype("datetime64[h]").astype(int)) % 24
    return [run + step * _HOUR for step in steps_of(hour)]


def needed_steps(
    steps_of: Steps,
    run: np.datetime64,
    start: np.datetime64,
    end: np.datetime64,
) -> tuple[int, ...]:
    """Return the steps [h] from the last one at or before `start` to the first one past `end`.

    Empty if the run ends before the period starts.
    """
    times = run_times(steps_of, run)
    if times[-1] <= start:
        return ()
    first = max((i for i, t in enumerate(times) if t <= start), default=0)
    last = next((i for i, t in enumerate(times) if t >= end), len(times) - 1)
    return tuple(int((t - run) / _HOUR) for t in times[first : last + 1])
