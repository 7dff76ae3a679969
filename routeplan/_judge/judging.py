"""Every leg of every launch and member held against the limits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from numpy.typing import NDArray

from routeplan._judge.daylight import daylight_slack_h, hours
from routeplan._judge.limitvalues import LIMIT_FIELDS, ON_PASSAGE, Limits, Verdict
from routeplan.simulation import Passage, Path
from routeplan.waves import WaveSource

if TYPE_CHECKING:
    from routeplan.sun import DaylightSpells

__all__ = ["Judgement", "judge", "without_swell"]

_ERROR_NOT_STATED_M = 100.0  # taken for a coastline that states no error; assumption

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
_ROUNDING = 1e-6  # of interpolation in time: a value on the limit holds

Row: TypeAlias = tuple[NDArray[np.int8], FloatArray]  # verdicts and margins, (m, n, e)


@dataclass(frozen=True, slots=True, eq=False)
class Judgement:
    """Verdict and margin of each limit: shape (m launches, n legs, L limits, e members).

    `margin` is the share of the limit that is left, negative when beyond, nan when unknown.
    `not_judged` names default limits the data say nothing about.
    """

    names: tuple[str, ...]
    verdict: NDArray[np.int8]
    margin: NDArray[np.float32]
    not_judged: tuple[str, ...]


def judge(
    passage: Passage,
    path: Path,
    limits: Limits,
    *,
    daylight: tuple[DaylightSpells, DaylightSpells] | None,
    coast_error_m: float = np.nan,
) -> Judgement:
    """Hold every leg of every launch and member against the limits.

    Parameters
    ----------
    passage, path, limits
    daylight : (DaylightSpells, DaylightSpells), or None
        Civil daylight at the start and at the end of the stage. None: not known.
    coast_error_m : float
        Nominal error of the coastline; nan unknown, which makes every distance close. [m]

    Notes
    -----
    A value on the limit is within it. A leg is in daylight when it is entered after civil dawn at
    the start and left the margin before civil dusk at the end of the stage, in one spell; time
    margins are shares of the time on the water, at least an hour. Polar day never binds.
    A leg that lies on land by more than the coastline's error cannot be paddled, whatever the
    limits; by less it is close.
    """
    rows, skipped = _on_passage(passage, limits)
    if limits.wave_height_m is not None and without_swell(passage).any():
        skipped.append("swell")
    if limits.offshore_m is not None:
        rows["offshore"] = _offshore(passage, path, limits, coast_error_m)
    if path.leg_land_m is not None:
        rows["land"] = _land(passage, path.leg_land_m, coast_error_m)
    if limits.time_on_water_s is not None:
        rows["time_on_water"] = _time_on_water(passage, limits)
    if limits.daylight_margin_s is not None:
        rows["daylight"] = _daylight(passage, limits, daylight)
    rows["progress"] = _progress(passage)
    if "current" in passage.unknown:
        rows["current"] = _known(passage.unknown["current"])
    return Judgement(
        names=tuple(rows),
        verdict=np.stack([v for v, _ in rows.values()], axis=2),
        margin=np.stack([g.astype(np.float32) for _, g in rows.values()], axis=2),
        not_judged=tuple(skipped),
    )


def _on_passage(passage: Passage, limits: Limits) -> tuple[dict[str, Row], list[str]]:
    """Rows of the limits on what the passage meets, and the names of those not judged."""
    rows: dict[str, Row] = {}
    skipped = []
    for name, (quantity, sense, scale) in ON_PASSAGE.items():
        limit = getattr(limits, LIMIT_FIELDS[name])
        if limit is None:
            continue
        if quantity in passage.worst:
            value, missing = passage.worst[quantity], passage.unknown[quantity]
            margin = sense * (limit - value) / (scale or max(abs(limit), 1e-9))
            rows[name] = _grade(margin, missing, limits.close_share)
        elif name in limits.explicit:
            rows[name] = _all_unknown(passage.enter.shape)
        else:
            skipped.append(name)
    if "wave_height" in rows:
        rows["wave_height"] = _without_swell(passage, limits, rows["wave_height"])
    return rows, skipped


def _grade(margin: FloatArray, missing: BoolArray, close: float) -> Row:
    """Verdicts of margins; one value beyond stays beyond even if others are missing."""
    verdict = np.where(margin < close, Verdict.CLOSE, Verdict.WITHIN)
    verdict = np.where(missing | np.isnan(margin), Verdict.UNKNOWN, verdict)
    verdict = np.where(margin < -_ROUNDING, Verdict.BEYOND, verdict)
    return verdict.astype(np.int8), np.where(verdict == Verdict.UNKNOWN, np.nan, margin)


def without_swell(passage: Passage) -> BoolArray:
    """Legs on which some step is open to swell that nothing is known of."""
    source = passage.quantity("wave_source")
    return np.asarray(np.nan_to_num(source) > WaveSource.LOCAL + _ROUNDING)


def _without_swell(passage: Passage, limits: Limits, row: Row) -> Row:
    """A height that lacks swell is a lower bound: beyond counts, within does not.

    It is unknown where the user set the limit, and close where it is a default.
    """
    verdict, margin = row
    best = Verdict.UNKNOWN if "wave_height" in limits.explicit else Verdict.CLOSE
    lifted = np.where(without_swell(passage), np.maximum(verdict, best), verdict).astype(np.int8)
    return lifted, np.where(lifted == Verdict.UNKNOWN, np.nan, margin)


def _all_unknown(shape: tuple[int, ...]) -> Row:
    return np.full(shape, Verdict.UNKNOWN, dtype=np.int8), np.full(shape, np.nan)


def _known(unknown: BoolArray) -> Row:
    verdict = np.where(unknown, Verdict.UNKNOWN, Verdict.WITHIN).astype(np.int8)
    return verdict, np.where(unknown, np.nan, np.inf)


def _progress(passage: Passage) -> Row:
    """Beyond where no headway is made, unknown where the leg is never finished otherwise."""
    unfinished = np.isnat(passage.leave)
    verdict = np.where(unfinished, Verdict.UNKNOWN, Verdict.WITHIN)
    verdict = np.where(passage.makes_way, verdict, Verdict.BEYOND)
    margin = np.where(unfinished, np.nan, np.inf)
    return verdict.astype(np.int8), np.where(passage.makes_way, margin, -1.0)


def _offshore(passage: Passage, path: Path, limits: Limits, error_m: float) -> Row:
    limit = float(limits.offshore_m or 0.0)
    missing = np.zeros(path.legs, dtype=bool)
    np.logical_or.at(missing, path.leg, np.isnan(path.offshore_m))
    left = limit - path.leg_offshore_m
    verdict, margin = _grade(left / limit, missing, limits.close_share)
    exact = left >= error_m  # False for an unknown error
    verdict[(verdict == Verdict.WITHIN) & ~exact] = Verdict.CLOSE
    shape = passage.enter.shape
    return (
        np.broadcast_to(verdict[None, :, None], shape),
        np.broadcast_to(margin[None, :, None], shape),
    )


def _land(passage: Passage, land_m: FloatArray, error_m: float) -> Row:
    """Beyond where a leg lies on land by more than the coastline may err, close where by less."""
    error = error_m if np.isfinite(error_m) else _ERROR_NOT_STATED_M
    grades = [land_m > error, land_m > 0.0]
    verdict = np.select(grades, [Verdict.BEYOND, Verdict.CLOSE], Verdict.WITHIN).astype(np.int8)
    margin = np.select(grades, [-1.0, 0.0], np.inf)
    shape = passage.enter.shape
    return (
        np.broadcast_to(verdict[None, :, None], shape),
        np.broadcast_to(margin[None, :, None], shape),
    )


def _time_on_water(passage: Passage, limits: Limits) -> Row:
    limit = float(limits.time_on_water_s or 0.0)
    spent = hours(passage.leave - passage.launch[:, None, None]) * 3600.0
    return _grade((limit - spent) / limit, np.isnan(spent), limits.close_share)


def _daylight(
    passage: Passage, limits: Limits, daylight: tuple[DaylightSpells, DaylightSpells] | None
) -> Row:
    shape = passage.enter.shape
    if daylight is None:
        return _all_unknown(shape)
    margin_s = float(limits.daylight_margin_s or 0.0)
    slack_h = daylight_slack_h(passage.enter, passage.leave, daylight, margin_s)
    spent_h = hours(passage.leave - passage.launch[:, None, None])
    margin = slack_h / np.maximum(np.where(np.isnan(spent_h), 1.0, spent_h), 1.0)
    verdict, margin = _grade(margin, np.isnan(slack_h), limits.close_share)
    return verdict, margin
