"""Open forecast grids from the services that make them, fetched over HTTP into the cache.

`get_forecast` picks the newest run that is complete for the hours asked, or the one before it,
fetches no more than the box and the hours that are needed, and leaves one GRIB2 file with a
JSON file beside it that says where it is from and under which licence.
"""

from __future__ import annotations

import contextlib
import datetime
import hashlib
import json
import os
import shutil
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from routeplan._download.cache import locked
from routeplan._download.fetcher import Fetcher
from routeplan._provider import base
from routeplan._provider import store as storage
from routeplan._provider.catalogue import PROVIDERS, Provider
from routeplan._provider.store import DownloadedForecast
from routeplan.errors import CoverageError, DownloadError, InputError

__all__ = ["PROVIDERS", "DownloadedForecast", "Provider", "get_forecast"]

_LOCK_WAIT_S = 3600.0
_HOUR = np.timedelta64(3600, "s")


def get_forecast(
    provider: str,
    *,
    bounds: tuple[float, float, float, float],
    start: np.datetime64 | datetime.datetime,
    end: np.datetime64 | datetime.datetime,
    members: bool = False,
    cache_dir: str | Path | None = None,
    offline: bool = False,
    base_url: str | None = None,
    now: np.datetime64 | datetime.datetime | None = None,
    progress: base.Progress | None = None,
    max_bytes: int = 2**30,
    fetcher: Fetcher | None = None,
) -> DownloadedForecast:
    """Fetch a forecast for a box and a period, or take it from the cache.

    Parameters
    ----------
    provider : str
        A key of `PROVIDERS`.
    bounds : (west, south, east, north)
        Degrees; west > east means across the antimeridian. A margin of 1 degree is added.
    start, end : datetime64 or datetime
        UTC; a datetime must have a time zone.
    members : bool
        All ensemble members instead of a single forecast.
    cache_dir : path, optional
        Instead of the user's cache directory.
    offline : bool
        Take the best of the forecasts that are in the cache, however old.
    base_url : str, optional
        Of another server of the same kind; the environment variable named by the provider
        stands before its usual address, this argument before both.
    now : datetime64 or datetime, optional
        Instead of the time of the call, for tests.
    progress : callable, optional
        Gets what is under way, how many pieces of it are done, and of how many.
    max_bytes : int
        The most that is fetched [bytes], where the service says how much it will be.
    fetcher : Fetcher, optional
        With settings of its own, for tests; `cache_dir` and `offline` are then not looked at.

    Returns
    -------
    DownloadedForecast

    Raises
    ------
    InputError
        If an argument cannot be used.
    CoverageError
        If no run reaches the period.
    DownloadError
        If the service does not deliver, or nothing in the cache will do (offline).
    """
    service = _provider(provider, members)
    period = _Period.of(start, end, now)
    asked, box = base.padded_box(bounds)
    address = base_url or os.environ.get(service.variable) or service.base_url
    own = fetcher or Fetcher(cache_dir, offline=offline, pause_s=service.pause_s)
    ask = base.Ask(
        fetcher=own,
        base_url=address.rstrip("/"),
        folder=f"forecasts/{service.name}",
        run=period.now,
        steps_h=(),
        bounds=asked,
        box=box,
        members=service.numbers if members else service.single_number,
        max_bytes=max_bytes,
        progress=progress,
    )
    try:
        if own.offline:
            return _from_cache(service, ask, period)
        return _online(service, ask, period, members)
    finally:
        if fetcher is None:
            own.close()


@dataclass(frozen=True, slots=True)
class _Period:
    start: np.datetime64
    end: np.datetime64
    now: np.datetime64

    @classmethod
    def of(cls, start: Any, end: Any, now: Any) -> _Period:
        this_second = np.datetime64(int(time.time()), "s")
        found = cls(
            _utc(start, "start"),
            _utc(end, "end"),
            this_second if now is None else _utc(now, "now"),
        )
        if found.end <= found.start:
            msg = f"the period ends at {found.end}Z, not after its start at {found.start}Z"
            raise InputError(msg, field="end", value=str(found.end))
        if found.end <= found.now:
            msg = f"the period ended at {found.end}Z: a forecast is for the time to come"
            raise InputError(msg, field="end", value=str(found.end))
        return found

    @property
    def needed_from(self) -> np.datetime64:
        """What is past needs no forecast."""
        return max(self.start, self.now)


def _utc(value: Any, field: str) -> np.datetime64:
    if isinstance(value, datetime.datetime):
        if value.tzinfo is None:
            msg = f"{field} {value} has no time zone"
            raise InputError(msg, field=field, value=value)
        value = np.datetime64(value.astimezone(datetime.UTC).replace(tzinfo=None))
    if not isinstance(value, np.datetime64) or np.isnat(value):
        msg = f"{field} {value!r} is no time"
        raise InputError(msg, field=field, value=value)
    seconds: np.datetime64 = value.astype("datetime64[s]")
    return seconds


def _provider(name: str, members: bool) -> Provider:
    if name not in PROVIDERS:
        msg = f"no forecast service {name!r}; there are {', '.join(PROVIDERS)}"
        raise InputError(msg, field="provider", value=name)
    found = PROVIDERS[name]
    if members and not found.numbers:
        others = " and ".join(p.name for p in PROVIDERS.values() if p.numbers)
        msg = f"{found.title} has no members; {others} have"
        raise InputError(msg, field="members", value=True)
    return found


def _online(service: Provider, ask: base.Ask, period: _Period, members: bool) -> DownloadedForecast:
    """Try the runs, best first: with all parts, then with those that cannot be done without."""
    steps_of = service.member_steps if members else service.steps
    runs = base.rank_runs(steps_of, service.lag_s, end=period.end, now=period.now)
    every = service.service.parts(members)
    choices = [every, tuple(p for p in every if p.required)]
    asks = [_for_run(ask, steps_of, run, period) for run in runs]
    asks = [a for a in asks if a.steps_h]
    if not asks:
        raise _too_far(service, steps_of, runs, period)
    notes: list[str] = []
    failures: list[DownloadError] = []
    for parts in choices:
        for one in asks:
            try:
                found = _one_run(service, one, parts)
            except base.NotThereError as error:
                failures.append(error)
                notes.append(f"the run of {one.run}Z is not there, or not all of it")
                continue
            notes += [f"no {p.title} are there" for p in every if p not in parts]
            return _with_notes(found, period, notes)
    raise failures[0]


def _for_run(ask: base.Ask, steps_of: base.Steps, run: np.datetime64, period: _Period) -> base.Ask:
    steps = base.needed_steps(steps_of, run, period.needed_from, period.end)
    return replace(ask, run=run, steps_h=steps)


def _too_far(
    service: Provider, steps_of: base.Steps, runs: Sequence[np.datetime64], period: _Period
) -> CoverageError:
    last = max(base.run_times(steps_of, run)[-1] for run in runs)
    msg = f"{service.title} reaches to {last}Z; the period starts at {period.needed_from}Z"
    return CoverageError(msg, time_range=(period.start, period.end))


def _one_run(service: Provider, ask: base.Ask, parts: Sequence[base.Part]) -> DownloadedForecast:
    name = _name(ask, parts)
    ask = replace(ask, folder=f"{ask.folder}/{name}")
    folder = ask.fetcher.root / ask.folder
    target = folder.with_name(f"{name}.grib2")
    found = storage.read_stored(target)
    if found is not None:
        return found
    before = ask.fetcher.stats.bytes_received
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        with locked(target, wait_s=_LOCK_WAIT_S):
            found = storage.read_stored(target)  # another process may have been faster
            if found is not None:
                return found
            _fetch(service, ask, parts, folder, target)
    except DownloadError:
        raise
    except OSError as error:
        msg = f"cannot write the cache {ask.fetcher.root}: {error.strerror or error}"
        raise DownloadError(msg) from error
    found = storage.read_stored(target)
    if found is None:
        msg = f"{target}: does not hold what was written"
        raise DownloadError(msg)
    received = ask.fetcher.stats.bytes_received - before
    return replace(found, fetched=True, bytes_received=received)


def _name(ask: base.Ask, parts: Sequence[base.Part]) -> str:
    asked = [
        storage.FORMAT, ask.base_url, ask.box, ask.steps_h, ask.members, [p.name for p in parts]
    ]  # fmt: skip
    return f"{base.stamp(ask.run)}-{hashlib.sha256(json.dumps(asked).encode()).hexdigest()[:12]}"


def _fetch(
    service: Provider,
    ask: base.Ask,
    parts: Sequence[base.Part],
    folder: Path,
    target: Path,
) -> None:
    folder.mkdir(exist_ok=True)
    try:
        for part in parts:  # is the run complete? Before much is fetched
            service.service.probe(ask, part)
        pieces = [path for part in parts for path in service.service.fetch(ask, part)]
    except base.NotThereError:
        with contextlib.suppress(OSError):  # not empty: what is there may yet be of use
            folder.rmdir()
        raise
    joined = folder / "joined"
    storage.join(pieces, parts, joined)
    service.service.finish(ask, joined)
    storage.store(joined, target, service, ask, parts)
    shutil.rmtree(folder, ignore_errors=True)
    storage.prune(target.parent)


def _from_cache(service: Provider, ask: base.Ask, period: _Period) -> DownloadedForecast:
    folder = ask.fetcher.root / ask.folder
    usable = [
        one
        for one in storage.stored(folder)
        if one.members == ask.members
        and base.contains(one.box, ask.bounds)
        and one.first < period.end
        and one.last > period.needed_from
    ]
    if not usable:
        msg = f"no {service.name} forecast for this box and period in {folder} (offline)"
        raise DownloadError(msg)
    best = max(usable, key=lambda one: (min(one.last, period.end), one.run, one.sidecar))
    hours = (period.now - best.run) / _HOUR
    return _with_notes(best, period, [f"offline: of the run of {best.run}Z, {hours:.0f} h ago"])


def _with_notes(
    found: DownloadedForecast, period: _Period, notes: Sequence[str]
) -> DownloadedForecast:
    notes = list(dict.fromkeys(notes))
    if found.last < period.end:
        notes.append(f"the forecast ends at {found.last}Z, the period at {period.end}Z")
    notes += [f"{name}: {count} fields missing" for name, count in found.missing.items()]
    return replace(found, notes=tuple(notes))
