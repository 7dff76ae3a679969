"""The path of a stage, joined from what was measured along its legs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from routeplan.exposure import LegExposure
    from routeplan.simulation import Path
    from routeplan.stops import Stage

__all__ = ["path_of"]

_PATH_STEPS = 2  # samples of the exposure taken together into one step of the passage


def path_of(stage: Stage, exposures: Sequence[LegExposure]) -> Path:
    """Join samples of the exposure into steps that keep the farthest distance from shore.

    The fetch rose of a step is that of the nearest place on its leg that has one.
    """
    from routeplan.simulation import Path  # `legs` paddles nothing

    columns = []
    for i, leg in enumerate(stage.legs):
        e = exposures[leg.number - 1]
        begin, middle, end = _steps(e)
        offshore = [e.offshore_m[a : b + 1].max() for a, b in zip(begin, end, strict=True)]
        rose = np.abs(e.rose_at_m - e.distance_m[middle][:, None]).argmin(axis=1)
        columns.append(
            (
                e.longitude[middle],
                e.latitude[middle],
                e.course_deg[middle],
                e.distance_m[end] - e.distance_m[begin],
                np.full(begin.size, i, dtype=np.int64),
                np.asarray(offshore),
                e.shore_bearing_deg[middle],
                e.rose_m[rose],
            )
        )
    land = [_longest_land(exposures[leg.number - 1]) for leg in stage.legs]
    joined = Path(*(np.concatenate(column) for column in zip(*columns, strict=True)))
    return replace(joined, leg_land_m=np.array(land))


def _longest_land(e: LegExposure) -> float:
    """Longest stretch of a leg on land that is not carried over [m]."""
    if e.portage:
        return 0.0
    return max((leave - enter for enter, leave in e.land), default=0.0)


def _steps(e: LegExposure) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]]:
    """Samples at the begin, the middle and the end of the steps of a leg."""
    last = e.distance_m.size - 1
    begin = np.arange(0, last, _PATH_STEPS)
    end = np.minimum(begin + _PATH_STEPS, last)
    return begin, (begin + end) // 2, end
