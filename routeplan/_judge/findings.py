"""One sentence for people on how a launch stands against one limit.

Speeds are in knots, lengths in metres or kilometres. Sentences hold no clock time: the moment is
a field of the finding, so that the time zone is chosen where it is shown.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from routeplan.limits import Verdict
from routeplan.units import KNOT_MS, ZERO_CELSIUS_K

__all__ = [
    "NOWHERE",
    "Case",
    "Finding",
    "duration",
    "limit_words",
    "sentence",
    "show_limit",
    "show_needed",
]


@dataclass(frozen=True, slots=True)
class Finding:
    """How one launch stands against one limit, where and when it is worst.

    `value` and `limit_value` are SI in `unit`; `leg` is the number of the leg on the route;
    `margin` the share of the limit that is left (nan unknown); `text` one sentence.
    """

    limit: str
    verdict: Verdict
    value: float
    limit_value: float
    unit: str
    margin: float
    leg: int | None
    when: np.datetime64 | None
    longitude: float
    latitude: float
    text: str


@dataclass(frozen=True, slots=True)
class Case:
    """What a sentence is made of.

    `exact_m` is the error of the coastline (nan unknown), `note` says where a value comes from.
    """

    verdict: Verdict
    value: float
    limit: float
    where: str
    exact_m: float = np.nan
    note: str = ""


def sentence(limit: str, case: Case) -> str:
    """One sentence on a limit by its name."""
    special = {
        "offshore": _offshore,
        "daylight": _daylight,
        "land": _land,
        "progress": _progress,
        "current": _current,
        "time_on_water": _time_on_water,
        "drift": _drift,
    }
    if limit in special:
        return special[limit](case)
    return _plain(limit, case)


# limit -> (subject, verb for the worst value, unit shown)
_SUBJECTS = {
    "wind": ("Wind", "reaches", "kn"),
    "gust": ("Gusts", "reach", "kn"),
    "headwind": ("Headwind", "reaches", "kn"),
    "crosswind": ("Crosswind", "reaches", "kn"),
    "offshore_wind": ("Wind off the land", "reaches", "kn"),
    "wave_height": ("Waves", "reach", "m"),
    "wave_steepness": ("Wave steepness", "reaches", "share"),
    "opposing_current": ("Current against the wind", "reaches", "kn"),
    "visibility": ("Visibility", "falls to", "km"),
    "cape": ("Thunder energy (CAPE)", "reaches", "J/kg"),
    "wind_chill": ("Wind chill", "falls to", "°C"),
    "water_temperature": ("Water temperature", "falls to", "°C"),
}


# limit -> what the forecast would have to hold to judge it
_THINGS = {
    "wind": "wind",
    "gust": "gusts",
    "headwind": "wind",
    "crosswind": "wind",
    "offshore_wind": "wind",
    "wave_height": "wave height",
    "wave_steepness": "wave height and period",
    "opposing_current": "current",
    "visibility": "visibility",
    "cape": "thunder energy (CAPE)",
    "wind_chill": "air temperature",
    "water_temperature": "water temperature",
}

# unit shown -> (SI to figure, decimals)
_SHOWN: dict[str, tuple[Callable[[float], float], int]] = {
    "kn": (lambda value: value / KNOT_MS, 0),
    "m": (lambda value: value, 1),
    "km": (lambda value: value / 1000.0, 1),
    "°C": (lambda value: value - ZERO_CELSIUS_K, 0),
    "share": (lambda value: 100.0 * value, 1),
    "J/kg": (lambda value: value, 0),
}
NOWHERE = "nowhere"  # note of a case of which the forecast holds nothing


def _figure(value: float, unit: str, decimals: int) -> str:
    shown = "%" if unit == "share" else unit
    return f"{round(_SHOWN[unit][0](value), decimals) + 0.0:.{decimals}f} {shown}"


def _decimals(limit: float, unit: str) -> int:
    """Decimals that a limit needs to be told as it was set: 12 kn, but 15.4 kn for force 4."""
    scale, least = _SHOWN[unit]
    figure = scale(limit)
    off = 0.05 * 10.0**-least
    return next((d for d in (least, least + 1) if abs(round(figure, d) - figure) < off), least + 1)


def show(value: float, unit: str) -> str:
    """A limit with its unit as it stands in a sentence."""
    return _figure(value, unit, _decimals(value, unit))


def show_pair(value: float, limit: float, unit: str) -> tuple[str, str, int | None]:
    """A value and its limit, told apart wherever they differ.

    The value has as many decimals as the limit or one more, how many is the third; where that
    does not do, it is "just over" or "just under" the limit, and there is no third. What is shown
    lies on the same side of the limit as the value does.
    """
    scale, least = _SHOWN[unit]
    own = _decimals(limit, unit)
    for decimals in (least, least + 1):
        shown = round(scale(value), decimals) - round(scale(limit), own)
        if np.sign(shown) == np.sign(value - limit):
            return _figure(value, unit, decimals), _figure(limit, unit, own), decimals
    bound = _figure(limit, unit, own)
    return f"just {'over' if value > limit else 'under'} {bound}", bound, None


def _plain(limit: str, case: Case) -> str:
    subject, verb, unit = _SUBJECTS[limit]
    bound = show(case.limit, unit)
    note = f" ({case.note})" if case.note else ""
    if case.verdict is Verdict.UNKNOWN and np.isfinite(case.value):
        return f"{subject} {case.where}: {case.note}, so the limit of {bound} cannot be judged."
    if case.verdict is Verdict.UNKNOWN:
        return f"{_lacking(_THINGS[limit], case)}, so the limit of {bound} cannot be judged."
    if limit == "headwind" and case.value <= 0.0:
        return f"There is no headwind; the limit is {bound}."
    value, bound, decimals = show_pair(case.value, case.limit, unit)
    if decimals is None:
        return f"{subject} {verb} {value} {case.where}{note}; the limit is {bound}."
    if case.verdict is Verdict.BEYOND:
        gap = f"{_gap(abs(case.value - case.limit), unit, decimals)} beyond"
        return f"{subject} {verb} {value} {case.where}{note}, {gap} the limit of {bound}."
    if case.verdict is Verdict.CLOSE:
        near = "close to" if case.limit and abs(case.value / case.limit - 1.0) < 0.5 else "below"
        return f"{subject} {verb} {value} {case.where}{note}, {near} the limit of {bound}."
    return f"{subject} {verb} {value} at worst, {case.where}{note}; the limit is {bound}."


def _lacking(thing: str, case: Case) -> str:
    """What the forecast does not hold, and where."""
    if case.note == NOWHERE:
        return f"The forecast has no {thing} at all"
    note = f" ({case.note})" if case.note else ""
    return f"The forecast has no {thing} {case.where}{note}"


def limit_words(limit: str) -> str:
    """Name of a limit in a sentence: "distance from shore"."""
    special = {
        "gust": "gusts",
        "offshore": "distance from shore",
        "offshore_wind": "wind off the land",
        "opposing_current": "current against the wind",
        "time_on_water": "time on the water",
        "cape": "thunder energy (CAPE)",
        "drift": "time ashore when adrift",
    }
    return special.get(limit, limit.replace("_", " "))


def show_limit(limit: str, value: float) -> str:
    """Value of a limit by its name."""
    if limit in _SUBJECTS:
        return show(value, _SUBJECTS[limit][2])
    return _metres(value) if limit.startswith("offshore") else duration(value)


def show_needed(limit: str, needed: float, value: float) -> str:
    """What a limit of a value would have to be, rounded so that it is enough."""
    rounded = math.ceil if needed >= value else math.floor
    if limit not in _SUBJECTS:
        return _metres(rounded(needed)) if limit == "offshore" else duration(needed, rounded)
    unit = _SUBJECTS[limit][2]
    scale, least = _SHOWN[unit]
    # Interpolation leaves a last digit that would lift a whole figure by one.
    figure = rounded(round(scale(needed) * 10.0 ** (least + 1), 4)) / 10.0 ** (least + 1)
    if figure == round(scale(value), least + 1) and needed != value:
        figure += 10.0 ** -(least + 1) * (1 if needed > value else -1)
    return f"{figure + 0.0:.{least + 1}f} {'%' if unit == 'share' else unit}"


def _gap(gap: float, unit: str, decimals: int) -> str:
    """Difference of two values, never rounded to nothing."""
    figure = gap + ZERO_CELSIUS_K if unit == "°C" else gap
    least = 10.0**-decimals
    if _SHOWN[unit][0](figure) < 0.5 * least:
        return f"less than {least:.{decimals}f} {'%' if unit == 'share' else unit}"
    return _figure(figure, unit, decimals)


def _metres(value: float) -> str:
    return f"{value:,.0f} m"


def _offshore(case: Case) -> str:
    bound = _metres(case.limit)
    if case.verdict is Verdict.UNKNOWN:
        return f"Distance from shore is unknown {case.where}; the limit is {bound}."
    value = _metres(case.value)
    if case.verdict is Verdict.BEYOND:
        gap = case.value - case.limit
        over = _metres(gap) if gap >= 0.5 else "less than 1 m"
        return f"The line is {value} from shore {case.where}, {over} beyond the limit of {bound}."
    if case.verdict is Verdict.CLOSE:
        if np.isnan(case.exact_m):
            why = "and how exact the coastline is, is not known"
        elif case.limit - case.value < case.exact_m:
            why = f"nearer to the limit than the coastline is exact ({_metres(case.exact_m)})"
        else:
            why = "close to the limit"
        return f"The line is {value} from shore {case.where}, {why}; the limit is {bound}."
    return f"The line is at most {value} from shore, {case.where}; the limit is {bound}."


def duration(seconds: float, rounded: Callable[[float], int] = round) -> str:
    """Length of time in hours and minutes."""
    minutes = int(rounded(abs(seconds) / 60.0))
    if minutes < 1:
        return "less than a minute"
    if minutes < 60:
        return f"{minutes} min"
    return f"{minutes // 60} h {minutes % 60:02d} min"


def _daylight(case: Case) -> str:
    """`value` is the time left before dusk less the margin [s], `limit` the margin."""
    margin = duration(case.limit) if case.limit > 0.0 else "none"
    if case.verdict is Verdict.UNKNOWN:
        return "Whether one arrives in daylight is unknown, as the arrival is."
    left = duration(case.value + case.limit, math.floor)
    if case.verdict is Verdict.BEYOND:
        if case.value + case.limit >= 0.0:
            return (
                f"Only {left} of civil daylight would be left {case.where}; the margin wanted is "
                f"{margin}."
            )
        dark = duration(case.value + case.limit, math.ceil)
        return f"It is dark {case.where}: {dark} from civil daylight."
    if case.verdict is Verdict.CLOSE:
        return (
            f"{left} of civil daylight would be left {case.where}, close to the margin of {margin}."
        )
    return f"{left} of civil daylight would be left at the end; the margin wanted is {margin}."


def _land(case: Case) -> str:
    if case.verdict is Verdict.WITHIN:
        return "The line crosses no land."
    where = f"The line crosses land {case.where}, {_metres(case.value)} in one stretch"
    if case.verdict is Verdict.BEYOND:
        return f"{where}: it cannot be paddled. Draw it round, or mark a portage."
    return f"{where}, which may be the coastline's error: check it on a chart."


def _progress(case: Case) -> str:
    if case.verdict is Verdict.BEYOND:
        return f"No headway can be made {case.where} against wind, sea and current."
    if case.verdict is Verdict.UNKNOWN:
        if case.note:
            return f"The forecast has no {case.note} {case.where}: what follows is unknown."
        return f"The forecast ends while {case.where}: what follows is unknown."
    return "Headway is made on every leg."


def _current(case: Case) -> str:
    if case.verdict is Verdict.UNKNOWN:
        why = f" ({case.note})" if case.note else ""
        return f"The current is unknown {case.where}{why}; it was taken as none for the speed."
    return "The current is known all the way."


def _time_on_water(case: Case) -> str:
    bound = duration(case.limit)
    if case.verdict is Verdict.UNKNOWN:
        return f"The time on the water is unknown; the limit is {bound}."
    spent = duration(case.value)
    if case.verdict is Verdict.BEYOND:
        over = duration(case.value - case.limit)
        return f"The passage takes {spent}, {over} beyond the limit of {bound}."
    close = ", close to" if case.verdict is Verdict.CLOSE else "; the limit is"
    return f"The passage takes {spent}{close}{' the limit of' if ',' in close else ''} {bound}."


def _drift(case: Case) -> str:
    """`value` is the time until ashore [s]; twice the limit stands for longer than followed."""
    bound = duration(case.limit)
    if case.verdict is Verdict.UNKNOWN:
        return (
            f"Where one would drift to {case.where} is unknown; the limit is {bound} until ashore."
        )
    if case.value >= 2.0 * case.limit * (1.0 - 1e-6):
        return f"Adrift {case.where} one would not be ashore within the limit of {bound}."
    value = duration(case.value)
    if case.verdict is Verdict.BEYOND:
        return (
            f"Adrift {case.where} one would be ashore after {value}, beyond the limit of {bound}."
        )
    near = ", close to the limit of" if case.verdict is Verdict.CLOSE else "; the limit is"
    return f"Adrift {case.where} one would be ashore after {value} at the latest{near} {bound}."
