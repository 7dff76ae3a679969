"""The launches of a plan as one dataset after the CF conventions."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from routeplan import __version__
from routeplan._show.values import text
from routeplan.errors import InputError
from routeplan.limits import Verdict

if TYPE_CHECKING:
    import xarray as xr

    from routeplan.plan import Plan
    from routeplan.windows import LaunchScan

__all__ = ["launches_dataset"]

_UNKNOWN = -1  # of a flag

# Variable of a leg: standard name (CF standard name table) or "", words.
_LEG = {
    "wind_ms": ("wind_speed", "strongest mean wind at 10 m met on the leg"),
    "gust_ms": ("wind_speed_of_gust", "strongest gust met on the leg"),
    "headwind_ms": ("", "strongest wind against the course, negative from behind"),
    "crosswind_ms": ("", "strongest wind across the course"),
    "wave_height_m": (
        "sea_surface_wave_significant_height",
        "largest significant wave height met on the leg",
    ),
    "offshore_m": ("", "largest distance from shore of the leg"),
    "speed_over_ground_ms": ("platform_speed_wrt_ground", "mean speed over ground on the leg"),
}
_UNITS = {"ms": "m s-1", "m": "m"}


def launches_dataset(plan: Plan) -> xr.Dataset:
    """See `routeplan.gis.launches_dataset`."""
    import xarray as xr  # heavy

    scans = [stage.scan for stage in plan.stages if stage.scan is not None]
    if not scans:
        msg = "the plan has no launches: it was made without a forecast; give the trip one"
        raise InputError(msg, field="forecast")
    launch = np.unique(np.concatenate([scan.launch for scan in scans]))
    rows = [np.searchsorted(launch, scan.launch) for scan in scans]
    variables = {**_stage_variables(scans, rows, launch.size)}
    variables |= _leg_variables(scans, rows, launch.size)
    return xr.Dataset(variables, _coordinates(plan, scans, launch), _attributes(plan))


def _coordinates(plan: Plan, scans: list[LaunchScan], launch: NDArray[Any]) -> dict[str, Any]:
    numbers = np.concatenate([scan.leg_numbers for scan in scans]).astype(np.int64)
    legs = {leg.number: leg for leg in plan.route.legs}
    chosen = [legs[int(number)] for number in numbers]
    named = {
        "leg_stage": ([leg.stage for leg in chosen], "outing that the leg belongs to, from 1"),
        "leg_from": ([text(leg.start.name) for leg in chosen], "name of the start of the leg"),
        "leg_to": ([text(leg.end.name) for leg in chosen], "name of the end of the leg"),
    }
    about = {"standard_name": "time", "long_name": "time of launch, UTC", "axis": "T"}
    return {
        "launch": ("launch", launch, about),
        "stage": ("stage", [scan.stage for scan in scans], {"long_name": "outing, from 1"}),
        "leg": ("leg", numbers, {"long_name": "leg on the route, from 1"}),
        **{name: ("leg", values, {"long_name": words}) for name, (values, words) in named.items()},
        "leg_length_m": (
            "leg",
            np.array([leg.length_m for leg in chosen]),
            {"long_name": "length of the leg", "units": "m"},
        ),
    }


def _stage_variables(
    scans: list[LaunchScan], rows: list[NDArray[np.intp]], count: int
) -> dict[str, Any]:
    dims, shape = ("stage", "launch"), (len(scans), count)
    arrive = np.full(shape, np.datetime64("NaT", "ns"), "datetime64[ns]")
    verdict = np.full(shape, int(Verdict.UNKNOWN), np.int8)
    margin, share = np.full(shape, np.nan), np.full(shape, np.nan)
    robust = np.full(shape, _UNKNOWN, np.int8)
    binding, limit = np.full(shape, "", object), np.full(shape, "", object)
    for s, (scan, at) in enumerate(zip(scans, rows, strict=True)):
        arrive[s, at], verdict[s, at], margin[s, at] = scan.arrive, scan.verdict, scan.margin
        binding[s, at], limit[s, at] = scan.binding.astype(object), scan.margin_limit.astype(object)
        if scan.share_within is not None:
            share[s, at] = scan.share_within
        if scan.robust is not None:
            robust[s, at] = scan.robust
    return {
        "arrive": (dims, arrive, {"long_name": "time of arrival, UTC; not a time: unknown"}),
        "verdict": (dims, verdict, _verdict_flags("of the launch, the worst of all limits")),
        "binding": (dims, binding, {"long_name": "limit that decides; empty when within"}),
        "margin": (
            dims,
            margin,
            {"long_name": "smallest share of a limit left, negative beyond", "units": "1"},
        ),
        "margin_limit": (dims, limit, {"long_name": "limit that the margin belongs to"}),
        "share_within": (
            dims,
            share,
            {"long_name": "share of the members within or close; missing without", "units": "1"},
        ),
        "robust": (
            dims,
            robust,
            {
                "long_name": "whether it stays good when late and slower",
                "flag_values": np.array([_UNKNOWN, 0, 1], np.int8),
                "flag_meanings": "not_tried no yes",
            },
        ),
    }


def _leg_variables(
    scans: list[LaunchScan], rows: list[NDArray[np.intp]], count: int
) -> dict[str, Any]:
    dims = ("launch", "leg")

    def joined(name: str, blank: Any, kind: Any) -> NDArray[Any]:
        parts = []
        for scan, at in zip(scans, rows, strict=True):
            part = np.full((count, scan.leg_numbers.size), blank, kind)
            part[at] = getattr(scan, name)
            parts.append(part)
        return np.concatenate(parts, axis=1)

    nat = np.datetime64("NaT", "ns")
    flags = _verdict_flags("of the leg at this launch")
    out: dict[str, Any] = {
        name: (dims, joined(name, nat, "datetime64[ns]"), {"long_name": words})
        for name, words in (
            ("enter", "time on entering the leg, UTC"),
            ("leave", "time on leaving the leg, UTC"),
        )
    }
    out["leg_verdict"] = (dims, joined("leg_verdict", int(Verdict.UNKNOWN), np.int8), flags)
    for name, (standard, words) in _LEG.items():
        about = {"long_name": words, "units": _UNITS[name.rsplit("_", 1)[1]]}
        if standard:
            about["standard_name"] = standard
        if any(scan.members > 1 for scan in scans):
            about["comment"] = "median of the forecast's members"
        out[name] = (dims, joined(name, np.nan, float), about)
    return out


def _verdict_flags(words: str) -> dict[str, Any]:
    """Attributes of a verdict (CF conventions, section 3.5, flags)."""
    return {
        "long_name": f"verdict {words}",
        "flag_values": np.array([int(v) for v in Verdict], np.int8),
        "flag_meanings": " ".join(v.word for v in Verdict),
    }


def _attributes(plan: Plan) -> dict[str, Any]:
    sources = [f"{s.kind}: {s.name}. {s.attribution}".strip() for s in plan.sources]
    return {
        "Conventions": "CF-1.11",
        "title": text(plan.trip.title) or text(plan.route.name),
        "source": f"routeplan {__version__}; " + text("; ".join(sources)),
        "comment": " ".join([*plan.warnings, *plan.cautions]),
        "invented": "yes" if plan.invented else "no",
    }
