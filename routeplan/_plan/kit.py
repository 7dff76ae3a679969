"""The kit of a trip that names a group."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from routeplan._kit.facts import StageLike
    from routeplan._kit.group import Group
    from routeplan._kit.plan import KitPlan
    from routeplan._kit.rules import RuleSet
    from routeplan.exposure import LegExposure
    from routeplan.propulsion import Craft
    from routeplan.route import Route

__all__ = ["kit_of"]


class _TripLike(Protocol):
    @property
    def route(self) -> Route: ...
    @property
    def slowest(self) -> Craft: ...
    @property
    def group(self) -> Group | None: ...
    @property
    def kit_rules(self) -> RuleSet | None: ...


def kit_of(
    trip: _TripLike, exposures: Sequence[LegExposure], stages: Sequence[StageLike]
) -> KitPlan | None:
    """Kit of a trip; None when it names no group."""
    if trip.group is None:
        return None
    from routeplan._kit.plan import plan_kit  # the sun's library loads here, `legs` needs none

    return plan_kit(trip.group, trip.kit_rules, trip.route, exposures, stages, trip.slowest)
