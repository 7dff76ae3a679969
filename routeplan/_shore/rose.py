"""From radials of open water to what a wind direction means for a leg."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["RADIALS_DEG", "effective_fetch_saville1954", "sectors", "wind_sides"]

FloatArray = NDArray[np.float64]

RADIALS_DEG: FloatArray = np.arange(0.0, 360.0, 2.0)
"""Radials traced from every place [degrees true]; fine enough for 6 degree steps from any ten."""

_STEP_DEG = 2
_DIRECTION_STEP_DEG = 10
_OFFSETS_DEG = np.arange(-42, 43, 6)  # the fifteen radials
_ONSHORE_DEG = 45.0
_OFFSHORE_DEG = 135.0


def effective_fetch_saville1954(radials_m: FloatArray) -> FloatArray:
    """Cosine-weighted fetch of every tenth degree from radials every two degrees.

    F = sum(x_i cos a_i) / sum(cos a_i) over fifteen radials a_i = -42, -36, ..., 42 degrees
    either side of the direction, where x_i is the length of a radial to the first shore, not
    projected on the wind. Equal radials of length L give F = L.

    Parameters
    ----------
    radials_m : array, shape (..., 180)
        Fetch along `RADIALS_DEG` [m].

    Returns
    -------
    array, shape (..., 36)
        [m].

    Notes
    -----
    For narrow waters, where a single straight ray through a gap says too much. The Coastal
    Engineering Manual (EM 1110-2-1100, part II-2, 2003) takes straight-line fetch instead; both
    are given.

    References
    ----------
    Saville, T. (1954), The effect of fetch width on wave generation, Beach Erosion Board
    Technical Memorandum 70; the fifteen radials as in the Shore Protection Manual, 1977 (their
    number and spacing from memory).
    """
    weight = np.cos(np.radians(_OFFSETS_DEG))
    centre = np.arange(0, 360, _DIRECTION_STEP_DEG)
    index = (centre[:, None] + _OFFSETS_DEG) % 360 // _STEP_DEG  # (36, 15)
    return np.asarray(radials_m[..., index] @ weight / weight.sum())


def wind_sides(
    distance_m: FloatArray, shore_bearing_deg: FloatArray, direction_deg: FloatArray
) -> FloatArray:
    """Shares of a leg on which a wind blows onshore, along the shore and offshore.

    A wind is onshore where it blows within 45 degrees of the bearing of the nearest shore,
    offshore where it blows within 45 degrees of the opposite, and along the shore otherwise
    (the bounds are a convention of this tool).

    Parameters
    ----------
    distance_m, shore_bearing_deg : array, shape (k,)
        Samples along the leg [m] and the bearing of the nearest shore there [degrees true].
    direction_deg : array, shape (d,)
        Where the wind comes from [degrees true].

    Returns
    -------
    array, shape (d, 3)
        Shares by length of onshore, along the shore, offshore; each row adds up to 1. All nan
        where the bearing of a sample is unknown.
    """
    if np.isnan(shore_bearing_deg).any():
        return np.full((direction_deg.size, 3), np.nan)
    gap = np.diff(distance_m)
    weight = (np.concatenate([gap, [0.0]]) + np.concatenate([[0.0], gap])) / gap.sum() / 2
    towards = direction_deg[:, None] + 180.0 - shore_bearing_deg
    angle = np.abs((towards + 180.0) % 360.0 - 180.0)
    onshore = (angle <= _ONSHORE_DEG) @ weight
    offshore = (angle >= _OFFSHORE_DEG) @ weight
    return np.stack([onshore, 1.0 - onshore - offshore, offshore], axis=-1)


def sectors(
    chosen: NDArray[np.bool_], direction_deg: FloatArray
) -> tuple[tuple[float, float], ...]:
    """First and last direction of each run of chosen ones, clockwise, round past north.

    Parameters
    ----------
    chosen : array of bool, shape (d,)
    direction_deg : array, shape (d,)
        All directions of a rose, clockwise [degrees true].
    """
    if chosen.all():
        return ((float(direction_deg[0]), float(direction_deg[-1])),)
    begins = np.flatnonzero(chosen & ~np.roll(chosen, 1))
    ends = np.flatnonzero(chosen & ~np.roll(chosen, -1))
    if begins.size and ends[0] < begins[0]:  # the first run to end began before north
        ends = np.roll(ends, -1)
    return tuple(
        (float(direction_deg[begin]), float(direction_deg[end]))
        for begin, end in zip(begins, ends, strict=True)
    )
