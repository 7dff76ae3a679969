"""Paddled speed in wind and waves from one power balance.

    board = craft("touring board")                       # or with changes:
    board = craft("touring board", still_water_speed_ms=1.5, posture="kneeling")
    speed_through_water(board, headwind_ms=5.0)          # m/s; 0 = cannot make way

The paddler feeds a constant power P into the blade. A blade that slips through the water at w
gives a thrust T = k w², and the power goes into moving the craft and the slip:

    P = T (v + w),   T = k w²                                     (1)
    T = a v^n + ½ ρ CdA |A| (h + v),   A = (h + v, c)             (2)

with v speed through the water, h the wind against the heading, c across it (both relative to the
water), ρ the air density and A the apparent wind. The hull coefficient a follows from the user's
loaded still-water speed v0: at v0 in still air (2) must balance (1). The blade coefficient k
follows from the share of P that moves the craft at v0, η = v0 / (v0 + w0). A blade has a largest
thrust, T(v = 0) = k^(1/3) P^(2/3): where the wind pushes harder, the craft cannot make way.

What is published and what is assumed
-------------------------------------
- CdA of a standing person 0.84 m² (9 ft²): Hoerner, Fluid-Dynamic Drag, 1965, as quoted at
  physics.stackexchange.com/questions/41934 (accessed 2026-11-25).
- Sideways drift share while paddling: downwind leeway slopes of CG-D-08-99 (Allen and Plourde
  1999): surf board with person 1.93 %, sea kayak 1.16 %, V-hull skiff 2.87 % for the canoe.
- Everything else is an assumption and open to the user: still-water speeds, powers, η, n, the CdA
  of kneeling and sitting, the loss in waves. Each craft lists its own under `assumptions`. They
  were chosen so that the published bands of speed against wind hold (see the tests).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from routeplan._passage.kernels import speeds
from routeplan.errors import InputError
from routeplan.units import range_words

__all__ = [
    "AIR_DENSITY_KG_M3",
    "CRAFTS",
    "POSTURE_DRAG_AREA_M2",
    "Craft",
    "craft",
    "craft_row",
    "speed_against_wind",
    "speed_through_water",
]

AIR_DENSITY_KG_M3 = 1.225  # standard atmosphere at sea level, 15 °C (ISO 2533)

# CdA of paddler, craft and load in the wind by posture [m²]
POSTURE_DRAG_AREA_M2: Mapping[str, float] = MappingProxyType(
    {
        "standing": 0.84,  # Hoerner 1965, standing person; the low board is neglected
        "kneeling": 0.55,  # assumption: two thirds of standing
        "sitting": 0.35,  # assumption: trunk and head above the deck, with the deck
    }
)

_RANGES = {  # what a craft may be: (lowest allowed, highest allowed)
    "still_water_speed_ms": (0.2, 5.0),
    "frontal_area_drag_m2": (0.0, 5.0),
    "power_w": (5.0, 500.0),
    "paddle_efficiency": (0.2, 0.95),
    "hull_exponent": (1.5, 4.0),
    "leeway_share": (0.0, 0.2),
    "loss_head_per_m": (0.0, 2.0),
    "loss_beam_per_m": (0.0, 2.0),
    "loss_follow_per_m": (0.0, 2.0),
}


@dataclass(frozen=True, slots=True)
class Craft:
    """A loaded craft with its paddler.

    Attributes
    ----------
    name : str
    still_water_speed_ms : float
        Loaded, without wind, waves and current, at the pace kept for hours. [m/s]
    posture : str
        "standing", "kneeling" or "sitting".
    frontal_area_drag_m2 : float
        CdA of paddler, craft and load against the wind. [m²]
    power_w : float
        Power the paddler feeds into the blade at that pace. [W]
    paddle_efficiency : float
        Share of that power which moves the craft in still air and water. [-]
    hull_exponent : float
        Hull drag grows with this power of speed. [-]
    leeway_share : float
        Sideways drift while paddling as a share of the cross wind. [-]
    loss_head_per_m, loss_beam_per_m, loss_follow_per_m : float
        Share of speed lost per metre of significant wave height, by where waves come from. [1/m]
    source : str
        Where the figures come from.
    assumptions : tuple of str
        Names of the figures that have no published source.
    """

    name: str
    still_water_speed_ms: float
    posture: str
    frontal_area_drag_m2: float
    power_w: float = 40.0
    paddle_efficiency: float = 0.70
    hull_exponent: float = 2.0
    leeway_share: float = 0.0193
    loss_head_per_m: float = 0.20
    loss_beam_per_m: float = 0.15
    loss_follow_per_m: float = 0.10
    source: str = "given by the user"
    assumptions: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.posture not in POSTURE_DRAG_AREA_M2:
            msg = (
                f"craft {self.name!r}: posture {self.posture!r} is unknown; "
                f"allowed are {', '.join(POSTURE_DRAG_AREA_M2)}"
            )
            raise InputError(msg, field="posture", value=self.posture)
        for field, (low, high) in _RANGES.items():
            value = getattr(self, field)
            if not (isinstance(value, (int, float)) and low <= value <= high):
                what = f"{field} is {value!r}; allowed is {low:g} to {high:g}"
                if field == "still_water_speed_ms" and isinstance(value, (int, float)):
                    allowed = range_words(low, high, "speed")
                    what = f"a speed in still water of {value:.3g} m/s; allowed is {allowed}"
                msg = f"craft {self.name!r}: {what}"
                raise InputError(msg, field=field, value=value)
        if _hull_thrust(self) <= 0.0:
            msg = (
                f"craft {self.name!r}: {self.power_w:g} W do not reach "
                f"{self.still_water_speed_ms:.3g} m/s against still air alone; "
                "give a lower speed in still water, or more power_w"
            )
            raise InputError(msg, field="power_w", value=self.power_w)


def _air_coefficient(it: Craft) -> float:
    return 0.5 * AIR_DENSITY_KG_M3 * it.frontal_area_drag_m2


def _hull_thrust(it: Craft) -> float:
    """Thrust left for the hull at the still-water speed in still air [N]."""
    v0 = it.still_water_speed_ms
    thrust = it.power_w * it.paddle_efficiency / v0 - _air_coefficient(it) * v0**2
    return thrust if math.isfinite(thrust) else 0.0


_ASSUMED = (
    "still_water_speed_ms",
    "power_w",
    "paddle_efficiency",
    "hull_exponent",
    "loss_head_per_m",
    "loss_beam_per_m",
    "loss_follow_per_m",
)

CRAFTS: Mapping[str, Craft] = MappingProxyType(
    {
        "touring board": Craft(
            name="touring board",
            still_water_speed_ms=1.40,
            posture="standing",
            frontal_area_drag_m2=POSTURE_DRAG_AREA_M2["standing"],
            source="CdA Hoerner 1965; leeway CG-D-08-99 surf board; the rest assumed: a loaded "
            "touring board at 2.7 kn",
            assumptions=_ASSUMED,
        ),
        "inflatable board": Craft(
            name="inflatable board",
            still_water_speed_ms=1.20,
            posture="standing",
            frontal_area_drag_m2=0.90,
            source="CdA Hoerner 1965 and 0.06 m² for the thick board; leeway CG-D-08-99 surf "
            "board; the rest assumed: a loaded inflatable board at 2.3 kn",
            assumptions=(*_ASSUMED, "frontal_area_drag_m2"),
        ),
        "sea kayak": Craft(
            name="sea kayak",
            still_water_speed_ms=1.80,
            posture="sitting",
            frontal_area_drag_m2=POSTURE_DRAG_AREA_M2["sitting"],
            power_w=32.0,
            paddle_efficiency=0.75,
            hull_exponent=2.3,
            leeway_share=0.0116,
            loss_head_per_m=0.15,
            loss_beam_per_m=0.10,
            loss_follow_per_m=0.05,
            source="leeway CG-D-08-99 sea kayak; the rest assumed: a loaded single at 3.5 kn",
            assumptions=(*_ASSUMED, "frontal_area_drag_m2"),
        ),
        "open canoe": Craft(
            name="open canoe",
            still_water_speed_ms=1.50,
            posture="kneeling",
            frontal_area_drag_m2=1.10,
            power_w=60.0,
            leeway_share=0.0287,
            loss_head_per_m=0.25,
            loss_beam_per_m=0.25,
            source="leeway CG-D-08-99 V-hull skiff; the rest assumed: a loaded tandem at 2.9 kn, "
            "its CdA that of two kneeling paddlers",
            assumptions=(*_ASSUMED, "frontal_area_drag_m2"),
        ),
    }
)


def craft(name: str, **changes: Any) -> Craft:
    """Pick one of `CRAFTS`, changed where the user knows better.

    Parameters
    ----------
    name : str
        A key of `CRAFTS`.
    **changes
        Fields of `Craft`. A new posture brings its own CdA unless that is given too; a field that
        is given is no longer listed as an assumption.

    Raises
    ------
    InputError
        Unknown craft or field, or a value out of range.
    """
    if name not in CRAFTS:
        msg = f"craft {name!r} is unknown; allowed are {', '.join(CRAFTS)}"
        raise InputError(msg, field="craft", value=name)
    base = CRAFTS[name]
    known = [f.name for f in fields(Craft) if f.name not in ("name", "source", "assumptions")]
    for field in changes:
        if field not in known:
            msg = f"a craft has no {field!r}; allowed are {', '.join(known)}"
            raise InputError(msg, field=field, value=changes[field])
    posture = changes.get("posture", base.posture)
    changed = dict(changes)
    if posture != base.posture and "frontal_area_drag_m2" not in changes:
        drag = POSTURE_DRAG_AREA_M2.get(posture, base.frontal_area_drag_m2)
        changed["frontal_area_drag_m2"] = drag
    left = tuple(field for field in base.assumptions if field not in changes)
    return replace(base, **changed, assumptions=left)


def craft_row(it: Craft) -> NDArray[np.float64]:
    """Coefficients of the power balance as the compiled code takes them, shape (10,)."""
    v0 = it.still_water_speed_ms
    thrust = it.power_w * it.paddle_efficiency / v0
    slip = v0 * (1.0 - it.paddle_efficiency) / it.paddle_efficiency
    return np.array(
        [
            it.power_w,
            thrust / slip**2,
            _hull_thrust(it) / v0**it.hull_exponent,
            it.hull_exponent,
            _air_coefficient(it),
            it.leeway_share,
            it.loss_head_per_m,
            it.loss_beam_per_m,
            it.loss_follow_per_m,
            (it.power_w * slip**2 / thrust) ** (1.0 / 3.0),
        ]
    )


def speed_through_water(
    craft: Craft,
    headwind_ms: ArrayLike,
    crosswind_ms: ArrayLike = 0.0,
    wave_height_m: ArrayLike = 0.0,
    wave_angle_deg: ArrayLike = 0.0,
) -> NDArray[np.float64]:
    """Speed through the water in wind and waves, in the steady state.

    Parameters
    ----------
    craft : Craft
    headwind_ms : array_like
        Wind against the heading, relative to the water; negative from astern. [m/s]
    crosswind_ms : array_like
        Wind across the heading, either sign. [m/s]
    wave_height_m : array_like
        Significant wave height. [m]
    wave_angle_deg : array_like
        Where waves come from relative to the heading; 0 ahead, 90 abeam, 180 astern. [degrees]

    Returns
    -------
    ndarray
        Broadcast shape of the inputs; 0 where the craft cannot make way; nan where an input is
        nan. [m/s]

    Notes
    -----
    Equations (1) and (2) of the module. Waves take the share
    Hs (b + (h - f)/2 cos θ + ((h + f)/2 - b) cos² θ) of the speed, with h, b, f the losses per
    metre in head, beam and following waves (assumption, no published source for boards; a K1 in
    head waves has about 11 % more resistance, thesportjournal.org). Meant for speeds below about
    3 m/s: no planing and no riding of waves.
    """
    angle = np.cos(np.radians(np.asarray(wave_angle_deg, dtype=float)))
    head, cross, height, cos_angle = np.broadcast_arrays(
        np.asarray(headwind_ms, dtype=float),
        np.asarray(crosswind_ms, dtype=float),
        np.asarray(wave_height_m, dtype=float),
        angle,
    )
    flat = [np.ascontiguousarray(a).ravel() for a in (head, cross, height, cos_angle)]
    return speeds(craft_row(craft), *flat).reshape(head.shape)


def speed_against_wind(
    craft: Craft, wind_ms: ArrayLike, angles_deg: ArrayLike = (0.0, 90.0, 180.0)
) -> NDArray[np.float64]:
    """Speed through the water for each wind speed and angle off the bow: data for a plot.

    Parameters
    ----------
    craft : Craft
    wind_ms : array_like, shape (w,)
        True wind speed. [m/s]
    angles_deg : array_like, shape (a,)
        Direction the wind comes from relative to the heading; 0 ahead, 180 astern. [degrees]

    Returns
    -------
    ndarray, shape (a, w)
        [m/s]
    """
    wind = np.atleast_1d(np.asarray(wind_ms, dtype=float))[None, :]
    angle = np.radians(np.atleast_1d(np.asarray(angles_deg, dtype=float)))[:, None]
    return speed_through_water(craft, wind * np.cos(angle), wind * np.sin(angle))
