"""Until when one may go on from the start of a leg, or turn round there."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from routeplan._judge.findings import duration
from routeplan._judge.launchscan import LaunchScan, Outing
from routeplan._passage.path import Path
from routeplan.errors import InputError
from routeplan.limits import Verdict

__all__ = ["TurnBack", "turn_back_times"]

TimeArray = NDArray[np.datetime64]

_NAT = np.datetime64("NaT", "ns")


@dataclass(frozen=True, slots=True)
class TurnBack:
    """Until when one may go on from the start of a leg, or turn round there.

    `arrive` is when the launch gets there; `go_on_until` the latest time from then on at which
    going on to the end stays within or close all the while, `turn_round_until` the same for going
    back to where the stage began; NaT where not even at once. `text` says it without clock times.
    """

    leg: int
    longitude: float
    latitude: float
    arrive: np.datetime64
    go_on_until: np.datetime64
    turn_round_until: np.datetime64
    text: str


def turn_back_times(
    scan: LaunchScan, i: int, *, step_s: float = 600.0, horizon_s: float = 12 * 3600.0
) -> tuple[TurnBack, ...]:
    """Turn-back times of launch i at the start of every leg but the first.

    Legs that are never begun are left out. Times are tried every `step_s` up to the horizon; at
    the horizon the true time may be later.
    """
    if not step_s >= 60.0 or not horizon_s >= step_s:
        msg = "turn-back times need a step of 60 s or more and a horizon no shorter than it"
        raise InputError(msg, field="step_s", value=step_s)
    passage, member = scan.detail.passage, int(scan.detail.member[i])
    out = []
    for leg in range(1, scan.outing.path.legs):
        arrive = passage.enter[i, leg, member]
        if np.isnat(arrive):
            break
        tried = arrive + np.arange(0, round(horizon_s) + 1, round(step_s)).astype("timedelta64[s]")
        on = _until(scan, i, _part(scan.outing, leg, back=False), tried)
        back = _until(scan, i, _part(scan.outing, leg, back=True), tried)
        out.append(_turn_back(scan, leg, arrive, on, back, tried[-1]))
    return tuple(out)


def _until(scan: LaunchScan, i: int, outing: Outing, tried: TimeArray) -> np.datetime64:
    """Last of the times tried up to which all are good; NaT when the first is not."""
    part = outing.scan(tried.astype("datetime64[ns]"), robust=False)
    good = part.verdict <= Verdict.CLOSE
    longest = scan.detail.limits.time_on_water_s
    if longest is not None:
        spent = (part.arrive - scan.launch[i]) / np.timedelta64(1, "s")
        good &= spent <= longest
    bad = np.flatnonzero(~good)
    count = int(bad[0]) if bad.size else good.size
    return np.datetime64(part.launch[count - 1], "ns") if count else _NAT


def _part(outing: Outing, leg: int, *, back: bool) -> Outing:
    """The outing from the start of a leg to the end, or back from there to its start."""
    steps: Any = np.flatnonzero(outing.path.leg < leg if back else outing.path.leg >= leg)
    steps = steps[::-1] if back else steps
    series = outing.series
    values = {name: value[steps] for name, value in series.values.items()}
    light = outing.daylight
    if light is not None and back:
        light = (light[0], light[0])
    return replace(
        outing,
        path=_line(outing.path, steps, back),
        series=replace(series, values=values, inside=series.inside[steps]),
        # The hours since the true launch are counted by the caller.
        limits=replace(outing.limits, time_on_water_s=None),
        daylight=light,
        numbers=outing.numbers[:leg][::-1] if back else outing.numbers[leg:],
    )


def _line(path: Path, steps: NDArray[np.intp], back: bool) -> Path:
    legs = path.leg[steps]
    bearing, rose = path.shore_bearing_deg, path.fetch_rose_m
    return Path(
        longitude=path.longitude[steps],
        latitude=path.latitude[steps],
        course_deg=(path.course_deg[steps] + (180.0 if back else 0.0)) % 360.0,
        length_m=path.length_m[steps],
        leg=legs.max() - legs if back else legs - legs.min(),
        offshore_m=path.offshore_m[steps],
        shore_bearing_deg=None if bearing is None else bearing[steps],
        fetch_rose_m=None if rose is None else rose[steps],
    )


def _turn_back(
    scan: LaunchScan,
    leg: int,
    arrive: np.datetime64,
    on: np.datetime64,
    back: np.datetime64,
    horizon: np.datetime64,
) -> TurnBack:
    path = scan.outing.path
    first = int(np.flatnonzero(path.leg == leg)[0])
    number = int(scan.leg_numbers[leg])
    texts = []
    for until, words in ((on, "going on"), (back, "turning round")):
        if np.isnat(until):
            texts.append(f"{words} is not good on arrival")
        elif until == arrive:
            texts.append(f"{words} is good on arrival, with no time to spare")
        else:
            spare = float((until - arrive) / np.timedelta64(1, "s"))
            more = " and more" if until >= horizon else ""
            texts.append(f"{words} stays good for {duration(spare)}{more} after arrival")
    text = f"At the start of leg {number} {'; '.join(texts)}."
    return TurnBack(
        number,
        float(path.longitude[first]),
        float(path.latitude[first]),
        arrive,
        on,
        back,
        text,
    )
