"""Where the built-in demo scenario lies.

The scenario is invented (see `routeplan/data/demo/README.txt`); `routeplan._demo.data` writes it.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from routeplan.errors import InputError

__all__ = [
    "FORECAST_GRIB",
    "FORECAST_NETCDF",
    "GROUP",
    "LIMITS",
    "README",
    "ROUTE",
    "DemoFiles",
    "demo_files",
    "demo_group_file",
]

ROUTE = "invented_route.gpx"
FORECAST_NETCDF = "invented_forecast.nc"
FORECAST_GRIB = "invented_forecast.grib2"
LIMITS = "invented_limits.toml"
GROUP = "invented_group.toml"
README = "README.txt"


@dataclass(frozen=True, slots=True)
class DemoFiles:
    """Paths of the demo's four inputs; both forecasts hold the same fields."""

    route: Path
    forecast_netcdf: Path
    forecast_grib: Path
    limits: Path


def demo_files(directory: Path | None = None) -> DemoFiles:
    """Paths of the demo scenario, by default of the copy that is installed with the package.

    Raises
    ------
    InputError
        A file of the scenario is not there.
    """
    folder = _folder(directory)
    names = (ROUTE, FORECAST_NETCDF, FORECAST_GRIB, LIMITS)
    return DemoFiles(*(_there(folder / name) for name in names))


def demo_group_file(directory: Path | None = None) -> Path:
    """Path of the demo's group, by default of the copy that is installed with the package.

    Raises
    ------
    InputError
        It is not there.
    """
    return _there(_folder(directory) / GROUP)


def _folder(directory: Path | None) -> Path:
    packaged = files("routeplan").joinpath("data", "demo")
    return Path(str(packaged)) if directory is None else directory


def _there(path: Path) -> Path:
    if not path.is_file():
        msg = (
            f"{path}: file of the demo scenario is missing; "
            "write the scenario with: python -m routeplan._demo.data DIRECTORY"
        )
        raise InputError(msg, path=path)
    return path
