"""Units as files spell them, to SI. A spelling that is not listed is refused, never guessed."""

from __future__ import annotations

import re

from routeplan.units import (
    FOOT_M,
    HOUR_S,
    INCH_M,
    KNOT_MS,
    MILE_M,
    NAUTICAL_MILE_M,
    ZERO_CELSIUS_K,
)

__all__ = ["SI_UNITS", "allowed_spellings", "si_factor", "time_factor"]

# SI unit that each dimension is converted to.
SI_UNITS = {
    "speed": "m s-1",
    "length": "m",
    "temperature": "K",
    "pressure": "Pa",
    "time": "s",
    "angle": "degree",
    "rate": "kg m-2 s-1",
    "amount": "kg m-2",
    "energy": "J kg-1",
    "fraction": "1",
}

_DEGREE_PER_RADIAN = 57.29577951308232

# dimension -> spelling (after _tidy) -> (factor, offset): si = factor * value + offset.
# One metre of water on one square metre is 1000 kg: the convention by which meteorological
# files give amounts of rain as a depth.
_SPELLINGS: dict[str, dict[str, tuple[float, float]]] = {
    "speed": {
        **dict.fromkeys(("m s-1", "m/s", "m.s-1", "m*s-1", "mps", "meter/second"), (1.0, 0.0)),
        **dict.fromkeys(("meter second-1", "meters/second", "metre/second"), (1.0, 0.0)),
        **dict.fromkeys(("metres/second", "metre second-1"), (1.0, 0.0)),
        **dict.fromkeys(("kt", "kts", "kn", "knot", "knots", "kt_international"), (KNOT_MS, 0.0)),
        **dict.fromkeys(("nautical_mile/hour", "nmi/h"), (KNOT_MS, 0.0)),
        **dict.fromkeys(("km/h", "km h-1", "km hr-1", "km/hr", "kph"), (1000.0 / HOUR_S, 0.0)),
        **dict.fromkeys(("mph", "mi/h", "mile/hour", "miles/hour"), (MILE_M / HOUR_S, 0.0)),
        **dict.fromkeys(("cm s-1", "cm/s"), (0.01, 0.0)),
        **dict.fromkeys(("ft s-1", "ft/s"), (FOOT_M, 0.0)),
    },
    "length": {
        **dict.fromkeys(("m", "meter", "meters", "metre", "metres"), (1.0, 0.0)),
        **dict.fromkeys(("cm", "centimeter", "centimetre"), (0.01, 0.0)),
        **dict.fromkeys(("mm", "millimeter", "millimetre"), (0.001, 0.0)),
        **dict.fromkeys(("km", "kilometer", "kilometre", "kilometers", "kilometres"), (1e3, 0.0)),
        **dict.fromkeys(("ft", "foot", "feet"), (FOOT_M, 0.0)),
        **dict.fromkeys(("inch", "inches"), (INCH_M, 0.0)),
        **dict.fromkeys(("mi", "mile", "miles", "statute_mile"), (MILE_M, 0.0)),
        **dict.fromkeys(("nmi", "nautical_mile", "nautical_miles"), (NAUTICAL_MILE_M, 0.0)),
    },
    "temperature": {
        **dict.fromkeys(("k", "kelvin", "degk", "deg_k", "degree_kelvin"), (1.0, 0.0)),
        **dict.fromkeys(("c", "degc", "deg c", "deg_c", "celsius", "°c"), (1.0, ZERO_CELSIUS_K)),
        **dict.fromkeys(
            ("degree_celsius", "degrees_celsius", "degree celsius", "degrees celsius", "degree_c"),
            (1.0, ZERO_CELSIUS_K),
        ),
        **dict.fromkeys(
            ("degf", "deg_f", "fahrenheit", "degree_fahrenheit", "degrees_fahrenheit", "°f"),
            (5.0 / 9.0, ZERO_CELSIUS_K - 32.0 * 5.0 / 9.0),
        ),
    },
    "pressure": {
        **dict.fromkeys(("pa", "pascal", "pascals"), (1.0, 0.0)),
        **dict.fromkeys(("hpa", "mb", "mbar", "millibar", "millibars"), (100.0, 0.0)),
        **dict.fromkeys(("kpa",), (1000.0, 0.0)),
    },
    "time": {
        **dict.fromkeys(("s", "sec", "second", "seconds", "secs"), (1.0, 0.0)),
        **dict.fromkeys(("min", "minute", "minutes"), (60.0, 0.0)),
        **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), (HOUR_S, 0.0)),
        **dict.fromkeys(("d", "day", "days"), (24.0 * HOUR_S, 0.0)),
        **dict.fromkeys(("ms", "millisecond", "milliseconds"), (1e-3, 0.0)),
        **dict.fromkeys(("ns", "nanosecond", "nanoseconds"), (1e-9, 0.0)),
    },
    "angle": {
        **dict.fromkeys(("degree", "degrees", "deg", "°", "arcdeg", "angular_degree"), (1.0, 0.0)),
        **dict.fromkeys(("degree true", "degrees true", "degree_true"), (1.0, 0.0)),
        **dict.fromkeys(("degrees_true", "deg true", "degt", "deg. true"), (1.0, 0.0)),
        **dict.fromkeys(("degree_t", "degrees_north", "degrees_east"), (1.0, 0.0)),
        **dict.fromkeys(("rad", "radian", "radians"), (_DEGREE_PER_RADIAN, 0.0)),
    },
    "rate": {
        **dict.fromkeys(("kg m-2 s-1", "kg/m2/s", "kg m-2/s", "mm s-1", "mm/s"), (1.0, 0.0)),
        **dict.fromkeys(("kg/(m2 s)", "kg/m2 s", "kg/m2s"), (1.0, 0.0)),
        **dict.fromkeys(("mm h-1", "mm/h", "mm hr-1", "mm/hr", "mm/hour"), (1.0 / HOUR_S, 0.0)),
        **dict.fromkeys(("kg m-2 h-1", "kg/m2/h"), (1.0 / HOUR_S, 0.0)),
        **dict.fromkeys(("m s-1", "m/s"), (1000.0, 0.0)),
    },
    "amount": {
        **dict.fromkeys(("kg m-2", "kg/m2", "mm", "millimeter", "millimetre"), (1.0, 0.0)),
        **dict.fromkeys(("m", "meter", "metre", "m of water equivalent"), (1000.0, 0.0)),
        **dict.fromkeys(("cm",), (10.0, 0.0)),
        **dict.fromkeys(("inch", "inches"), (1000.0 * INCH_M, 0.0)),
    },
    "energy": {
        **dict.fromkeys(("j kg-1", "j/kg", "m2 s-2", "m2/s2"), (1.0, 0.0)),
        **dict.fromkeys(("kj kg-1", "kj/kg"), (1000.0, 0.0)),
    },
    "fraction": {
        **dict.fromkeys(("1", "(0 - 1)", "0-1", "0 - 1", "fraction", "proportion"), (1.0, 0.0)),
        **dict.fromkeys(("%", "percent"), (0.01, 0.0)),
    },
}


def si_factor(dimension: str, units: str) -> tuple[float, float] | None:
    """Return (factor, offset) to the SI unit of a dimension; None if the spelling is unknown."""
    return _SPELLINGS[dimension].get(_tidy(units))


def time_factor(units: str) -> float | None:
    """Seconds in one of a unit of time, or None."""
    found = si_factor("time", units)
    return None if found is None else found[0]


def allowed_spellings(dimension: str, count: int = 4) -> str:
    """Name a few spellings of a dimension for a message."""
    first_of_each: dict[tuple[float, float], str] = {}
    for spelling, rule in _SPELLINGS[dimension].items():
        first_of_each.setdefault(rule, spelling)
    words = [SI_UNITS[dimension], *list(first_of_each.values())[1:count]]
    return ", ".join(words)


def _tidy(units: str) -> str:
    text = units.strip().lower().replace("**", "").replace("^", "").replace("·", " ")
    text = re.sub(r"\s+per\s+", "/", text)
    text = re.sub(r"\s*/\s*", "/", text)
    return re.sub(r"\s+", " ", text)
