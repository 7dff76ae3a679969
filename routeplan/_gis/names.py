"""Names of files of layers: the ending says the format."""

from __future__ import annotations

from pathlib import Path

from routeplan._show.wording import plain
from routeplan.errors import InputError

__all__ = ["check_gis"]


def check_gis(path: Path) -> None:
    """Refuse a name that says no format.

    Raises
    ------
    InputError
    """
    if path.suffix.lower() not in (".gpkg", ".geojson", ".json"):
        msg = f"{plain(path)}: the end of the name says no format; allowed are .gpkg and .geojson"
        raise InputError(msg, path=path)
