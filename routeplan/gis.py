"""A plan for maps, receivers and notebooks. Nothing is computed here.

    legs = legs_frame(plan)                    # geopandas.GeoDataFrame, EPSG:4326
    launches = launches_dataset(plan)          # xarray.Dataset with units
    write_gis(plan, "trip.gpkg")               # or trip.geojson
    Path("trip.gpx").write_bytes(plan_gpx(plan))

Columns carry their unit as a suffix as in docs/json.md; times are UTC. What is not known is missing
(NaN, NaT, None), never zero. Lines and areas that cross 180° are cut there.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from routeplan._show.outputs import write_outputs

if TYPE_CHECKING:
    import geopandas as gpd
    import xarray as xr

    from routeplan.plan import Plan

__all__ = [
    "coast_frame",
    "drift_frame",
    "launches_dataset",
    "legs_frame",
    "places_frame",
    "plan_gpx",
    "write_gis",
]

# geopandas and xarray take a second to load, so the parts are loaded where they are asked for.


def legs_frame(plan: Plan) -> gpd.GeoDataFrame:
    """Legs as lines, one row a leg, with what each meets at the launch proposed.

    Lines have a point at least every `Trip.spacing_m`, so that straight lines on a map follow
    the geodesics.
    """
    from routeplan._gis import frames as _frames

    return _frames.legs_frame(plan)


def places_frame(plan: Plan) -> gpd.GeoDataFrame:
    """Places as points: launches, nights, the end, turn-back points, bail-outs, the user's own.

    Where no shore can be reached, or that is unknown, the place on the way has the role
    "no bail-out".
    """
    from routeplan._gis import frames as _frames

    return _frames.places_frame(plan)


def drift_frame(plan: Plan) -> gpd.GeoDataFrame:
    """Drift without propulsion as lines, three branches from the worst place of each leg.

    Empty without a launch proposed. A branch whose wind is not known from the begin on has a
    row without geometry.
    """
    from routeplan._gis import frames as _frames

    return _frames.drift_frame(plan)


def coast_frame(plan: Plan) -> gpd.GeoDataFrame:
    """Land around the route as areas; lakes are holes in them."""
    from routeplan._gis import frames as _frames

    return _frames.coast_frame(plan)


def launches_dataset(plan: Plan) -> xr.Dataset:
    """Every launch of every stage, with units and attributes of the CF conventions.

    Dimensions are `launch`, `stage` and `leg`: verdict, binding limit, margin and arrival by
    stage and launch; weather, times and speed by launch and leg, worst values of the leg.

    Raises
    ------
    InputError
        If the plan was made without a forecast.

    References
    ----------
    CF Metadata Conventions 1.11, sections 3.1 to 3.5 and 4.4, https://cfconventions.org.
    """
    from routeplan._gis import dataset as _dataset

    return _dataset.launches_dataset(plan)


def plan_gpx(plan: Plan) -> bytes:
    """The planned route as GPX 1.1, with the places of the plan as waypoints.

    `read_gpx` gives the same legs, camps and stages back. Beside the route's own waypoints there
    are launches, nights, turn-back points and bail-outs, of the types "planned launch", "planned
    turn-back" and so on, with their times in the description, local and UTC; none of them is
    taken for a camp. Those of an earlier plan are left out. A camp of the user's at which this
    plan does not sleep is kept under words that end no stage, where it would end one.

    The times are not in `<time>`, which the standard keeps for when an element was made.
    """
    from routeplan._gis import gpxout as _gpxout

    return _gpxout.plan_gpx(plan)


def write_gis(plan: Plan, path: str | Path, *, overwrite: bool = False) -> None:
    """Write legs, places, drift and coast into one file for geographic information systems.

    The end of the name says the format. `.gpkg`: a GeoPackage with a layer each, and the tables
    `fields` (unit and meaning of every column) and `about` (cautions, sources). `.geojson`: one
    FeatureCollection after RFC 7946, whose features say their `layer`; the same facts are
    members of the collection. The file appears whole or not at all.

    Raises
    ------
    InputError
        For another ending, if the file is there and `overwrite` is false, or it cannot be
        written.
    """
    from routeplan._gis import files as _files

    path = Path(path)
    write_outputs({path: _files.gis_bytes(plan, path)}, overwrite=overwrite)
