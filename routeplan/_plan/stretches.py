"""Ways out of every stretch of a proposed launch: the shore on each side, the user's places."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from routeplan._judge.bailout import places_every, times_there
from routeplan.stops import Bailout, bailouts

if TYPE_CHECKING:
    from routeplan.plan import Plan, StagePlan

__all__ = ["stage_bailouts"]

_EVERY_M = 1_000.0
_MOST_PLACES = 60  # of a stage, so that a long one costs no more than this


def stage_bailouts(plan: Plan, stage: StagePlan) -> tuple[Bailout, ...] | None:
    """Ways out along the launch proposed of a stage, about one a kilometre; None without one.

    Positions are along the whole route. With members the times are those of the member that the
    launch is told from.
    """
    scan, best = stage.scan, stage.best
    if scan is None or best is None:
        return None
    path = scan.outing.path
    every_m = max(_EVERY_M, float(path.length_m.sum()) / _MOST_PLACES)
    steps = places_every(path, every_m)
    begin_m = sum(leg.length_m for leg in plan.route.legs if leg.stage < stage.stage.number)
    along = begin_m + np.cumsum(path.length_m) - path.length_m / 2.0
    series = scan.outing.series
    there = replace(
        series,
        values={name: values[steps] for name, values in series.values.items()},
        inside=series.inside[steps],
        sea_cell_m={name: off[steps] for name, off in series.sea_cell_m.items()},
    )
    ways = list(
        bailouts(
            plan.route,
            plan.coast,
            there,
            plan.trip.crafts,
            times_there(scan, best)[steps],
            (path.longitude[steps], path.latitude[steps], path.course_deg[steps], along[steps]),
            plan.trip.places,
            member=int(scan.detail.member[best]),
        )
    )
    # The outer stretches reach to the ends of the stage.
    ways[0] = replace(ways[0], begin_m=begin_m)
    ways[-1] = replace(ways[-1], end_m=begin_m + float(path.length_m.sum()))
    return tuple(ways)
