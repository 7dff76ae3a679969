"""Conversions at the human edge. Inside, everything is SI, degrees and UTC.

    parse_quantity("12 kn", "speed")        -> 6.173 m/s
    parse_quantity("30 min", "time")        -> 1800 s
    parse_quantity("-10 °C", "temperature") -> 263.15 K

References
----------
The international nautical mile is 1852 m and the knot one such mile per hour
(SI Brochure, 9th edition, 2019, table 8 and its notes).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from routeplan.errors import InputError

__all__ = [
    "FOOT_M",
    "HOUR_S",
    "KNOT_MS",
    "MILE_M",
    "NAUTICAL_MILE_M",
    "UNITS",
    "ZERO_CELSIUS_K",
    "parse_quantity",
    "to_celsius",
    "to_knots",
]

NAUTICAL_MILE_M = 1852.0  # exact, SI Brochure 9th ed.
KNOT_MS = NAUTICAL_MILE_M / 3600.0  # exact
FOOT_M = 0.3048  # exact, international foot (1959 agreement)
MILE_M = 5280.0 * FOOT_M  # exact, international (statute) mile
HOUR_S = 3600.0
ZERO_CELSIUS_K = 273.15  # exact, SI Brochure 9th ed.

_FAHRENHEIT_K = 5.0 / 9.0

# dimension -> unit as people write it -> (factor, offset) with SI = value * factor + offset
UNITS: Mapping[str, Mapping[str, tuple[float, float]]] = MappingProxyType(
    {
        "speed": {
            "m/s": (1.0, 0.0),
            "km/h": (1000.0 / 3600.0, 0.0),
            "kn": (KNOT_MS, 0.0),
            "kt": (KNOT_MS, 0.0),
            "mph": (MILE_M / 3600.0, 0.0),
        },
        "length": {
            "m": (1.0, 0.0),
            "km": (1000.0, 0.0),
            "nm": (NAUTICAL_MILE_M, 0.0),
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
        "mass": {"kg": (1.0, 0.0), "g": (0.001, 0.0)},
        "area": {"m2": (1.0, 0.0), "m²": (1.0, 0.0)},
        "volume": {"L": (0.001, 0.0), "l": (0.001, 0.0), "m3": (1.0, 0.0), "m³": (1.0, 0.0)},
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
        Number, then unit: "12 kn", "0.6 m", "30min", "-10 °C". A number without a unit is refused.
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
    allowed = (
        f'a number with one of the units {", ".join(units)} (for example "{_example(dimension)}")'
    )
    if not isinstance(text, str):
        msg = f"{text!r} has no unit; give a text with {allowed}"
        raise InputError(msg, value=text)
    shown = repr(text if len(text) <= _MAX_TEXT else text[:_MAX_TEXT] + "…")
    match = _QUANTITY.fullmatch(text) if len(text) <= _MAX_TEXT else None
    if match is None:
        msg = f"{shown} is not {allowed}"
        raise InputError(msg, value=text)
    number, unit = match.groups()
    if unit not in units:
        what = f"the unit {unit!r} is no {dimension}" if unit else "the unit is missing"
        msg = f"{shown}: {what}; give {allowed}"
        raise InputError(msg, value=text)
    factor, offset = units[unit]
    value = float(number) * factor + offset
    if not math.isfinite(value):
        msg = f"{shown} is too large; give {allowed}"
        raise InputError(msg, value=text)
    return value


def to_knots(speed_ms: Any) -> Any:
    """Speed in knots from m/s; any shape."""
    return speed_ms / KNOT_MS


def to_celsius(temperature_k: Any) -> Any:
    """Temperature in °C from K; any shape."""
    return temperature_k - ZERO_CELSIUS_K


def _example(dimension: str) -> str:
    return {
        "speed": "12 kn",
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
