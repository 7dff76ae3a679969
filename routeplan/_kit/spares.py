"""Spares shared by a group: the fewest that cover everybody, and who carries which."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from routeplan._kit.group import Group, Person, Spare
from routeplan.errors import InputError

__all__ = ["ChosenSpare", "SpareChoice", "balance", "choose_spares", "default_spares"]

FloatArray = NDArray[np.float64]

_FIN_KG, _PADDLE_KG = 0.15, 0.8  # invented: masses of a spare fin and of a paddle in parts
_SLACK_M = 1e-9  # a length on the edge of the tolerance fits
_EXACT = {"mip_rel_gap": 0.0, "time_limit": 20.0}
_MAX = 400  # spares to choose from, and people
_FINLESS = ("kayak", "canoe")


@dataclass(frozen=True, slots=True)
class ChosenSpare:
    """A spare to take: whose craft carries it, whom it serves, and why."""

    spare: Spare
    carrier: str
    serves: tuple[str, ...]
    reason: str


@dataclass(frozen=True, slots=True)
class SpareChoice:
    """The spares to take.

    `uncovered` are sentences on needs that no spare to choose from meets, `unknown` on people of
    whom the fin system or the paddle length is not known. `heaviest_kg` is the largest load of
    anybody, with the load they had before.
    """

    chosen: tuple[ChosenSpare, ...]
    uncovered: tuple[str, ...]
    unknown: tuple[str, ...]
    heaviest_kg: float


def default_spares(group: Group) -> tuple[Spare, ...]:
    """One spare fin for each system and one paddle of each length and craft to choose from."""
    systems = sorted({p.fin_system for p in group.people if p.fin_system})
    paddles = sorted({(p.craft_type, p.paddle_m) for p in group.people if _needs(p, "paddle")})
    mixed = _mixed(group)
    return (
        *(Spare(f"spare fin, {system}", _FIN_KG, (system,)) for system in systems),
        *(
            Spare(
                f"spare paddle, {f'{craft}, ' if mixed and craft else ''}{m:.2f} m",
                _PADDLE_KG,
                (),
                m,
                m,
                craft,
            )
            for craft, m in paddles
        ),
    )


def _mixed(group: Group) -> bool:
    """Whether there are craft of more than one type, whose paddles do not stand in for others."""
    return len({p.craft_type for p in group.people}) > 1


def choose_spares(group: Group, load_kg: Mapping[str, float] | None = None) -> SpareChoice:
    """Choose the fewest spares, the lightest of these, and share them out.

    A fin serves those whose system it fits, a paddle those whose length is within its lengths
    and the group's tolerance; in a group with craft of several types, only those on its own.
    Spares are handed out so that the most loaded person carries as little as possible. All three
    steps are integer programs solved exactly.

    Parameters
    ----------
    group : Group
        Its `spares` are what there is to choose from; without any, `default_spares`.
    load_kg : mapping of str to float, optional
        What each person carries already; 0 by default. [kg]

    Raises
    ------
    InputError
        More spares or people than can be chosen among.
    """
    offered = group.spares or default_spares(group)
    if len(offered) > _MAX or len(group.people) > _MAX:
        msg = f"{len(offered)} spares for {len(group.people)} people; allowed are {_MAX} of each"
        raise InputError(msg, field="spare")
    needs = [(p, what) for what in ("fin", "paddle") for p in group.people if _needs(p, what)]
    covers = np.array(
        [[_serves(s, p, what, group) for s in offered] for p, what in needs], dtype=bool
    ).reshape(len(needs), len(offered))
    able: NDArray[np.bool_] = np.asarray(covers.any(axis=1))
    picked = _cover(covers[able], np.array([s.mass_kg for s in offered]))
    load = [float((load_kg or {}).get(p.name, 0.0)) for p in group.people]
    carriers, heaviest = balance([offered[i].mass_kg for i in picked], load)
    chosen = []
    for i, carrier in zip(picked, carriers, strict=True):
        served = tuple(p.name for (p, _), row in zip(needs, covers, strict=True) if row[i])
        chosen.append(
            ChosenSpare(
                offered[i],
                group.people[carrier].name,
                served,
                _reason(offered[i], served, group),
            )
        )
    missing = [need for need, one in zip(needs, able.tolist(), strict=True) if not one]
    uncovered = tuple(_uncovered(p, what, mixed=_mixed(group)) for p, what in missing)
    return SpareChoice(tuple(chosen), uncovered, _unknown(group), heaviest)


def _needs(person: Person, what: str) -> bool:
    return bool(person.fin_system) if what == "fin" else math.isfinite(person.paddle_m)


def _serves(spare: Spare, person: Person, what: str, group: Group) -> bool:
    if what == "fin":
        return person.fin_system in spare.fits
    tolerance = group.paddle_tolerance_m + _SLACK_M
    return (
        spare.is_paddle
        and (not _mixed(group) or spare.craft_type == person.craft_type)
        and spare.shortest_m - tolerance <= person.paddle_m <= spare.longest_m + tolerance
    )


def _reason(spare: Spare, served: tuple[str, ...], group: Group) -> str:
    whom = ", ".join(served)
    if spare.is_paddle:
        return f"within {group.paddle_tolerance_m * 100:.0f} cm of the paddles of {whom}"
    return f"fits the fins of {whom} ({', '.join(spare.fits)})"


def _uncovered(person: Person, what: str, *, mixed: bool) -> str:
    if what == "fin":
        return f"no spare fin fits {person.fin_system}, which {person.name} has"
    kind = f" for a {person.craft_type}" if mixed and person.craft_type else ""
    return f"no spare paddle{kind} comes near the {person.paddle_m:.2f} m of {person.name}"


def _unknown(group: Group) -> tuple[str, ...]:
    people = group.people
    fins = [p.name for p in people if not p.fin_system and p.craft_type not in _FINLESS]
    paddles = [p.name for p in people if not _needs(p, "paddle")]
    out = []
    if fins:
        whom = ", ".join(fins)
        out.append(f"the fin system of {whom} is unknown, so no spare is chosen for it")
    if paddles:
        out.append(f"the paddle length of {', '.join(paddles)} is unknown, so no spare covers it")
    return tuple(out)


def _cover(covers: NDArray[np.bool_], mass_kg: FloatArray) -> list[int]:
    """Columns that cover all rows: fewest, then lightest."""
    rows, columns = covers.shape
    if not rows:
        return []
    from scipy.optimize import Bounds, LinearConstraint, milp  # slow to load

    each = LinearConstraint(covers.astype(float), lb=1.0)
    setup = {"integrality": np.ones(columns), "bounds": Bounds(0.0, 1.0),
             "options": _EXACT}  # fmt: skip
    fewest = _solved(milp(np.ones(columns), constraints=[each], **setup))
    count = round(fewest.fun)
    same = LinearConstraint(np.ones((1, columns)), lb=count, ub=count)
    lightest = _solved(milp(mass_kg, constraints=[each, same], **setup))
    return [int(i) for i in np.flatnonzero(lightest.x > 0.5)]


def _solved(found: Any) -> Any:
    """The result, if it was proved to be the best."""
    if found.status != 0:
        msg = f"the spares could not be shared out in time ({found.message})"
        raise InputError(msg, field="spare")
    return found


def balance(mass_kg: Sequence[float], load_kg: Sequence[float]) -> tuple[list[int], float]:
    """Hand out things so that the most loaded person has least; who gets each, and that load.

    Parameters
    ----------
    mass_kg : sequence of float, length (k,)
        Things. [kg]
    load_kg : sequence of float, length (n,)
        What each person has already. [kg]
    """
    if not mass_kg:
        return [], max(load_kg)
    from scipy.optimize import Bounds, LinearConstraint, milp  # slow to load

    things, people = len(mass_kg), len(load_kg)
    width = things * people + 1  # x[thing, person] and the largest load
    once = np.zeros((things, width))
    loads = np.zeros((people, width))
    for i, mass in enumerate(mass_kg):
        once[i, i * people : (i + 1) * people] = 1.0
        loads[np.arange(people), i * people + np.arange(people)] = mass
    loads[:, -1] = -1.0
    cost = np.zeros(width)
    cost[-1] = 1.0
    kinds = np.ones(width)
    kinds[-1] = 0.0
    top = np.ones(width)
    top[-1] = np.inf
    found = milp(
        cost,
        integrality=kinds,
        bounds=Bounds(0.0, top),
        constraints=[
            LinearConstraint(once, lb=1.0, ub=1.0),
            LinearConstraint(loads, ub=-np.asarray(load_kg, dtype=float)),
        ],
        options=_EXACT,
    )
    _solved(found)
    who = found.x[:-1].reshape(things, people).argmax(axis=1)
    final = np.asarray(load_kg, dtype=float).copy()
    np.add.at(final, who, np.asarray(mass_kg, dtype=float))
    return [int(w) for w in who], float(final.max())
