"""Where to write names on a map so that they cover neither the line nor each other."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

__all__ = ["Box", "LabelField", "Placed"]

Box = tuple[float, float, float, float]
"""Left, bottom, right, top in pixels."""

_ANGLES = (0, 180, 45, 315, 135, 225, 90, 270, 22, 338, 158, 202, 68, 292, 112, 248)
_RADII = (1.0, 1.7, 2.6, 3.8, 5.2)


@dataclass(frozen=True, slots=True)
class Placed:
    """A place for a label: its lower left corner [pixels], how much it covers, how far off."""

    x: float
    y: float
    covered: float
    reach: float


@dataclass(slots=True)
class LabelField:
    """The free room on a map, in pixels.

    `bounds` is the map's frame, `line` (k, 2) points of the route that names should not cover,
    `taken` the boxes in use: it grows as labels are placed.
    """

    bounds: Box
    line: NDArray[np.float64]
    taken: list[Box] = field(default_factory=list)

    def place(self, x: float, y: float, width: float, height: float, gap: float) -> Placed:
        """The best of some eighty places around (x, y) for a label of a size; nothing is taken."""
        best = Placed(x, y, math.inf, 0.0)
        least = math.inf
        for rank, radius in enumerate(_RADII):
            for order, angle in enumerate(_ANGLES):
                box = _beside(x, y, width, height, gap * radius, angle)
                covered = self.covered(box)
                cost = covered + 0.02 * rank + 0.001 * order
                if cost < least:
                    least = cost
                    best = Placed(box[0], box[1], covered, gap * radius)
            if least < 0.02 * (rank + 1):
                break
        return best

    def covered(self, box: Box) -> float:
        """What a box would hide: 0 for nothing, about 1 for a whole label."""
        area = max((box[2] - box[0]) * (box[3] - box[1]), 1.0)
        cost = sum(_overlap(box, other) for other in self.taken) / area
        cost += 2.0 * (1.0 - _overlap(box, self.bounds) / area)
        inside = (
            (self.line[:, 0] > box[0])
            & (self.line[:, 0] < box[2])
            & (self.line[:, 1] > box[1])
            & (self.line[:, 1] < box[3])
        )
        return cost + 0.03 * float(np.count_nonzero(inside))

    def take(self, box: Box, margin: float = 0.0) -> None:
        """Mark a box as in use."""
        self.taken.append(
            (box[0] - margin, box[1] - margin, box[2] + margin, box[3] + margin),
        )


def _beside(x: float, y: float, width: float, height: float, gap: float, angle_deg: float) -> Box:
    """A box whose nearest point lies `gap` from (x, y) in a direction (from the right, up)."""
    cos, sin = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    left = x + gap * cos - width * (1 - cos) / 2
    bottom = y + gap * sin - height * (1 - sin) / 2
    return left, bottom, left + width, bottom + height


def _overlap(a: Box, b: Box) -> float:
    wide = min(a[2], b[2]) - max(a[0], b[0])
    high = min(a[3], b[3]) - max(a[1], b[1])
    return max(wide, 0.0) * max(high, 0.0)
