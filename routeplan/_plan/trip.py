"""What is asked of a plan. Public through `plan`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from routeplan.limits import Limits
from routeplan.propulsion import Craft, craft
from routeplan.stops import Place, StageWishes
from routeplan.units import HOUR_S

if TYPE_CHECKING:
    import xarray as xr

    from routeplan._kit.group import Group
    from routeplan._kit.rules import RuleSet
    from routeplan._plan.ashoretable import Ashore
    from routeplan.coastline import Coastline
    from routeplan.route import Route
    from routeplan.simulation import Pace

__all__ = ["Trip"]


@dataclass(frozen=True, slots=True, eq=False)
class Trip:
    """What is asked: a route and everything it is judged by.

    Attributes
    ----------
    route : Route
    coast : Coastline, optional
        When None, the local source that covers the route (see `coastsource`), or else the
        default coastline.
    forecast : xarray.Dataset, optional
        As `open_forecast` gives it. Without one the plan has legs only.
    limits : Limits
    craft : Craft, or sequence of Craft
        A group goes at the pace of its slowest at every step.
    pace : Pace, optional
        Rests and a pace that falls with the hours; steady by default.
    wishes : StageWishes
        What the group wants of its days when the route has camps.
    places : tuple of Place
        With camps among them stages end at those chosen, not at the camps of the route.
    launch_step_s : float
        Time between the launches that are tried [s].
    zone : str, optional
        IANA name of the zone for local times; looked up from the start when None.
    title : str
    now : datetime64, optional
        Time of asking: launches before it are not tried, and the forecast's age is told from
        it; unknown when None.
    spacing_m : float
        Largest distance between samples along a leg [m].
    invented : bool
        Whether route or weather is made up, which every output then says.
    group : Group, optional
        People, craft and bags; without one the plan has no kit.
    kit_rules : RuleSet, optional
        The user's own, put over the default rules.
    old_after_s : float
        Age from which a forecast is called old [s]; common practice, no source.
    ashore : Ashore, optional
        Who is told ashore, what to tell the rescue, and when; `routeplan.plan.Ashore`.
    picked : mapping of int to datetime64
        Launches that the user picked, by number of the stage: they are taken whatever their
        verdict, which the plan then says. A time is moved to the launch tried nearest to it.
    """

    route: Route
    coast: Coastline | None = None
    forecast: xr.Dataset | None = None
    limits: Limits = field(default_factory=Limits)
    craft: Craft | Sequence[Craft] = field(default_factory=lambda: craft("touring board"))
    pace: Pace | None = None
    wishes: StageWishes = field(default_factory=StageWishes)
    places: tuple[Place, ...] = ()
    launch_step_s: float = 1_800.0
    zone: str | None = None
    title: str = ""
    now: np.datetime64 | None = None
    spacing_m: float = 100.0
    invented: bool = False
    group: Group | None = None
    kit_rules: RuleSet | None = None
    old_after_s: float = 12.0 * HOUR_S
    ashore: Ashore | None = None
    picked: Mapping[int, np.datetime64] = field(default_factory=dict)

    @property
    def crafts(self) -> tuple[Craft, ...]:
        """The craft of the group."""
        return (self.craft,) if isinstance(self.craft, Craft) else tuple(self.craft)

    @property
    def slowest(self) -> Craft:
        """The craft that is slowest in still water; wind may slow another one more."""
        return min(self.crafts, key=lambda it: it.still_water_speed_ms)
