"""The files that a trip can be taken away as: their names, kinds and words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["OUTPUTS", "Output"]


@dataclass(frozen=True, slots=True)
class Output:
    """Media type, and what the link says."""

    media_type: str
    words: str


OUTPUTS: Mapping[str, Output] = {
    "plan.txt": Output("text/plain; charset=utf-8", "Plan in words"),
    "plan.json": Output("application/json", "Plan for programs"),
    "map.png": Output("image/png", "Map"),
}
