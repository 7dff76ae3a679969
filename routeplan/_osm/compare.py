"""Distance from shore by two coastlines: where they disagree about a limit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from routeplan.coastline import Coastline
from routeplan.errors import InputError
from routeplan.route import Route

__all__ = ["OffshoreComparison", "compare_offshore"]

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class OffshoreComparison:
    """One leg's distance from shore by two coastlines, against one limit.

    Attributes
    ----------
    leg : int
        Number of the leg; 1 for a row of points.
    limit_m : float
    coarse_max_m, fine_max_m : float
        Largest distance from shore along the leg [m]; nan where one sample is unknown.
    coarse_verdict, fine_verdict : str
        "within", "beyond" or "unknown".
    largest_difference_m : float
        Fine less coarse where they differ most along the leg [m].
    longitude, latitude : float
        Where that is. [degrees]
    """

    leg: int
    limit_m: float
    coarse_max_m: float
    fine_max_m: float
    coarse_verdict: str
    fine_verdict: str
    largest_difference_m: float
    longitude: float
    latitude: float

    @property
    def differs(self) -> bool:
        """Whether the two coastlines give different verdicts."""
        return self.coarse_verdict != self.fine_verdict


def compare_offshore(
    line: Route | tuple[npt.ArrayLike, npt.ArrayLike],
    coarse: Coastline,
    fine: Coastline,
    limit_m: float,
    *,
    spacing_m: float = 100.0,
) -> tuple[OffshoreComparison, ...]:
    """Compare the distance from shore of each leg by two coastlines with a limit.

    Parameters
    ----------
    line : Route, or (lon, lat) arrays
        A route, sampled along its legs, or places, which count as one leg. [degrees]
    coarse, fine : Coastline
    limit_m : float
        Distance from shore that is compared with [m].
    spacing_m : float
        Largest distance between samples along a leg [m].

    Raises
    ------
    InputError
        If the limit is not a positive number, or a position is none.
    """
    if not limit_m > 0.0:
        msg = f"limit_m {limit_m}: a distance from shore above 0 m is needed"
        raise InputError(msg, field="limit_m", value=limit_m)
    if isinstance(line, Route):
        samples = [leg.sample(spacing_m) for leg in line.legs]
        numbers = [leg.number for leg in line.legs]
        parts = [(s.longitude, s.latitude) for s in samples]
    else:
        lon, lat = np.broadcast_arrays(*(np.asarray(values, float).ravel() for values in line))
        numbers, parts = [1], [(lon, lat)]
    lon, lat = (np.concatenate(column) for column in zip(*parts, strict=True))
    ends = np.cumsum([len(part[0]) for part in parts])[:-1]
    by_coarse, by_fine = (np.split(_offshore(coast, lon, lat), ends) for coast in (coarse, fine))
    return tuple(
        _comparison(number, limit_m, first, second, part)
        for number, first, second, part in zip(numbers, by_coarse, by_fine, parts, strict=True)
    )


def _offshore(coast: Coastline, lon: FloatArray, lat: FloatArray) -> FloatArray:
    """Distance from shore, 0 on land, nan where unknown [m]."""
    distance = np.array(coast.distance_to_shore(lon, lat))
    good = np.isfinite(distance)
    distance[good] = np.where(coast.is_land(lon[good], lat[good]), 0.0, distance[good])
    return distance


def _comparison(
    number: int,
    limit_m: float,
    coarse: FloatArray,
    fine: FloatArray,
    place: tuple[FloatArray, FloatArray],
) -> OffshoreComparison:
    difference = fine - coarse
    at = int(np.argmax(np.abs(np.nan_to_num(difference))))
    return OffshoreComparison(
        leg=number,
        limit_m=limit_m,
        coarse_max_m=float(np.max(coarse)),
        fine_max_m=float(np.max(fine)),
        coarse_verdict=_verdict(coarse, limit_m),
        fine_verdict=_verdict(fine, limit_m),
        largest_difference_m=float(difference[at]),
        longitude=float(place[0][at]),
        latitude=float(place[1][at]),
    )


def _verdict(offshore_m: FloatArray, limit_m: float) -> str:
    """Beyond where any sample is; a sample that is not known never counts as within."""
    if np.any(offshore_m > limit_m):
        return "beyond"
    return "within" if np.all(offshore_m <= limit_m) else "unknown"
