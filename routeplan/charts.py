"""Pictures as PNG: the map of a plan, its launches against the legs; and speed against wind.

Those of a plan say their date, time zone, sources and whether the data are invented. Colours keep
their order in grey and for colour-blind eyes; verdicts also have a hatch and a letter.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from routeplan._show.canvas import png_bytes
from routeplan._show.launchchart import launches_figure
from routeplan._show.map import map_figure
from routeplan._show.outputs import write_outputs
from routeplan._show.speedchart import speed_figure

if TYPE_CHECKING:
    from routeplan.plan import Plan

__all__ = [
    "draw_launches",
    "draw_map",
    "draw_speed",
    "launches_figure",
    "map_figure",
    "png_bytes",
    "speed_figure",
]


def draw_map(plan: Plan, path: str | Path, *, overwrite: bool = False) -> None:
    """Draw the map of a plan into a PNG file: coast, legs by distance from shore, camps.

    Raises
    ------
    InputError
        If the file is there already and may not be overwritten, or cannot be written.
    """
    write_outputs({Path(path): png_bytes(map_figure(plan))}, overwrite=overwrite)


def draw_launches(plan: Plan, path: str | Path, *, overwrite: bool = False) -> None:
    """Draw the launches of every stage into a PNG file: time against legs, and the windows.

    Raises
    ------
    InputError
        If the plan has no launches, and as for `draw_map`.
    """
    write_outputs({Path(path): png_bytes(launches_figure(plan))}, overwrite=overwrite)


def draw_speed(path: str | Path, *, overwrite: bool = False) -> None:
    """Draw speed against wind of the craft that can be picked by name into a PNG file.

    One panel for each of `routeplan.propulsion.CRAFTS`, with the published accounts that the
    tests hold the model against and their sources.

    Raises
    ------
    InputError
        As for `draw_map`.
    """
    write_outputs({Path(path): png_bytes(speed_figure())}, overwrite=overwrite)
