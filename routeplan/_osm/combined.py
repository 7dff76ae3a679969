"""The coastline that `coastsource` makes of a local source and another one."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from routeplan._line.polyline import bounds_of_line
from routeplan._osm.land import LandMap
from routeplan._osm.merge import merged_rings
from routeplan._shore.index import build_index
from routeplan._shore.maps import ring_table
from routeplan._shore.rings import strokes
from routeplan.coastline import Coastline, NearestShore

if TYPE_CHECKING:
    from shapely import Polygon

__all__ = ["CombinedCoastline"]

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

_STEP_M = 120_000.0  # regions grow by this: enough for a fetch limit of 100 km at once
_MAX_MARGIN_M = 600_000.0


class CombinedCoastline(Coastline):
    """A finer coastline inside its box and another one outside; the methods of `Coastline`.

    Land is the finer source's land inside the box and the other's outside. The shoreline is the
    edge of that land, so distance, land, fetch and crossings never contradict each other: inside
    the box only the finer source's shore counts, beyond it only the other's, and where the two
    do not meet exactly at the side of the box, so does the stretch of the side between them.

    Both are merged into one index for a region around the box which grows with what is asked,
    up to 600 km beyond the box. Places farther away are answered by the other coastline alone.
    `nominal_error_m` is the finer source's, and holds inside the box only.

    Parameters
    ----------
    fine : LandMap
        The finer source.
    coarse : Coastline
        The other one, which must know land.
    source, attribution : str
        Of the finer source; the other's are added.
    nominal_error_m : float
        Of the finer source; nan where unknown. [m]
    """

    def __init__(
        self,
        fine: LandMap,
        coarse: Coastline,
        *,
        source: str,
        attribution: str,
        nominal_error_m: float = math.nan,
    ) -> None:
        super().__init__(
            coarse._index,
            coarse._table,
            source=f"{source}; beyond it {coarse.source}",
            attribution="; ".join(filter(None, (attribution, coarse.attribution))),
            nominal_error_m=nominal_error_m,
        )
        self.box = fine.box
        self.coarse = coarse
        self._fine = fine
        self._merge(_STEP_M)

    def nearest_shore(self, lon: npt.ArrayLike, lat: npt.ArrayLike) -> NearestShore:
        """Nearest point of shoreline; see `Coastline.nearest_shore`.

        Where no shore is near and the other coastline's nearest is one that the finer source has
        not, what is nearest is unknown: nan.
        """
        east, north = np.broadcast_arrays(np.asarray(lon, float), np.asarray(lat, float))
        found, known = self._nearest_known(east, north)
        if known.all():
            return found
        beyond = self.coarse.nearest_shore(np.where(known, np.nan, east), north)
        if (~known & (beyond.distance_m < self._reach(east, north))).any():
            self._widen(east[~known], north[~known], _MAX_MARGIN_M)
            found, known = self._nearest_known(east, north)
        good = ~known & (beyond.distance_m >= self._reach(east, north))
        nothing = NearestShore(*[np.full(east.shape, np.nan)] * 4)
        return _picked(known, found, _picked(good, beyond, nothing))

    def _nearest_known(self, lon: FloatArray, lat: FloatArray) -> tuple[NearestShore, BoolArray]:
        """Nearest shore of the merged ones, and where it certainly is the nearest."""
        if self._merged is None:
            nothing = NearestShore(*[np.full(lon.shape, np.nan)] * 4)
            return nothing, np.zeros(lon.shape, bool)
        found = self._merged.nearest_shore(lon, lat)
        return found, np.asarray(found.distance_m <= self._reach(lon, lat))

    def distance_to_shore(self, lon: npt.ArrayLike, lat: npt.ArrayLike) -> FloatArray:
        """Geodesic distance to the nearest shoreline [m]; see `Coastline.distance_to_shore`."""
        return self.nearest_shore(lon, lat).distance_m

    def is_land(self, lon: npt.ArrayLike, lat: npt.ArrayLike) -> BoolArray:
        """Whether places are on land; see `Coastline.is_land`."""
        east, north = np.broadcast_arrays(np.asarray(lon, float), np.asarray(lat, float))
        _, known = self._nearest_known(east, north)
        land = np.array((self._merged or self.coarse).is_land(east, north))
        turned = self.box.unrolled(east)
        inside = self.box.inside(turned, north)
        # farther from all shore than the region reaches each source knows its own part
        for where, is_land in (
            (~known & inside, self._fine_land),
            (~known & ~inside, self.coarse.is_land),
        ):
            if where.any():
                land[where] = is_land(turned[where], north[where])
        return land

    def _fine_land(self, lon: FloatArray, lat: FloatArray) -> BoolArray:
        import shapely  # rarely needed

        land = shapely.union_all(self._fine.polygons())
        return np.asarray(shapely.intersects_xy(land, lon, lat), bool)

    def fetch_length(
        self,
        lon: npt.ArrayLike,
        lat: npt.ArrayLike,
        bearing: npt.ArrayLike,
        limit_m: float = 100_000.0,
    ) -> FloatArray:
        """Open water upwind [m]; see `Coastline.fetch_length`.

        Where the limit reaches beyond what is merged, a ray that finds no shore within that goes
        on with the other coastline; if that has a shore before, which the finer source has not,
        nothing is known of what follows and the limit is given.
        """
        east, north = np.broadcast_arrays(
            np.atleast_1d(np.asarray(lon, float)), np.atleast_1d(np.asarray(lat, float))
        )
        self._widen(east, north, limit_m)
        reach = self._reach(east, north)
        near = reach > 0.0
        out = np.empty((east.size, np.atleast_1d(np.asarray(bearing)).size))
        if not near.all():
            out[~near] = self.coarse.fetch_length(east[~near], north[~near], bearing, limit_m)
        if near.any():
            out[near] = self._fetch_near(east[near], north[near], reach[near], bearing, limit_m)
        return out

    def _fetch_near(
        self,
        lon: FloatArray,
        lat: FloatArray,
        reach: FloatArray,
        bearing: npt.ArrayLike,
        limit_m: float,
    ) -> FloatArray:
        known = np.minimum(reach, limit_m)[:, None]
        if self._merged is None:
            here = np.where(self.is_land(lon, lat)[:, None], 0.0, np.inf)
            here = here + np.zeros(np.atleast_1d(np.asarray(bearing)).size)
        else:
            here = self._merged.fetch_length(lon, lat, bearing, limit_m)
        open_ = here >= known
        if not open_.any():
            return here
        if (open_ & (known < limit_m)).any():
            there = self.coarse.fetch_length(lon, lat, bearing, limit_m)
            return np.where(open_, np.where(there >= known, there, limit_m), here)
        return np.where(open_, limit_m, here)

    def crosses_land(self, lon: npt.ArrayLike, lat: npt.ArrayLike) -> list[tuple[float, float]]:
        """Where a line runs over land; see `Coastline.crosses_land`.

        A line that runs more than 600 km beyond the box is answered by the other coastline.
        """
        east, north = np.asarray(lon, float).ravel(), np.asarray(lat, float).ravel()
        if east.size > 1 and np.isfinite(east + north).all():
            west, south, last, top = bounds_of_line(east, north)
            corners = np.array([west, last]), np.array([south, top])
            self._widen(*corners, 0.0)
            if (self._reach(*corners) > 0.0).all():
                if self._merged is not None:
                    return self._merged.crosses_land(east, north)
                if not self.is_land(east[:1], north[:1])[0]:
                    return []
        return self.coarse.crosses_land(east, north)

    def shoreline(self, west: float, south: float, east: float, north: float) -> list[FloatArray]:
        """Shoreline for maps; see `Coastline.shoreline`."""
        self._widen(np.array([west, east]), np.array([south, north]), 0.0)
        corners = np.array([west, east]), np.array([south, north])
        if (self._reach(*corners) > 0.0).all():
            merged = self._merged
            return [] if merged is None else merged.shoreline(west, south, east, north)
        return self.coarse.shoreline(west, south, east, north)

    def land_polygons(self, west: float, south: float, east: float, north: float) -> list[Polygon]:
        """Land inside a box, for maps; see `Coastline.land_polygons`."""
        import shapely  # only maps need it

        frame = shapely.box(west, south, east if east > west else east + 360.0, north)
        coarse = self.coarse.land_polygons(west, south, east, north)
        turns = round((shapely.centroid(frame).x - (self.box.west + self.box.east) / 2) / 360.0)

        def moved(points: FloatArray) -> FloatArray:
            return np.asarray(points + np.array([360.0 * turns, 0.0]))

        inner = shapely.transform(shapely.Polygon(self.box.corners), moved)
        fine = shapely.transform(self._fine.polygons(), moved)
        kept = [*shapely.difference(coarse, inner), *shapely.intersection(fine, frame)]
        parts = shapely.get_parts(shapely.get_parts(kept))
        return [part for part in parts if part.geom_type == "Polygon" and part.area > 0.0]

    def _merge(self, margin_m: float) -> None:
        """Merge the two sources up to `margin_m` beyond the box."""
        self._margin_m = margin_m
        self._region = self.box.grown(margin_m)
        rings = merged_rings(self._fine, self.coarse._table, self.coarse.is_land, self._region)
        self._merged: Coastline | None = None
        if len(rings.lonlat):
            index, table = build_index(strokes(rings)), ring_table(rings)
            self._merged = Coastline(index, table, source=self.source)

    def _widen(self, lon: FloatArray, lat: FloatArray, need_m: float) -> None:
        """Grow the region so that it holds what lies within `need_m` of places, if it can."""
        if self._margin_m >= _MAX_MARGIN_M:
            return
        good = np.isfinite(lon) & np.isfinite(lat)
        wanted = self._margin_m
        while wanted < _MAX_MARGIN_M:
            reach = self.box.grown(wanted).reach_m(lon[good], lat[good])
            inside = self.box.grown(_MAX_MARGIN_M).reach_m(lon[good], lat[good]) > need_m
            if not (inside & (reach < need_m)).any():
                break
            wanted = min(wanted + _STEP_M, _MAX_MARGIN_M)
        if wanted > self._margin_m:
            self._merge(wanted)

    def _reach(self, lon: FloatArray, lat: FloatArray) -> FloatArray:
        """How far around places the merged shoreline is known [m]; 0 outside it and for nan."""
        reach = np.zeros(lon.shape)
        good = np.isfinite(lon) & (np.abs(lat) <= 90.0)
        reach[good] = self._region.reach_m(lon[good], lat[good])
        return reach


def _picked(which: BoolArray, first: NearestShore, second: NearestShore) -> NearestShore:
    return NearestShore(
        *(
            np.where(which, getattr(first, name), getattr(second, name))
            for name in ("distance_m", "longitude", "latitude", "bearing_deg")
        )
    )
