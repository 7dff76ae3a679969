"""Picture of paddled speed against wind, with what others have published drawn in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from routeplan._show.canvas import DOTS_PER_INCH, FOOT_SIZE, INK, MARGIN_IN, QUIET, foot, look, put
from routeplan.propulsion import CRAFTS, speed_against_wind
from routeplan.units import KNOT_MS, MILE_M

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from routeplan.propulsion import Craft

__all__ = ["BANDS", "SpeedBand", "speed_figure"]

_SIZE_IN = (6.7, 6.2)
_WIND_MS = np.linspace(0.0, 15.0, 121)
_COURSES = (  # angle off the bow, name, colour by lightness and line, so that grey tells them too
    (0.0, "headwind", "#1b3a6b", "-"),
    (90.0, "wind abeam", "#2f8f83", "--"),
    (180.0, "following wind", "#c08a1e", "-."),
)
_BAND = "#d9a7a0"


@dataclass(frozen=True, slots=True)
class SpeedBand:
    """A published band of speed in a headwind, in the wind's and the speed's SI units.

    `shares` says whether the speeds are shares of the still-water speed. `crafts` are those it is
    held against.
    """

    key: str
    wind_ms: tuple[float, float]
    speed: tuple[float, float]
    shares: bool
    crafts: tuple[str, ...]
    source: str


_MPH_MS = MILE_M / 3600.0
_CLUB = "outdoors.org (Appalachian Mountain Club)"
_BURKE = "Burke, Kayak Navigation, as quoted at forums.paddling.com 26677"
_OPEN = ("touring board", "inflatable board", "open canoe")

BANDS = (
    SpeedBand(
        "a", (8 * _MPH_MS, 12 * _MPH_MS), (0.60, 0.73), True, _OPEN,
        f"8 to 12 mph: about a third slower; drawn as 27 to 40 %. {_CLUB}",
    ),
    SpeedBand(
        "b", (13 * _MPH_MS, 18 * _MPH_MS), (0.0, 0.5), True, _OPEN,
        f"13 to 18 mph: half as fast or less. {_CLUB}",
    ),
    SpeedBand(
        "c", (19 * KNOT_MS, 21 * KNOT_MS), (0.5 * KNOT_MS, 2.0 * KNOT_MS), False, ("sea kayak",),
        f"20 kn leave about 1.5 kn; drawn as 0.5 to 2 kn. {_BURKE}",
    ),
    SpeedBand(
        "d", (24 * KNOT_MS, 26 * KNOT_MS), (0.0, 0.5 * KNOT_MS), False, ("sea kayak",),
        f"25 kn: many make no way; drawn as 0 to 0.5 kn. {_BURKE}",
    ),
)  # fmt: skip


def speed_figure() -> Figure:
    """Figure of speed through the water against wind, a panel for each of `CRAFTS`."""
    from matplotlib.figure import Figure  # slow to load, and only pictures need it

    with look():
        figure = Figure(figsize=_SIZE_IN, dpi=DOTS_PER_INCH)
        grid = figure.subplots(2, 2, sharex=True, sharey=True)
        figure.subplots_adjust(0.09, 0.265, 0.93, 0.855, wspace=0.10, hspace=0.22)
        left = MARGIN_IN / _SIZE_IN[0]
        put(figure, left, 0.955, "Speed through the water against wind", fontsize=13, weight="bold")
        put(
            figure, left, 0.925,
            "Power balance of routeplan.propulsion, flat water, no current. "
            "Shaded: published accounts of headwinds.",
            color=QUIET, fontsize=8,
        )  # fmt: skip
        for axes, it in zip(grid.flat, CRAFTS.values(), strict=True):
            _panel(axes, it)
        for axes in grid[-1]:
            axes.set_xlabel("wind at 10 m (m/s)")
        for axes in grid[:, 0]:
            axes.set_ylabel("speed (m/s)")
        grid[0, 0].legend(fontsize=FOOT_SIZE, frameon=False, loc="upper left")
        foot(figure, _foot_lines())
    return figure


def _panel(axes: Axes, it: Craft) -> None:
    speeds = speed_against_wind(it, _WIND_MS, [angle for angle, *_ in _COURSES])
    for speed, (_, name, colour, line) in zip(speeds, _COURSES, strict=True):
        axes.plot(_WIND_MS, speed, color=colour, linestyle=line, linewidth=1.6, label=name)
    for band in BANDS:
        if it.name in band.crafts:
            _draw_band(axes, band, it)
    axes.set(xlim=(0.0, 15.0), ylim=(0.0, 3.2), xticks=range(0, 15, 2))
    axes.set_title(
        f"{it.name}, {it.posture}, {it.still_water_speed_ms:g} m/s in still water",
        fontsize=8, loc="left",
    )  # fmt: skip
    axes.grid(color="#d9dde0", linewidth=0.5)
    axes.set_axisbelow(True)
    spec = axes.get_subplotspec()
    if spec is not None and spec.is_last_col():
        right = axes.secondary_yaxis("right", functions=(_to_knots, _from_knots))
        right.tick_params(labelsize=FOOT_SIZE, colors=QUIET)
        right.set_ylabel("speed (kn)", fontsize=FOOT_SIZE, color=QUIET)


def _draw_band(axes: Axes, band: SpeedBand, it: Craft) -> None:
    from matplotlib.patches import Rectangle

    unit = it.still_water_speed_ms if band.shares else 1.0
    low, high = (v * unit for v in band.speed)
    width = band.wind_ms[1] - band.wind_ms[0]
    axes.add_patch(
        Rectangle(
            (band.wind_ms[0], low), width, high - low,
            facecolor=_BAND, edgecolor=INK, linewidth=0.5, alpha=0.55, zorder=1,
        )
    )  # fmt: skip
    axes.annotate(
        band.key, (band.wind_ms[1], high), (2, 1), textcoords="offset points", fontsize=8,
        fontstyle="italic",
    )  # fmt: skip


def _to_knots(ms: Any) -> Any:
    return ms / KNOT_MS


def _from_knots(knots: Any) -> Any:
    return knots * KNOT_MS


def _foot_lines() -> list[str]:
    return [
        *(f"{band.key}: {band.source}" for band in BANDS),
        "Still-water speeds, powers, paddle efficiencies and hull exponents are assumptions, "
        "chosen so that the headwind curves",
        "pass through the shaded bands: accounts of trips, not measurements. Time your own craft "
        "and give its speed.",
    ]
