"""Write the demo scenario: ``python -m routeplan._demo.data DIRECTORY [--force]``.

Everything is invented for demonstration: the trip (`trip`) and its weather, which is
a set of smooth hand-chosen shapes, not the output of any model:

* a background wind given at a few times and joined linearly by components;
* on fair days an onshore sea breeze, strongest at 14 UTC near the shore;
* a ripple of a few seeded Fourier modes, so that neighbouring cells and hours differ;
* drag that takes wind off the inner waters, and gusts as a share of the wind;
* waves that approach 0.011 s2/m times the squared wind at sea, fast as it rises and slowly as it
  falls, cut to a fifth behind the skerries. No wind in it blows off the land, so that fetch
  plays no part.

It tells of a blow of 14 m/s on 15 July with a fair day on each side: the open crossing of the
second stage has a morning on the 14th, a lost day, and waits on the 16th until the sea is down.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

# Must come before ecCodes, whose wheel brings a PROJ library of its own and offers it to the whole
# process; a pyproj that is loaded after it finds no database and crashes at exit.
import pyproj  # noqa: F401

from routeplan._demo.files import (
    FORECAST_GRIB,
    FORECAST_NETCDF,
    GROUP,
    LIMITS,
    README,
    ROUTE,
)
from routeplan._demo.group import group_text
from routeplan._demo.trip import INVENTED, LIMITS_TEXT, README_TEXT, route_gpx
from routeplan.errors import InputError

if TYPE_CHECKING:
    import xarray as xr
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["demo_forecast", "main", "write_demo"]

SEED = 20260713
START = np.datetime64("2026-07-13T06:00:00", "ns")
HOURS = np.arange(121.0)
LATITUDE = np.round(np.arange(58.3, 58.901, 0.05), 2)  # [degrees]
LONGITUDE = np.round(np.arange(10.7, 11.701, 0.1), 2)  # [degrees]

# Background wind at sea: hours after the start, speed [m/s], direction it blows from [degrees].
BACKGROUND_WIND = (
    (0, 2.5, 300),
    (12, 3.0, 290),
    (18, 2.5, 260),
    (27, 3.5, 230),
    (36, 5.0, 210),
    (40, 6.0, 200),
    (44, 8.0, 190),
    (48, 11.5, 200),
    (53, 15.0, 215),
    (57, 14.0, 235),
    (61, 11.0, 255),
    (66, 8.0, 280),
    (72, 6.0, 300),
    (78, 4.5, 310),
    (84, 3.5, 315),
    (90, 2.5, 320),
    (102, 2.0, 330),
    (120, 2.5, 250),
)
# Sea breeze at its strongest on each date from the 13th to the 18th [m/s].
SEA_BREEZE = (4.5, 4.5, 0.0, 1.0, 4.5, 4.0)
SEA_BREEZE_FROM_DEG = 250.0


def demo_forecast() -> xr.Dataset:
    """The invented weather on dimensions time, latitude, longitude; CF names, SI units.

    Values are rounded to what the files keep, 0.01 of the unit. Directions are *from*, winds at
    10 m. Wave fields are nan over cells well inland.
    """
    import xarray as xr  # heavy

    wind, sea = _wind()
    speed = np.hypot(*wind)
    shelter = _smooth_step(LONGITUDE, 11.1, 11.3)
    height, period, direction = _waves(sea, shelter)
    fields = {
        "eastward_wind": (wind[0], "m s-1", "wind toward the east at 10 m"),
        "northward_wind": (wind[1], "m s-1", "wind toward the north at 10 m"),
        "wind_speed_of_gust": (speed * (1.35 + 0.15 * shelter) + 0.5, "m s-1", "gust at 10 m"),
        "sea_surface_wave_significant_height": (height, "m", "significant wave height"),
        "sea_surface_wave_mean_period": (period, "s", "mean wave period"),
        "sea_surface_wave_from_direction": (direction, "degree", "direction waves come from"),
        "air_temperature": (_temperature(), "K", "air temperature at 2 m"),
    }
    dims = ("time", "latitude", "longitude")
    data = {
        name: (dims, np.round(field, 2), {"standard_name": name, "units": unit, "long_name": words})
        for name, (field, unit, words) in fields.items()
    }
    coords = {
        "time": ("time", START + HOURS.astype("timedelta64[h]"), {"standard_name": "time"}),
        "latitude": _axis("latitude", "degrees_north", LATITUDE),
        "longitude": _axis("longitude", "degrees_east", LONGITUDE),
        "forecast_reference_time": ((), START, {"standard_name": "forecast_reference_time"}),
    }
    attributes = {
        "Conventions": "CF-1.11",
        "title": f"{INVENTED}: demo scenario of routeplan",
        "institution": INVENTED,
        "source": "hand-chosen shapes, no model",
        "history": "written by routeplan._demo.data",
        "references": "routeplan/_demo/data.py",
        "comment": f"{INVENTED}. Never use it to decide on a real trip.",
    }
    return xr.Dataset(data, coords, attributes)


def _axis(name: str, units: str, values: Floats) -> tuple[str, Floats, dict[str, str]]:
    return name, values, {"standard_name": name, "units": units}


def _smooth_step(x: Floats, low: float, high: float) -> Floats:
    share = np.clip((x - low) / (high - low), 0.0, 1.0)
    return share * share * (3.0 - 2.0 * share)


def _wind() -> tuple[Floats, Floats]:
    """Wind components (2, time, latitude, longitude), and those before the land's drag [m/s]."""
    at, speed, come_from = np.array(BACKGROUND_WIND, dtype=float).T
    toward = -np.stack([np.sin(np.radians(come_from)), np.cos(np.radians(come_from))])
    background = np.stack([np.interp(HOURS, at, speed * part) for part in toward])

    clock = HOURS + 6.0  # hours after midnight UTC of the first day
    breeze = np.asarray(SEA_BREEZE)[(clock // 24).astype(int)]
    breeze = breeze * np.clip(np.sin(np.pi * (clock % 24 - 9.0) / 10.0), 0.0, None)
    near_shore = np.exp(-(((LONGITUDE - 11.2) / 0.35) ** 2))
    angle = np.radians(SEA_BREEZE_FROM_DEG)
    onshore = -np.array([np.sin(angle), np.cos(angle)])

    sea = background[:, :, None, None] + _ripple()
    sea = sea + onshore[:, None, None, None] * breeze[:, None, None] * near_shore
    return sea * (1.0 - 0.35 * _smooth_step(LONGITUDE, 11.1, 11.3)), sea


def _ripple() -> Floats:
    """Small variation of both components (2, time, latitude, longitude), about 0.3 m/s."""
    rng = np.random.default_rng(SEED)
    total = np.zeros((2, HOURS.size, LATITUDE.size, LONGITUDE.size))
    for part in total:
        for _ in range(6):
            hours, degrees_lat, degrees_lon = rng.uniform([8, 0.4, 0.6], [30, 1.2, 1.8])
            turns = (
                HOURS[:, None, None] / hours
                + LATITUDE[:, None] / degrees_lat
                + LONGITUDE / degrees_lon
                + rng.uniform()
            )
            part += 0.15 * np.sin(2.0 * np.pi * turns)
    return total


def _waves(sea: Floats, shelter: Floats) -> tuple[Floats, Floats, Floats]:
    """Significant height [m], mean period [s] and direction from [degrees] of invented waves."""
    target = 0.011 * (sea**2).sum(axis=0)
    height, lagged = np.empty_like(target), np.empty_like(sea)
    height[0], lagged[:, 0] = target[0], sea[:, 0]
    for hour in range(1, HOURS.size):
        change = target[hour] - height[hour - 1]
        height[hour] = height[hour - 1] + change * np.where(change > 0.0, 1 / 3, 1 / 7)
        lagged[:, hour] = lagged[:, hour - 1] + (sea[:, hour] - lagged[:, hour - 1]) / 5
    height += 0.12  # a little swell that is always there
    period = 1.3 + 3.0 * np.sqrt(height)
    direction = np.degrees(np.arctan2(-lagged[0], -lagged[1])) % 360.0

    inland = (LONGITUDE > 11.45) | ((LONGITUDE > 11.35) & (LATITUDE[:, None] > 58.525))
    wet = np.where(inland, np.nan, 1.0)
    return height * (1.0 - 0.8 * shelter) * wet, period * wet, direction * wet


def _temperature() -> Floats:
    """Air temperature at 2 m (time, latitude, longitude) [K], warmest at 14 UTC."""
    daily = np.cos(2.0 * np.pi * (HOURS + 6.0 - 14.0) / 24.0)[:, None, None]
    cool = 2.5 * np.exp(-(((HOURS - 55.0) / 14.0) ** 2))[:, None, None]
    swing = 1.5 + 3.5 * _smooth_step(LONGITUDE, 11.1, 11.5)
    return (289.6 + swing * daily - cool) * np.ones((1, LATITUDE.size, 1))


def write_demo(directory: Path, *, force: bool = False) -> None:
    """Write the scenario's six files, the same on every run.

    Raises
    ------
    InputError
        One of the files exists already and `force` is not set.
    """
    directory.mkdir(parents=True, exist_ok=True)
    names = (ROUTE, FORECAST_NETCDF, FORECAST_GRIB, LIMITS, GROUP, README)
    for name in names:
        if (directory / name).exists() and not force:
            msg = f"{directory / name}: exists already; --force overwrites it"
            raise InputError(msg, path=directory / name)
    weather = demo_forecast()
    _write_netcdf(weather, directory / FORECAST_NETCDF)
    _write_grib(weather, directory / FORECAST_GRIB)
    (directory / ROUTE).write_text(route_gpx(), encoding="utf-8")
    (directory / LIMITS).write_text(LIMITS_TEXT, encoding="utf-8")
    (directory / GROUP).write_text(group_text(), encoding="utf-8")
    (directory / README).write_text(README_TEXT, encoding="utf-8")


def _write_netcdf(weather: xr.Dataset, path: Path) -> None:
    packed: dict[str, Any] = {
        "dtype": "int16",
        "scale_factor": 0.01,
        "_FillValue": np.int16(-32768),
        "zlib": True,
        "complevel": 9,
        "shuffle": True,
    }
    encoding: dict[str, Any] = {str(name): packed for name in weather.data_vars}
    # 290 K and 330 degrees do not fit 16 bits in hundredths without an offset.
    encoding["air_temperature"] = packed | {"add_offset": 273.15}
    encoding["sea_surface_wave_from_direction"] = packed | {"add_offset": 180.0}
    for name in ("time", "forecast_reference_time"):
        encoding[name] = {"dtype": "int32", "units": "hours since 2026-07-13 00:00:00"}
    for name in ("latitude", "longitude"):
        encoding[name] = {"_FillValue": None}
    weather.to_netcdf(path, engine="netcdf4", encoding=encoding)


# Discipline, category and number of each parameter (WMO code tables 4.1 and 4.2), then the
# kind of surface (table 4.5: 103 height above ground, 101 mean sea level) and its height [m].
GRIB_PARAMETERS = {
    "eastward_wind": (0, 2, 2, 103, 10),
    "northward_wind": (0, 2, 3, 103, 10),
    "wind_speed_of_gust": (0, 2, 22, 103, 10),
    "air_temperature": (0, 0, 0, 103, 2),
    "sea_surface_wave_significant_height": (10, 0, 3, 101, 0),
    "sea_surface_wave_mean_period": (10, 0, 15, 101, 0),
    "sea_surface_wave_from_direction": (10, 0, 14, 101, 0),
}

GRIB_MISSING = 9999.0


def _write_grib(weather: xr.Dataset, path: Path) -> None:
    import eccodes

    with path.open("wb") as out:
        for hour in range(HOURS.size):
            for name, parameter in GRIB_PARAMETERS.items():
                message = eccodes.codes_grib_new_from_samples("regular_ll_sfc_grib2")
                try:
                    for key, value in _grib_keys(hour, parameter).items():
                        eccodes.codes_set(message, key, value)
                    # Rows run from north to south, as most centres have them.
                    field = weather[name].values[hour, ::-1]
                    values = np.where(np.isnan(field), GRIB_MISSING, field).ravel()
                    eccodes.codes_set_values(message, values)
                    eccodes.codes_set(message, "changeDecimalPrecision", 2)
                    out.write(_with_note(eccodes.codes_get_message(message), INVENTED))
                finally:
                    eccodes.codes_release(message)


def _with_note(message: bytes, note: str) -> bytes:
    """A GRIB2 message with words in its local use section (section 2), which ecCodes cannot set.

    Section 0 has 16 octets, the total length in the last 8; every other section begins with its
    length in 4 octets and its number in one (WMO Manual on Codes, FM 92 GRIB edition 2).
    """
    end = 16 + int.from_bytes(message[16:20], "big")  # of section 1
    body = note.encode("ascii")
    section = (5 + len(body)).to_bytes(4, "big") + b"\x02" + body
    length = (len(message) + len(section)).to_bytes(8, "big")
    return message[:8] + length + message[16:end] + section + message[end:]


def _grib_keys(hour: int, parameter: tuple[int, int, int, int, int]) -> dict[str, float | str]:
    discipline, category, number, surface, height = parameter
    return {
        "centre": 65535,  # missing: no weather centre issued this
        "subCentre": 65535,
        "productionStatusOfProcessedData": 255,  # missing
        "generatingProcessIdentifier": 255,
        "dataDate": 20260713,
        "dataTime": 600,
        "stepUnits": "h",
        "forecastTime": hour,
        "discipline": discipline,
        "parameterCategory": category,
        "parameterNumber": number,
        "typeOfFirstFixedSurface": surface,
        "scaleFactorOfFirstFixedSurface": 0,
        "scaledValueOfFirstFixedSurface": height,
        "Ni": LONGITUDE.size,
        "Nj": LATITUDE.size,
        "latitudeOfFirstGridPointInDegrees": LATITUDE[-1],
        "longitudeOfFirstGridPointInDegrees": LONGITUDE[0],
        "latitudeOfLastGridPointInDegrees": LATITUDE[0],
        "longitudeOfLastGridPointInDegrees": LONGITUDE[-1],
        "iDirectionIncrementInDegrees": 0.1,
        "jDirectionIncrementInDegrees": 0.05,
        "missingValue": GRIB_MISSING,
        "bitmapPresent": int(discipline == 10),
    }


def main(arguments: Sequence[str] | None = None) -> None:
    """Command line of the writer; exit status 2 where a file is in the way."""
    parser = argparse.ArgumentParser(description="Write the invented demo scenario.")
    parser.add_argument("directory", type=Path)
    parser.add_argument("--force", action="store_true", help="overwrite files that are there")
    given = parser.parse_args(arguments)
    try:
        write_demo(given.directory, force=given.force)
    except InputError as error:
        parser.error(str(error))


if __name__ == "__main__":
    main()
