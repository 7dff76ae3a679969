"""What a GRIB message holds: quantity, level, kind of product; most are of no use here."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from routeplan._forecast.eccodes import load_eccodes
from routeplan._forecast.fields import SURFACE_RANK
from routeplan._forecast.names import Quantity, by_name, by_short

__all__ = ["Recognised", "get_key", "recognise"]

# Plain u, v and their like mean the wind of the level they are given on.
_LEVEL_NAMES = {
    "u": "eastward_wind",
    "v": "northward_wind",
    "ws": "wind_speed",
    "wdir": "wind_from_direction",
    "t": "air_temperature",
}
# A wave model gives the 10 m wind that drives it as "surface"; a temperature of the surface is
# another thing.
_WAVE_MODEL_WIND = ("u", "v", "ws", "wdir")
_SURFACES = ("surface", "meanSea", "entireAtmosphere", "oceanSurface")
# Discipline, category and number of GRIB2 (WMO Manual on Codes, code table 4.2), whose units the
# table fixes. ecCodes has no name for some of them, and centres give others names of their own.
_NUMBERS = {
    (0, 0, 0): ("t", "K"),
    (0, 1, 7): ("prate", "kg m-2 s-1"),
    (0, 1, 8): ("tp", "kg m-2"),
    (0, 1, 49): ("tp", "kg m-2"),
    (0, 1, 52): ("tprate", "kg m-2 s-1"),
    (0, 2, 0): ("wdir", "degree true"),
    (0, 2, 1): ("ws", "m s-1"),
    (0, 2, 2): ("u", "m s-1"),
    (0, 2, 3): ("v", "m s-1"),
    (0, 2, 22): ("gust", "m s-1"),
    (0, 3, 1): ("prmsl", "Pa"),
    (0, 7, 6): ("cape", "J kg-1"),
    (0, 19, 0): ("vis", "m"),
    (2, 0, 0): ("lsm", "(0 - 1)"),
    (10, 0, 3): ("swh", "m"),
    (10, 0, 10): ("dirpw", "degree true"),
    (10, 0, 11): ("perpw", "s"),
    (10, 0, 14): ("mwd", "degree true"),
    (10, 0, 15): ("mwp", "s"),
    (10, 0, 34): ("pp1d", "s"),
    (10, 1, 0): ("sea_water_velocity_to_direction", "degree true"),
    (10, 1, 1): ("sea_water_speed", "m s-1"),
    (10, 1, 2): ("ucurr", "m s-1"),
    (10, 1, 3): ("vcurr", "m s-1"),
    (10, 3, 0): ("sst", "K"),
}
# Templates of plain fields: deterministic or member, at a time or over an interval. Others are
# probabilities, spreads, percentiles: not a wind at all.
_PLAIN_TEMPLATES = (0, 1, 8, 11)
_DERIVED_TYPES = ("em", "es", "ep", "efi", "sot")


@dataclass(frozen=True, slots=True)
class Recognised:
    """Quantity of a message, and how good a source of it the message is (rank 0 best)."""

    quantity: Quantity
    label: str
    units: str
    rank: int


def recognise(handle: int) -> Recognised | None:
    """Quantity of a message; None when it is of no use."""
    label = str(get_key(handle, "shortName", "unknown"))
    units = str(get_key(handle, "units", ""))
    short = label.lower()
    if short not in _LEVEL_NAMES and by_short(short) is None:
        keys = ("discipline", "parameterCategory", "parameterNumber")
        number = tuple(int(get_key(handle, key, -1)) for key in keys)
        if number not in _NUMBERS:
            return None
        short, units = _NUMBERS[number]
        label = short if label == "unknown" else label
    quantity = by_name(_LEVEL_NAMES[short]) if short in _LEVEL_NAMES else by_short(short)
    if quantity is None:
        return None
    product, level = _product_rank(handle, quantity), _level_rank(handle, short, quantity)
    if product is None or level is None:
        return None
    return Recognised(quantity, label, units, product + level)


def get_key(handle: int, key: str, default: Any) -> Any:
    """Value of a key of a message, or the default where the message has no such key."""
    eccodes = load_eccodes()
    try:
        return eccodes.codes_get(handle, key)
    except eccodes.KeyValueNotFoundError:
        return default


def _level_rank(handle: int, short: str, quantity: Quantity) -> int | None:
    """How near to what is meant the level of a message is; None when it is another."""
    kind = str(get_key(handle, "typeOfLevel", "unknown"))
    level = float(get_key(handle, "level", 0.0))
    if kind == "heightAboveGround":
        wanted = 10.0 if quantity.name == "wind_speed_of_gust" else quantity.height_m
        if short in _LEVEL_NAMES and level != wanted:
            return None
        return 0 if wanted in (None, level) or level == 0.0 else None
    if kind.startswith("depthBelowSea"):
        return 0 if quantity.marine and level == 0.0 else None
    if kind not in _SURFACES:
        return None
    if short in _LEVEL_NAMES:
        usable = short in _WAVE_MODEL_WIND and kind == "surface"
        return SURFACE_RANK if usable else None
    return 2 * _SURFACES.index(kind)


def _product_rank(handle: int, quantity: Quantity) -> int | None:
    """0 for a value at a time, 1 for one over an interval; None for what is no plain value."""
    if str(get_key(handle, "dataType", "")) in _DERIVED_TYPES:
        return None
    template = get_key(handle, "productDefinitionTemplateNumber", None)
    if template is not None and int(template) not in _PLAIN_TEMPLATES:
        return None
    kind = str(get_key(handle, "stepType", "instant"))
    if kind == "instant":
        return 0
    if kind == "max":
        return 1 if quantity.name == "wind_speed_of_gust" else None
    return 1 if kind in ("accum", "avg", "avgfc") else None
