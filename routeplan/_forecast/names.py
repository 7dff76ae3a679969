"""What a forecast may hold: names in files, the unit each must have, what its lack costs.

Standard names are those of the CF standard name table (version 93). Short names are those of
the ECMWF parameter database and the NCEP GRIB tables, as ecCodes and cfgrib spell them.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

__all__ = ["OPTIONAL", "QUANTITIES", "REQUIRED", "Quantity", "by_name", "by_short", "by_standard"]


@dataclass(frozen=True, slots=True)
class Quantity:
    """One kind of field; `name` is its name in the normalised forecast."""

    name: str
    dimension: str
    allowed: tuple[float, float]  # in SI; a value outside is a fill value or a wrong unit
    short: tuple[str, ...]
    standard: tuple[str, ...] = ()  # other standard names that mean the same
    cost: str = ""  # what cannot be said without it
    height_m: float | None = None  # height above ground that is meant, where it matters
    kept: bool = True  # False: only a step on the way to another quantity
    marine: bool = False  # masked over land
    static: bool = False  # the same at all hours


_WIND = (-150.0, 150.0)
_CURRENT = (-20.0, 20.0)
_ANGLE = (-360.0, 720.0)

QUANTITIES: tuple[Quantity, ...] = (
    Quantity(
        "eastward_wind",
        "speed",
        _WIND,
        ("u10", "10u", "u10m", "ugrd10m", "ugrd_10maboveground", "u_10m", "uwnd10m", "u10n"),
        cost="no wind: nothing can be judged",
        height_m=10.0,
    ),
    Quantity(
        "northward_wind",
        "speed",
        _WIND,
        ("v10", "10v", "v10m", "vgrd10m", "vgrd_10maboveground", "v_10m", "vwnd10m", "v10n"),
        cost="no wind: nothing can be judged",
        height_m=10.0,
    ),
    Quantity("x_wind", "speed", _WIND, ("x_wind_10m",), height_m=10.0, kept=False),
    Quantity("y_wind", "speed", _WIND, ("y_wind_10m",), height_m=10.0, kept=False),
    Quantity(
        "wind_speed",
        "speed",
        (0.0, 150.0),
        ("10si", "si10", "ws10", "ws", "wspd10m", "wind_speed_10m"),
        height_m=10.0,
        kept=False,
    ),
    Quantity(
        "wind_from_direction",
        "angle",
        _ANGLE,
        ("10wdir", "wdir10", "wd10", "wdir", "wdir10m", "wind_direction_10m"),
        height_m=10.0,
        kept=False,
    ),
    Quantity(
        "wind_speed_of_gust",
        "speed",
        (0.0, 200.0),
        ("gust", "i10fg", "10fg", "fg10", "10fg3", "10fg6", "fg310", "10fg1", "gustsfc", "fg"),
        standard=("wind_gust",),
        cost="gusts unknown: a gust limit cannot be met",
    ),
    Quantity(
        "sea_surface_wave_significant_height",
        "length",
        (0.0, 50.0),
        ("swh", "htsgw", "hs", "htsgwsfc", "vhm0"),
        cost="waves only from fetch and wind; swell unknown",
        marine=True,
    ),
    Quantity(
        "sea_surface_wave_mean_period",
        "time",
        (0.0, 60.0),
        ("mwp", "perpw", "perpwsfc", "tm02", "tm01", "vtm10", "vtm02"),
        standard=(
            "sea_surface_wave_mean_period_from_variance_spectral_density_first_frequency_moment",
            "sea_surface_wave_mean_period_from_variance_spectral_density_second_frequency_moment",
            "sea_surface_wave_mean_period_from_variance_spectral_density_inverse_frequency_moment",
        ),
        cost="wave steepness unknown",
        marine=True,
    ),
    Quantity(
        "sea_surface_wave_period_at_variance_spectral_density_maximum",
        "time",
        (0.0, 60.0),
        ("pp1d", "tp_wave", "vtpk"),
        cost="peak wave period unknown",
        marine=True,
    ),
    Quantity(
        "sea_surface_wave_from_direction",
        "angle",
        _ANGLE,
        ("mwd", "dirpw", "dirpwsfc", "vmdr"),
        cost="wave direction unknown: open swell into a landing is not seen",
        marine=True,
    ),
    Quantity(
        "eastward_sea_water_velocity",
        "speed",
        _CURRENT,
        ("ucurr", "uo", "ocu", "uogrd", "surface_eastward_sea_water_velocity"),
        standard=("surface_eastward_sea_water_velocity",),
        cost="current unknown: taken as none in the speed made good",
        marine=True,
    ),
    Quantity(
        "northward_sea_water_velocity",
        "speed",
        _CURRENT,
        ("vcurr", "vo", "ocv", "vogrd", "surface_northward_sea_water_velocity"),
        standard=("surface_northward_sea_water_velocity",),
        cost="current unknown: taken as none in the speed made good",
        marine=True,
    ),
    Quantity(
        "sea_water_x_velocity",
        "speed",
        _CURRENT,
        ("sea_water_x_velocity",),
        kept=False,
        marine=True,
    ),
    Quantity(
        "sea_water_y_velocity",
        "speed",
        _CURRENT,
        ("sea_water_y_velocity",),
        kept=False,
        marine=True,
    ),
    Quantity("sea_water_speed", "speed", (0.0, 20.0), (), kept=False, marine=True),
    Quantity(
        "sea_water_velocity_to_direction",
        "angle",
        _ANGLE,
        (),
        standard=("direction_of_sea_water_velocity",),
        kept=False,
        marine=True,
    ),
    Quantity(
        "air_temperature",
        "temperature",
        (150.0, 350.0),
        ("t2m", "2t", "t_2m", "tmp2m", "tmp_2maboveground", "air_temperature_2m"),
        cost="wind chill and nights unknown",
        height_m=2.0,
    ),
    Quantity(
        "sea_surface_temperature",
        "temperature",
        (250.0, 320.0),
        ("sst",),
        standard=("sea_surface_skin_temperature",),
        cost="water temperature unknown",
        marine=True,
    ),
    Quantity(
        "precipitation_flux",
        "rate",
        (-1e-6, 1.0),
        ("prate", "tprate", "mtpr", "pratesfc"),
        standard=("rainfall_flux",),
        cost="rain unknown",
    ),
    Quantity(
        "precipitation_amount",
        "amount",
        (-1e-3, 5000.0),
        ("tp", "apcp", "apcpsfc"),
        standard=("lwe_thickness_of_precipitation_amount",),
        kept=False,
    ),
    Quantity(
        "visibility_in_air",
        "length",
        (0.0, 1e6),
        ("vis", "visibility", "vissfc"),
        cost="fog unknown: a visibility limit cannot be met",
    ),
    Quantity(
        "atmosphere_convective_available_potential_energy",
        "energy",
        (-1.0, 20000.0),
        ("cape", "mucape", "capesfc"),
        standard=("atmosphere_convective_available_potential_energy_wrt_surface",),
        cost="thunderstorm risk unknown: a CAPE limit cannot be met",
    ),
    Quantity(
        "air_pressure_at_mean_sea_level",
        "pressure",
        (80_000.0, 120_000.0),
        ("msl", "prmsl", "mslet", "msslp", "prmslmsl"),
        standard=("air_pressure_at_sea_level",),
        cost="pressure unknown",
    ),
    Quantity(
        "land_binary_mask",
        "fraction",
        (-0.01, 1.01),
        ("lsm", "land", "landsfc"),
        standard=("land_area_fraction",),
        cost="winds over cells that are part land are told from the coastline alone",
        static=True,
    ),
)

REQUIRED = ("eastward_wind", "northward_wind")
OPTIONAL = tuple(q.name for q in QUANTITIES if q.kept and q.name not in REQUIRED)

_BY_NAME = {q.name: q for q in QUANTITIES}
_BY_STANDARD = {name: q for q in QUANTITIES for name in (q.name, *q.standard)}
_BY_SHORT = {name: q for q in QUANTITIES for name in q.short}


def by_name(name: str) -> Quantity:
    """Quantity of a normalised name; KeyError when there is none."""
    return _BY_NAME[name]


def by_standard(name: str) -> Quantity | None:
    """Quantity that a CF standard name means."""
    return _BY_STANDARD.get(name.strip().lower())


def by_short(name: str) -> Quantity | None:
    """Quantity that a short name means, or a variable called by its standard name."""
    tidy = re.sub(r"[\s-]+", "_", name.strip().lower())
    return _BY_SHORT.get(tidy) or _BY_STANDARD.get(tidy)
