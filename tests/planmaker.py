"""Plans for the tests of the presentation: the demo's, and the same with values changed.

The demo plan is worked out once and shared; nothing may change it.
"""

import functools
from dataclasses import replace

import numpy as np

from routeplan._demo.files import demo_files
from routeplan.forecast import open_forecast
from routeplan.gpx import read_gpx
from routeplan.limits import read_limits
from routeplan.plan import Trip, plan_trip

NOW = np.datetime64("2026-07-13T06:00", "ns")  # when the demo's forecast begins


@functools.cache
def demo_plan():
    files = demo_files()
    route = read_gpx(files.route)
    return plan_trip(
        Trip(
            route,
            forecast=open_forecast(files.forecast_netcdf, bounds=route.bounds),
            limits=read_limits(files.limits),
            title="Demo",
            now=NOW,
            invented=True,
        )
    )


@functools.cache
def legs_plan(name):
    """The demo's legs on a route of another name: no forecast, not marked as invented."""
    return plan_trip(Trip(replace(read_gpx(demo_files().route), name=name)))


def with_names(plan, name):
    """The plan with every name replaced by one."""
    route = plan.route

    def renamed(leg):
        return replace(leg, start=replace(leg.start, name=name), end=replace(leg.end, name=name))

    named = replace(route, name=name, legs=tuple(renamed(leg) for leg in route.legs))
    stages = tuple(
        replace(sp, stage=replace(sp.stage, legs=tuple(renamed(leg) for leg in sp.stage.legs)))
        for sp in plan.stages
    )
    return replace(
        plan, trip=replace(plan.trip, route=named, title=name), stages=stages, notes=(name,)
    )


def with_scan(plan, **changes):
    """The plan cut to its first stage, whose scan is changed and whose windows are gone."""
    stage = plan.stages[0]
    changed = replace(stage, scan=replace(stage.scan, **changes), windows=(), best=None, day=None)
    return replace(plan, stages=(changed,))
