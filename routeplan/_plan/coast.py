"""Which coastline a trip is planned with, and where a finer and the default one disagree."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from routeplan import coastsource
from routeplan.coastline import Coastline
from routeplan.coastsource import CombinedCoastline, OffshoreComparison
from routeplan.limits import Limits

if TYPE_CHECKING:
    from routeplan.coastsource import CoastSource
    from routeplan.route import Route

__all__ = ["ChosenCoast", "choose_coast", "compare_coasts"]


@dataclass(frozen=True, slots=True)
class ChosenCoast:
    """A coastline, the local source it is from, and what is wrong with other local sources."""

    coast: Coastline
    source: CoastSource | None = None
    notes: tuple[str, ...] = ()


def choose_coast(given: Coastline | None, route: Route) -> ChosenCoast:
    """Take the coastline given, else the local source that covers the route, else the default.

    Raises
    ------
    InputError
        If the local source that covers the route is damaged.
    """
    if given is not None:
        return ChosenCoast(given)
    _, faults = coastsource.list_sources()
    source = coastsource.preferred_source(route.bounds)
    coast = Coastline.default() if source is None else coastsource.read_source(source)
    notes = tuple(f"A local coastline is left out: {fault}." for fault in faults)
    if source is not None:
        notes = (*source.about.notes, *notes)
    return ChosenCoast(coast, source, notes)


def compare_coasts(
    route: Route, coast: Coastline, limits: Limits, spacing_m: float
) -> tuple[OffshoreComparison | None, ...]:
    """How each leg stands by the default coastline and by a finer one joined with it.

    They are held against the limit of distance from shore, or against the notice where there is
    no such limit. None for each leg where there is one coastline only.
    """
    limit_m = limits.offshore_m or limits.offshore_notice_m
    if not isinstance(coast, CombinedCoastline) or not limit_m > 0.0:
        return (None,) * len(route.legs)
    return coastsource.compare_offshore(route, coast.coarse, coast, limit_m, spacing_m=spacing_m)
