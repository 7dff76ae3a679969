"""The files that a trip can be taken away as: their names, kinds and words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["OUTPUTS", "Output"]


@dataclass(frozen=True, slots=True)
class Output:
    """Media type, what the link says, and whether it needs a plan with a weather."""

    media_type: str
    words: str
    weather: bool = False


OUTPUTS: Mapping[str, Output] = {
    "report.html": Output("text/html; charset=utf-8", "This report, to open anywhere"),
    "sheet.pdf": Output("application/pdf", "Sheet to leave ashore", weather=True),
    "card.pdf": Output("application/pdf", "Card for the deck", weather=True),
    "sheet.txt": Output("text/plain; charset=utf-8", "Sheet as text", weather=True),
    "route.gpx": Output("application/gpx+xml", "Route with camps and bail-outs"),
    "plan.json": Output("application/json", "All figures"),
    "plan.gpkg": Output("application/geopackage+sqlite3", "Map layers for a GIS"),
    "map.png": Output("image/png", "Map as a picture"),
    "plan.txt": Output("text/plain; charset=utf-8", "Plan in words"),
}
