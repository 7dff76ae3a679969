"""Layers of a plan as the bytes of one file: a GeoPackage or a GeoJSON collection."""

from __future__ import annotations

import json
import math
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np

from routeplan import __version__
from routeplan._gis import frames
from routeplan._gis.fields import FIELDS
from routeplan._gis.names import check_gis
from routeplan._show.document import source_documents
from routeplan._show.values import text, texts, utc

if TYPE_CHECKING:
    import geopandas as gpd

    from routeplan.plan import Plan

__all__ = ["gis_bytes"]

_DECIMALS = 9  # a tenth of a millimetre, so that nothing of a line is lost

_FRAMES: Mapping[str, Callable[[Plan], gpd.GeoDataFrame]] = MappingProxyType(
    {
        "legs": frames.legs_frame,
        "places": frames.places_frame,
        "drift": frames.drift_frame,
        "coast": frames.coast_frame,
    }
)
_SHAPES: Mapping[str, str] = MappingProxyType(
    {"legs": "MultiLineString", "places": "Point", "drift": "MultiLineString", "coast": "Polygon"}
)


def gis_bytes(plan: Plan, path: Path) -> bytes:
    """The content of a file, of the format that the end of its name asks for.

    Raises
    ------
    InputError
        For another ending.
    """
    check_gis(path)
    layers = {name: frame(plan) for name, frame in _FRAMES.items()}
    if path.suffix.lower() == ".gpkg":
        return _geopackage(plan, layers)
    return _geojson(plan, layers)


def _about(plan: Plan) -> dict[str, Any]:
    """What every file says of itself."""
    return {
        "routeplan": __version__,
        "invented": bool(plan.invented),
        "title": text(plan.trip.title),
        "route": text(plan.route.name),
        "now": None if plan.trip.now is None else utc(plan.trip.now),
        "warnings": texts(plan.warnings),
        "cautions": texts(plan.cautions),
        "sources": source_documents(plan),
    }


def _geopackage(plan: Plan, layers: Mapping[str, gpd.GeoDataFrame]) -> bytes:
    """A GeoPackage: the layers, and the tables `fields` and `about` beside them."""
    import pandas as pd
    import pyogrio

    about = _about(plan)
    tables = {
        "fields": [
            {"layer": f.layer, "field": f.name, "unit": f.unit, "meaning": f.meaning}
            for f in FIELDS
        ],
        "about": [
            {"key": key, "value": value if isinstance(value, str) else json.dumps(value)}
            for key, value in about.items()
        ],
    }
    with tempfile.TemporaryDirectory(prefix="routeplan-") as folder:
        file = Path(folder) / "plan.gpkg"
        for name, frame in layers.items():
            shape = _SHAPES[name]
            pyogrio.write_dataframe(
                frame,
                file,
                layer=name,
                driver="GPKG",
                geometry_type=shape,
                promote_to_multi=shape.startswith("Multi"),
                append=file.exists(),
                # 1.4, the library's own choice, is not known to readers of before 2023.
                dataset_options=None if file.exists() else {"VERSION": "1.3"},
            )
        for name, rows in tables.items():
            frame = pd.DataFrame(rows)
            pyogrio.write_dataframe(frame, file, layer=name, driver="GPKG", append=True)
        return file.read_bytes()


def _geojson(plan: Plan, layers: Mapping[str, gpd.GeoDataFrame]) -> bytes:
    """One collection after RFC 7946; each feature says its layer.

    What the file says of itself stands beside the features, as members of the collection that
    section 6.1 allows.
    """
    import shapely

    features = []
    for name, frame in layers.items():
        columns = [column for column in frame.columns if column != "geometry"]
        for row, shape in zip(frame[columns].to_dict("records"), frame.geometry, strict=True):
            geometry = None
            if shape is not None:
                geometry = _rounded(shapely.geometry.mapping(shape))
            properties = {"layer": name, **{key: _plain(value) for key, value in row.items()}}
            features.append({"type": "Feature", "properties": properties, "geometry": geometry})
    units = {f"{f.layer}.{f.name}": [f.unit, f.meaning] for f in FIELDS}
    head = {"type": "FeatureCollection", **_about(plan), "fields": units}
    lines = ",\n".join(json.dumps(f, ensure_ascii=False, allow_nan=False) for f in features)
    start = json.dumps(head, ensure_ascii=False, allow_nan=False)[:-1]
    return f'{start},\n"features": [\n{lines}\n]}}\n'.encode(errors="replace")


def _rounded(value: Any) -> Any:
    """Coordinates with as many decimals as mean something."""
    if isinstance(value, Mapping):
        return {"type": value["type"], "coordinates": _rounded(value["coordinates"])}
    if isinstance(value, (list, tuple)):
        return [_rounded(part) for part in value]
    return round(float(value), _DECIMALS) + 0.0


def _plain(value: Any) -> Any:
    """A value that JSON has: null for what is not known, times with Z."""
    if value is None or value is _pandas_na():
        return None
    if hasattr(value, "to_datetime64"):
        return utc(value.to_datetime64())
    if isinstance(value, (bool, np.bool_)):
        return bool(value)
    if isinstance(value, (float, np.floating)):
        return round(float(value), 6) if math.isfinite(value) else None
    return value if isinstance(value, str) else int(value)


def _pandas_na() -> Any:
    import pandas as pd

    return pd.NA
