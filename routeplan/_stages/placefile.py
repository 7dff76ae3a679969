"""Places from files: GPX, CSV, GeoJSON and whatever else OGR reads.

Public through `stops`.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from routeplan._line.gpxparse import clean_text, parse_gpx, shown
from routeplan._line.waypoint import Waypoint
from routeplan._stages.place import KINDS, Place, kind_of, place_with, places_of_waypoints
from routeplan.errors import InputError

__all__ = ["read_places"]

_MAX_BYTES = 50_000_000
_MAX_PLACES = 10_000
_MAX_COLUMNS = 200
_TEXT = 500
_COLUMNS = {  # name of a field -> names that stand for it, any case
    "longitude": ("longitude", "lon", "long", "x"),
    "latitude": ("latitude", "lat", "y"),
    "end_longitude": ("end_longitude", "end_lon"),
    "end_latitude": ("end_latitude", "end_lat"),
    "name": ("name", "title"),
    "kind": ("kind", "type"),
    "symbol": ("symbol", "sym"),
    "capacity": ("capacity",),
    "nights": ("nights",),
    "open": ("open", "open_sectors"),
    "note": ("note", "permission", "desc", "description"),
}


def read_places(
    path: str | Path,
    *,
    prefixes: Mapping[str, str] | None = None,
    kind: str | None = None,
    layer: str | None = None,
) -> tuple[Place, ...]:
    """Read places from a file.

    Parameters
    ----------
    path : str or Path
        GPX (its waypoints), CSV with a header (longitude, latitude in degrees), GeoJSON, or any
        layer of points or lines that OGR reads. Fields: name, kind (or type), symbol, capacity,
        nights, open ("180-270, 300-20", degrees true the wind comes from), note; a stretch is a
        line, or end_longitude and end_latitude.
    prefixes : mapping of str to str, optional
        Beginning of a name to a kind; see `kind_of`.
    kind : str, optional
        Kind of places that state none; None leaves them out.
    layer : str, optional
        Layer of a file that has several.

    Returns
    -------
    tuple of Place

    Raises
    ------
    InputError
        In one line naming the file, the place or line in it, what is wrong, what is allowed.
    """
    path = Path(path)
    if kind is not None and kind not in KINDS:
        msg = f"kind {kind!r} is not known; there are {', '.join(KINDS)}"
        raise InputError(msg, field="kind", value=kind)
    ending = path.suffix.casefold()
    if ending == ".gpx":
        waypoints = parse_gpx(_read(path), path).waypoints
        try:
            places = places_of_waypoints(waypoints, prefixes)
        except InputError as error:
            msg = f"{shown(path)}: {error}"
            raise InputError(msg, field=error.field, value=error.value, path=path) from error
        return _counted(path, places)
    readers = {".csv": _csv_rows, ".geojson": _geojson_rows, ".json": _geojson_rows}
    rows = readers[ending](path) if ending in readers else _ogr_rows(path, layer)
    places = tuple(_places(path, rows, prefixes, kind))
    return _counted(path, places)


def _counted(path: Path, places: tuple[Place, ...]) -> tuple[Place, ...]:
    if not places:
        msg = f"{shown(path)}: holds no places; their kind is one of {', '.join(KINDS)}"
        raise InputError(msg, path=path)
    return places


def _read(path: Path) -> bytes:
    try:
        if path.stat().st_size > _MAX_BYTES:
            msg = f"{shown(path)}: larger than {_MAX_BYTES // 1_000_000} MB, which is the limit"
            raise InputError(msg, path=path)
        return path.read_bytes()
    except OSError as fault:
        msg = f"{shown(path)}: cannot be read: {fault.strerror or fault}"
        raise InputError(msg, path=path) from fault


def _csv_rows(path: Path) -> Iterator[tuple[str, dict[str, Any]]]:
    try:
        text = _read(path).decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        msg = f"{shown(path)}: byte {fault.start} is not UTF-8, which is what is read"
        raise InputError(msg, path=path) from fault
    try:
        head = csv.Sniffer().sniff(text[:4000].split("\n")[0], delimiters=",;\t")
    except csv.Error:
        head = csv.excel
    reader = csv.DictReader(io.StringIO(text), dialect=head)
    columns = reader.fieldnames or []
    if len(columns) > _MAX_COLUMNS:
        msg = f"{shown(path)}: {len(columns)} columns are too many, at most {_MAX_COLUMNS}"
        raise InputError(msg, path=path)
    try:
        for row in reader:
            yield f"line {reader.line_num}", {str(k): v for k, v in row.items()}
    except csv.Error as fault:
        msg = f"{shown(path)}, line {reader.line_num}: {fault}"
        raise InputError(msg, path=path) from fault


def _geojson_rows(path: Path) -> Iterator[tuple[str, dict[str, Any]]]:
    try:
        document = json.loads(_read(path))
    except (ValueError, RecursionError) as fault:
        msg = f"{shown(path)}: is no JSON: {str(fault)[:200]}"
        raise InputError(msg, path=path) from fault
    features = document.get("features") if isinstance(document, dict) else None
    if not isinstance(features, list):
        msg = f"{shown(path)}: is no GeoJSON FeatureCollection"
        raise InputError(msg, path=path)
    for number, feature in enumerate(features, start=1):
        where = f"feature {number}"
        parts = feature if isinstance(feature, dict) else {}
        geometry, properties = parts.get("geometry"), parts.get("properties")
        row = dict(properties) if isinstance(properties, dict) else {}
        yield where, row | _ends(path, where, geometry)


def _ends(path: Path, where: str, geometry: Any) -> dict[str, Any]:
    """Position of a GeoJSON point, or of the two ends of a line."""
    kind = geometry.get("type") if isinstance(geometry, dict) else None
    found: Any = geometry.get("coordinates") if isinstance(geometry, dict) else None
    try:
        if kind == "Point":
            return {"longitude": found[0], "latitude": found[1]}
        if kind == "LineString":
            first, last = found[0], found[-1]
            names = ("longitude", "latitude", "end_longitude", "end_latitude")
            return dict(zip(names, (*first[:2], *last[:2]), strict=True))
    except (TypeError, LookupError, ValueError) as fault:
        msg = f"{shown(path)}, {where}: its coordinates cannot be read"
        raise InputError(msg, path=path) from fault
    msg = f"{shown(path)}, {where}: a place is a Point or a LineString, not {str(kind)[:40]}"
    raise InputError(msg, path=path)


def _ogr_rows(path: Path, layer: str | None) -> Iterator[tuple[str, dict[str, Any]]]:
    import pyogrio  # slow to load, and only this kind of file needs it

    if not path.exists():
        msg = f"{shown(path)}: no such file"
        raise InputError(msg, path=path)
    try:
        frame = pyogrio.read_dataframe(path, layer=layer, max_features=_MAX_PLACES + 1)
        if frame.crs is not None:
            frame = frame.to_crs(4326)
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, ValueError) as fault:
        reason = " ".join(str(fault).split())[:200]
        msg = f"{shown(path)}: cannot be read as a layer of points or lines: {reason}"
        raise InputError(msg, path=path) from fault
    rows = frame.drop(columns=frame.geometry.name).to_dict("records")
    for number, (row, geometry) in enumerate(zip(rows, frame.geometry, strict=True), start=1):
        where = f"feature {number}"
        yield where, row | _ends(path, where, _mapped(geometry))


def _mapped(geometry: Any) -> dict[str, Any]:
    if geometry is None or geometry.is_empty:
        return {}
    return {"type": geometry.geom_type, "coordinates": _coordinates(geometry)}


def _coordinates(geometry: Any) -> Any:
    from shapely import get_coordinates

    found = get_coordinates(geometry).tolist()
    return found[0] if geometry.geom_type == "Point" else found


def _places(
    path: Path,
    rows: Iterator[tuple[str, dict[str, Any]]],
    prefixes: Mapping[str, str] | None,
    default: str | None,
) -> Iterator[Place]:
    for number, (where, row) in enumerate(rows):
        if number >= _MAX_PLACES:
            msg = f"{shown(path)}: more than {_MAX_PLACES} places, which is the limit"
            raise InputError(msg, path=path)
        fields = _fields(row)
        try:
            place = _place(fields, prefixes, default)
        except InputError as error:
            msg = f"{shown(path)}, {where}: {error}"
            raise InputError(msg, field=error.field, value=error.value, path=path) from error
        if place is not None:
            yield place


def _fields(row: Mapping[str, Any]) -> dict[str, Any]:
    """Row by the names of this module; the first column that stands for a field counts."""
    by_name: dict[str, Any] = {}
    for column, value in row.items():
        by_name.setdefault(column.strip().casefold(), value)
    out = {}
    for field, names in _COLUMNS.items():
        value = next((by_name[name] for name in names if name in by_name), None)
        out[field] = clean_text(value, _TEXT) if isinstance(value, str) else value
    return out


def _place(
    fields: Mapping[str, Any], prefixes: Mapping[str, str] | None, default: str | None
) -> Place | None:
    waypoint = Waypoint(
        _degrees(fields, "latitude"),
        _degrees(fields, "longitude"),
        str(fields["name"] or ""),
        str(fields["kind"] or ""),
        str(fields["symbol"] or ""),
    )
    kind = kind_of(waypoint, prefixes) or default
    if kind is None:
        return None
    bare = Place(waypoint.latitude, waypoint.longitude, waypoint.name, kind)
    if fields["end_longitude"] not in (None, ""):
        end = _degrees(fields, "end_longitude"), _degrees(fields, "end_latitude")
        bare = replace(bare, end=end)
    return place_with(bare, fields)


def _degrees(fields: Mapping[str, Any], field: str) -> float:
    value = fields[field]
    try:
        if isinstance(value, bool):
            raise TypeError
        return float(value)
    except (TypeError, ValueError):
        given = "is missing" if value in (None, "") else f"{str(value)[:40]!r} is no number"
        msg = f"{field} {given}; needed are degrees, WGS84"
        raise InputError(msg, field=field, value=value) from None
