"""Conversions at the human edge. Inside, everything is SI, degrees and UTC.

    parse_quantity("12 kn", "speed")        -> 6.173 m/s
    parse_quantity("30 min", "time")        -> 1800 s
    parse_quantity("-10 °C", "temperature") -> 263.15 K
    parse_quantity("4 Bft", "wind speed")   -> 7.9 m/s, the top of that force

A wind in Beaufort is read as the fastest wind of that force: whoever accepts force 4 accepts all
of it and none of force 5. A gallon must say whose it is, "US gal" or "imp gal".

References
----------
The international nautical mile is 1852 m and the knot one such mile per hour
(SI Brochure, 9th edition, 2019, table 8 and its notes). Inch, pound, ounce and US gallon: NIST
Handbook 44, appendix C, section 4; imperial gallon of 4.54609 L: the same, section 3. Beaufort
forces in m/s, at 10 m above open ground: WMO-No. 8, Guide to Instruments and Methods of
Observation, wind speed equivalents.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from routeplan.errors import InputError

__all__ = [
    "BEAUFORT_TOP_MS",
    "FOOT_M",
    "HOUR_S",
    "IMPERIAL_GALLON_M3",
    "INCH_M",
    "KNOT_MS",
    "MILE_M",
    "NAUTICAL_MILE_M",
    "POUND_KG",
    "UNITS",
    "US_GALLON_M3",
    "ZERO_CELSIUS_K",
    "parse_quantity",
    "quantity_words",
    "range_words",
    "to_celsius",
    "to_knots",
]

NAUTICAL_MILE_M = 1852.0  # exact, SI Brochure 9th ed.
KNOT_MS = NAUTICAL_MILE_M / 3600.0  # exact
FOOT_M = 0.3048  # exact, international foot (1959 agreement)
MILE_M = 5280.0 * FOOT_M  # exact, international (statute) mile
INCH_M = 0.0254  # exact, a twelfth of the international foot
POUND_KG = 0.45359237  # exact, avoirdupois pound (1959 agreement)
US_GALLON_M3 = 231.0 * INCH_M**3  # exact, 231 cubic inches
IMPERIAL_GALLON_M3 = 0.00454609  # exact
HOUR_S = 3600.0
ZERO_CELSIUS_K = 273.15  # exact, SI Brochure 9th ed.

_FAHRENHEIT_K = 5.0 / 9.0

# Fastest wind of the forces 0 to 11 [m/s]; force 12 has no top.
BEAUFORT_TOP_MS = (0.2, 1.5, 3.3, 5.4, 7.9, 10.7, 13.8, 17.1, 20.7, 24.4, 28.4, 32.6)
_BEAUFORT = ("bft", "beaufort")
_GALLONS = ("gal", "gallon", "gallons")

_SPEEDS = {
    "m/s": (1.0, 0.0),
    "km/h": (1000.0 / 3600.0, 0.0),
    "kn": (KNOT_MS, 0.0),
    "kt": (KNOT_MS, 0.0),
    "mph": (MILE_M / 3600.0, 0.0),
}

# Other spellings of the same units, which messages need not list.
_SPELLINGS = {
    "knot": "kn", "knots": "kn", "kts": "kn", "nmi": "nm", "NM": "nm", "lbs": "lb", "hours": "h",
    "hour": "h", "minutes": "min", "days": "d", "day": "d", "ml": "mL",
}  # fmt: skip

# dimension -> unit as people write it -> (factor, offset) with SI = value * factor + offset
UNITS: Mapping[str, Mapping[str, tuple[float, float]]] = MappingProxyType(
    {
        "speed": _SPEEDS,
        "wind speed": _SPEEDS,  # and Beaufort, which is no factor
        "length": {
            "m": (1.0, 0.0),
            "km": (1000.0, 0.0),
            "nm": (NAUTICAL_MILE_M, 0.0),
            "cm": (0.01, 0.0),
            "in": (INCH_M, 0.0),
            "ft": (FOOT_M, 0.0),
            "mi": (MILE_M, 0.0),
        },
        "time": {"s": (1.0, 0.0), "min": (60.0, 0.0), "h": (HOUR_S, 0.0), "d": (86400.0, 0.0)},
        "temperature": {
            "K": (1.0, 0.0),
            "°C": (1.0, ZERO_CELSIUS_K),
            "C": (1.0, ZERO_CELSIUS_K),
            "°F": (_FAHRENHEIT_K, ZERO_CELSIUS_K - 32.0 * _FAHRENHEIT_K),
            "F": (_FAHRENHEIT_K, ZERO_CELSIUS_K - 32.0 * _FAHRENHEIT_K),
        },
        "share": {"%": (0.01, 0.0)},
        "specific energy": {"J/kg": (1.0, 0.0)},
        "power": {"W": (1.0, 0.0)},
        "mass": {
            "kg": (1.0, 0.0),
            "g": (0.001, 0.0),
            "lb": (POUND_KG, 0.0),
            "oz": (POUND_KG / 16.0, 0.0),
        },
        "area": {"m2": (1.0, 0.0), "m²": (1.0, 0.0)},
        "volume": {
            "L": (0.001, 0.0),
            "l": (0.001, 0.0),
            "mL": (1e-6, 0.0),
            "m3": (1.0, 0.0),
            "m³": (1.0, 0.0),
            "US gal": (US_GALLON_M3, 0.0),
            "imp gal": (IMPERIAL_GALLON_M3, 0.0),
        },
    }
)

_QUANTITY = re.compile(
    r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?)\s*(\D.*?|)\s*", re.DOTALL
)
_MAX_TEXT = 60  # longer texts are no quantity and are cut in the message


def parse_quantity(text: Any, dimension: str) -> float:
    """Read a number with its unit, as people write it, to SI.

    Parameters
    ----------
    text : str
        Number, then unit: "12 kn", "0.6 m", "30min", "-10 °C", "4 Bft". A number without a unit is
        refused.
    dimension : str
        A key of `UNITS`: what kind of quantity is wanted.

    Returns
    -------
    float
        Value in SI: m/s, m, s, K, J/kg, W, kg, m², m³; a share is a fraction (90 % -> 0.9).

    Raises
    ------
    InputError
        Not a text, no number, no unit, a unit of another kind, or not finite.

    Examples
    --------
    >>> round(parse_quantity("12 kn", "speed"), 3)
    6.173
    """
    units = UNITS[dimension]
    allowed = _allowed(dimension)
    if not isinstance(text, str):
        msg = f"{text!r} has no unit; give a text with {allowed}"
        raise InputError(msg, value=text)
    shown = repr(text if len(text) <= _MAX_TEXT else text[:_MAX_TEXT] + "…")
    match = _QUANTITY.fullmatch(text) if len(text) <= _MAX_TEXT else None
    if match is None:
        msg = f"{shown} is not {allowed}"
        raise InputError(msg, value=text)
    number, unit = match.groups()
    unit = _SPELLINGS.get(unit, unit)
    if dimension == "wind speed" and unit.lower() in _BEAUFORT:
        return _beaufort(number, shown)
    if unit not in units:
        msg = f"{shown}: {_wrong(unit, dimension)}; give {allowed}"
        raise InputError(msg, value=text)
    factor, offset = units[unit]
    value = float(number) * factor + offset
    if not math.isfinite(value):
        msg = f"{shown} is too large; give {allowed}"
        raise InputError(msg, value=text)
    return value


def _allowed(dimension: str) -> str:
    names = [*UNITS[dimension], *(("Bft",) if dimension == "wind speed" else ())]
    return (
        f'a number with one of the units {", ".join(names)} (for example "{_example(dimension)}")'
    )


def _wrong(unit: str, dimension: str) -> str:
    """What is the matter with a unit that the dimension has not."""
    if not unit:
        return "the unit is missing"
    if dimension == "volume" and unit in _GALLONS:
        return "a gallon is a US or an imperial one, and they differ by a fifth"
    if unit.lower() in _BEAUFORT:
        return "Beaufort measures the wind alone"
    return f"the unit {unit!r} is no {dimension}"


def _beaufort(number: str, shown: str) -> float:
    """Fastest wind of a Beaufort force [m/s]."""
    force = float(number)
    if force not in range(len(BEAUFORT_TOP_MS)):
        msg = (
            f"{shown}: give a whole force from 0 to {len(BEAUFORT_TOP_MS) - 1}; it stands for the "
            "fastest wind of that force"
        )
        raise InputError(msg, value=number)
    return BEAUFORT_TOP_MS[int(force)]


def range_words(low: float, high: float, dimension: str) -> str:
    """Range of a quantity in units that people use: "10 min to 2 d", "0 to 60 m/s (117 kn)".

    Parameters
    ----------
    low, high : float
        In SI; an infinite `high` is "or more".
    dimension : str
        A key of `UNITS`, or "" for a bare number.
    """
    if high == math.inf:
        return f"{quantity_words(low, dimension)} or more"
    if "speed" in dimension:  # one unit, so that both ends compare at a glance
        return f"{low:g} to {high:g} m/s ({high / KNOT_MS:.0f} kn)"
    return f"{quantity_words(low, dimension)} to {quantity_words(high, dimension)}"


def quantity_words(value: float, dimension: str) -> str:
    """A quantity in SI as people write it, in a unit of its size: "1.5 km", "30 min"."""
    if dimension == "length":
        return f"{value / 1000.0:,g} km" if value >= 1000.0 else f"{value:g} m"
    if dimension == "time":
        sizes = ((86_400.0, "d"), (HOUR_S, "h"), (60.0, "min"))
        size, unit = next((it for it in sizes if value >= it[0]), (1.0, "s"))
        return f"{value / size:g} {unit}"
    if dimension == "temperature":
        return f"{to_celsius(value):g} °C"
    if dimension == "share":
        return f"{100.0 * value:g} %"
    unit, (factor, offset) = next(iter(UNITS.get(dimension, {"": (1.0, 0.0)}).items()))
    return f"{(value - offset) / factor:,g} {unit}".strip()


def to_knots(speed_ms: Any) -> Any:
    """Speed in knots from m/s; any shape."""
    return speed_ms / KNOT_MS


def to_celsius(temperature_k: Any) -> Any:
    """Temperature in °C from K; any shape."""
    return temperature_k - ZERO_CELSIUS_K


def _example(dimension: str) -> str:
    return {
        "speed": "6 km/h",
        "wind speed": "12 kn",
        "length": "1000 m",
        "time": "30 min",
        "temperature": "-10 °C",
        "share": "90 %",
        "specific energy": "500 J/kg",
        "power": "40 W",
        "mass": "75 kg",
        "area": "0.8 m²",
        "volume": "35 L",
    }[dimension]
