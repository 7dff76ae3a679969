"""Local coast sources: finer shoreline for the surroundings of a route, downloaded once.

A source is OpenStreetMap's coast, lakes and wide rivers in a box, got from a server that speaks
the Overpass protocol and kept with its date, licence and attribution. `coast_for` prefers the
newest source that covers a route and joins it with the default coastline beyond its box.

OpenStreetMap's data are under the ODbL 1.0 (www.openstreetmap.org/copyright); whatever is made
with them names them. Their error of position is stated nowhere, so it is unknown unless the user
gives one. Small islands and rocks may be missing in any source.
"""

from __future__ import annotations

import contextlib
import datetime
import hashlib
import logging
import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from routeplan._osm import store as _coaststore
from routeplan._osm.combined import CombinedCoastline
from routeplan._osm.compare import OffshoreComparison, compare_offshore
from routeplan._osm.land import Background, land_map
from routeplan._osm.store import About, data_dir
from routeplan._shore.coastbox import Box, box_of_bounds
from routeplan.coastline import Coastline
from routeplan.errors import InputError

if TYPE_CHECKING:
    from routeplan._download.fetcher import Fetcher
    from routeplan._osm.land import LandMap
    from routeplan._osm.overpass import OsmAnswer

__all__ = [
    "DEFAULT_MARGIN_M",
    "DEFAULT_SERVER",
    "CoastSource",
    "CombinedCoastline",
    "OffshoreComparison",
    "coast_for",
    "compare_offshore",
    "data_dir",
    "get_source",
    "list_sources",
    "preferred_source",
    "read_source",
]

Bounds = tuple[float, float, float, float]

DEFAULT_SERVER = "https://overpass-api.de/api/interpreter"
"""Public server, run for small requests; another one can be named."""

DEFAULT_MARGIN_M = 10_000.0
"""How far around a route shoreline is fetched [m]; own choice."""

_COVER_M = 1_000.0  # a source must reach so far around a route to be preferred for it
_LARGEST_M2 = 40_000e6  # 200 km by 200 km: more is not a request for a shared server
_FRESH_DAYS = 30.0
_ANSWER_DAYS = 7.0
_ROUND_DEG = 1e-4
# Between the last decimals that OpenStreetMap keeps: no node lies exactly on a side of the box.
_HALF_STEP_DEG = 5e-8
_LICENCE = "ODbL 1.0"
_ATTRIBUTION = "© OpenStreetMap contributors, ODbL 1.0 (www.openstreetmap.org/copyright)"
_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class CoastSource:
    """A local source: what it is, and the file it is in."""

    about: About
    path: Path

    @property
    def name(self) -> str:
        """Name by which it is chosen."""
        return self.about.name

    @property
    def bounds(self) -> Bounds:
        """West, south, east, north of its box [degrees]; west above east crosses 180."""
        return self.box.bounds

    @property
    def box(self) -> Box:
        """Its box."""
        return Box(*self.about.box)

    @property
    def nominal_error_m(self) -> float:
        """Error of position that the user gave; nan where unknown [m]."""
        known = self.about.nominal_error_m
        return math.nan if known is None else known

    @property
    def words(self) -> str:
        """One line on what it is, for outputs."""
        west, south, east, north = self.bounds
        when = f"data of {self.about.date[:10]}" if self.about.date else "data of unknown date"
        return (
            f"OpenStreetMap coast {self.name}, {when}, in the box "
            f"{west:.2f},{south:.2f},{east:.2f},{north:.2f}"
        )

    def covers(self, bounds: Bounds, margin_m: float = 0.0) -> bool:
        """Whether the box holds `bounds` with a margin all round."""
        wanted = box_of_bounds(bounds)
        if margin_m > 0.0:
            wanted = wanted.grown(margin_m)
        own = self.box
        middle = np.array([(wanted.west + wanted.east) / 2.0])
        shift = float(own.unrolled(middle)[0] - middle[0])
        across = own.west <= wanted.west + shift and wanted.east + shift <= own.east
        return across and own.south <= wanted.south and wanted.north <= own.north


def list_sources(folder: Path | None = None) -> tuple[tuple[CoastSource, ...], tuple[str, ...]]:
    """List the local sources, newest data first, and what is wrong with files that are none.

    Parameters
    ----------
    folder : Path, optional
        Where to look; `data_dir()` by default.
    """
    sources, faults = [], []
    for path in _coaststore.found(data_dir() if folder is None else folder):
        try:
            sources.append(CoastSource(_coaststore.read_about(path), path))
        except InputError as fault:
            faults.append(str(fault))
    sources.sort(key=lambda s: (s.about.date, s.about.fetched, s.name), reverse=True)
    return tuple(sources), tuple(faults)


def preferred_source(
    bounds: Bounds, *, margin_m: float = _COVER_M, folder: Path | None = None
) -> CoastSource | None:
    """Newest source whose box holds `bounds` and a margin around them; None: there is none.

    Parameters
    ----------
    bounds : (float, float, float, float)
        West, south, east, north, as `Route.bounds`. [degrees]
    margin_m : float
        What must be covered around them [m]. Beyond the box the default coastline is used.
    folder : Path, optional
        Where to look; `data_dir()` by default.

    Raises
    ------
    InputError
        If the bounds are none.
    """
    sources, faults = list_sources(folder)
    for fault in faults:
        _log.warning("%s", fault)
    return next((source for source in sources if source.covers(bounds, margin_m)), None)


def read_source(
    source: CoastSource | str, *, coarse: Coastline | None = None, folder: Path | None = None
) -> CombinedCoastline:
    """Read a source as a coastline, with another one beyond its box.

    Parameters
    ----------
    source : CoastSource or str
        The source or its name.
    coarse : Coastline, optional
        The other one; `Coastline.default()` by default.
    folder : Path, optional
        Where to look for a name; `data_dir()` by default.

    Raises
    ------
    InputError
        If there is no such source, or its file is damaged.
    """
    if isinstance(source, str):
        path = _coaststore.path_of(source, data_dir() if folder is None else folder)
    else:
        path = source.path
    about, land = _coaststore.load(path)
    known = CoastSource(about, path)
    return CombinedCoastline(
        land,
        Coastline.default() if coarse is None else coarse,
        source=known.words,
        attribution=about.attribution,
        nominal_error_m=known.nominal_error_m,
    )


def coast_for(bounds: Bounds, *, folder: Path | None = None) -> Coastline:
    """Return the coastline to use for a route: the preferred local source, else the default."""
    source = preferred_source(bounds, folder=folder)
    return Coastline.default() if source is None else read_source(source)


def get_source(
    bounds: Bounds,
    *,
    margin_m: float = DEFAULT_MARGIN_M,
    name: str | None = None,
    server: str = DEFAULT_SERVER,
    offline: bool = False,
    force: bool = False,
    nominal_error_m: float = math.nan,
    coarse: Coastline | None = None,
    folder: Path | None = None,
    fetcher: Fetcher | None = None,
    progress: Callable[[int, int | None], None] | None = None,
) -> CoastSource:
    """Download the coast around `bounds`, assemble it and keep it as a source.

    A source of the same name that covers the same box and is younger than 30 days is returned
    as it is; an answer of the server that is younger than 7 days is used again.

    Parameters
    ----------
    bounds : (float, float, float, float)
        West, south, east, north; west above east crosses the antimeridian. [degrees]
    margin_m : float
        How far to go beyond them on every side [m].
    name : str, optional
        Name to keep it under; made from its place by default.
    server : str
        Address of the server's interpreter.
    offline : bool
        Use only what has been downloaded before.
    force : bool
        Ask the server again whatever is there.
    nominal_error_m : float
        Error of position to assume [m]; nan: unknown.
    coarse : Coastline, optional
        Decides whether a box without any coast is land or sea; `Coastline.default()` by default.
    folder : Path, optional
        Where to keep it; `data_dir()` by default.
    fetcher : Fetcher, optional
        Instead of a new one that is patient with shared servers.
    progress : callable, optional
        Gets the bytes so far and in all (None where unknown).

    Raises
    ------
    InputError
        If an argument cannot be used, the box is too large, or the file cannot be written.
    DownloadError
        If the server does not deliver a whole and sound answer.
    CoverageError
        If the coast is broken in the box, so that what is land would be a guess.
    """
    # A plan that uses only what is there needs neither.
    from routeplan._osm.overpass import fetch_answer, polite_fetcher

    box = _asked_box(bounds, margin_m)
    error = _error_of(nominal_error_m)
    kept = data_dir() if folder is None else folder
    called = _name_of(box) if name is None else name
    path = _coaststore.path_of(called, kept)
    if not force and path.exists():
        there = CoastSource(_coaststore.read_about(path), path)
        if there.box == box and (offline or _age_days(there.about.fetched) < _FRESH_DAYS):
            return there
    with contextlib.ExitStack() as stack:
        if fetcher is None:
            fetcher = stack.enter_context(polite_fetcher(offline=offline))
        answer = fetch_answer(
            box,
            server=server,
            fetcher=fetcher,
            max_age_s=0.0 if force else _ANSWER_DAYS * 86_400.0,
            progress=progress,
        )
    other = Coastline.default() if coarse is None else coarse
    land = land_map(answer.coast, answer.water, box, Background(other.source, other.is_land))
    about = _described(called, answer, land, server, error)
    return CoastSource(about, _coaststore.save(about, land, kept))


def _described(
    name: str, answer: OsmAnswer, land: LandMap, server: str, error_m: float | None
) -> About:
    box = land.box
    return About(
        name=name,
        box=(box.west, box.south, box.east, box.north),
        date=answer.date,
        fetched=datetime.datetime.now(datetime.UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
        server=server,
        licence=_LICENCE,
        attribution=_ATTRIBUTION,
        nominal_error_m=error_m,
        notes=(*answer.notes, *land.notes),
        points=int(len(land.lonlat) - np.count_nonzero(land.invented)),
        sha256=_coaststore.digest(land),
    )


def _asked_box(bounds: Bounds, margin_m: float) -> Box:
    """The box to ask for: grown, rounded outwards, its sides between two possible nodes."""
    if not (math.isfinite(margin_m) and margin_m >= 0.0):
        msg = f"margin_m {margin_m}: a distance of at least 0 m is needed"
        raise InputError(msg, field="margin_m", value=margin_m)
    grown = box_of_bounds(bounds).grown(margin_m)
    west, south = (math.floor(side / _ROUND_DEG) * _ROUND_DEG for side in (grown.west, grown.south))
    east, north = (math.ceil(side / _ROUND_DEG) * _ROUND_DEG for side in (grown.east, grown.north))
    box = Box(
        round(west, 4) - _HALF_STEP_DEG,
        max(-90.0, round(south, 4) - _HALF_STEP_DEG),
        round(east, 4) + _HALF_STEP_DEG,
        min(90.0, round(north, 4) + _HALF_STEP_DEG),
    )
    if box.west < -180.0:
        box = Box(box.west + 360.0, box.south, box.east + 360.0, box.north)
    if box.area_m2 > _LARGEST_M2 or box.east - box.west >= 180.0:
        msg = (
            f"the box {box.west:.2f},{box.south:.2f},{box.east:.2f},{box.north:.2f} with its "
            f"margin has {box.area_m2 / 1e6:,.0f} km²; at most {_LARGEST_M2 / 1e6:,.0f} km² are "
            "fetched at once. Take part of the route, or a smaller margin"
        )
        raise InputError(msg, field="box", value=bounds)
    return box


def _name_of(box: Box) -> str:
    lon = ((box.west + box.east) / 2.0 + 180.0) % 360.0 - 180.0
    lat = (box.south + box.north) / 2.0
    place = f"{abs(lat):.1f}{'n' if lat >= 0 else 's'}-{abs(lon):.1f}{'e' if lon >= 0 else 'w'}"
    sides = f"{box.west:.8f},{box.south:.8f},{box.east:.8f},{box.north:.8f}"
    return f"osm-{place}-{hashlib.sha256(sides.encode()).hexdigest()[:6]}"


def _error_of(nominal_error_m: float) -> float | None:
    if math.isnan(nominal_error_m):
        return None
    if not (math.isfinite(nominal_error_m) and nominal_error_m >= 0.0):
        msg = f"nominal_error_m {nominal_error_m}: an error of at least 0 m is needed, or nan"
        raise InputError(msg, field="nominal_error_m", value=nominal_error_m)
    return nominal_error_m


def _age_days(fetched: str) -> float:
    try:
        when = datetime.datetime.fromisoformat(fetched)
        age = datetime.datetime.now(datetime.UTC) - when
    except (ValueError, TypeError):
        return math.inf
    return age.total_seconds() / 86_400.0
