"""Days of stages some of whose launches the user picked, whatever their verdict."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from routeplan._stages.ahead import itinerary
from routeplan._stages.choice import DayStage, Itinerary, stage_told, told
from routeplan._stages.hops import Hops, StageWishes
from routeplan._stages.scans import GivenStages, hops_of, proposed
from routeplan._stages.search import Choice
from routeplan.errors import InputError
from routeplan.limits import Verdict

__all__ = ["days_with_picks"]


def days_with_picks(
    given: GivenStages, wishes: StageWishes, picked: Mapping[int, np.datetime64]
) -> Itinerary:
    """Day and launch of every stage around those that are picked.

    Parameters
    ----------
    given, wishes
    picked : mapping of int to datetime64
        By number of the stage, from 1. Each is moved to the launch tried nearest to it and taken
        whatever its verdict, which is told as it is; the rest is the cheapest plan around it.

    Raises
    ------
    InputError
        For a stage that there is not, a time that was not tried, or a launch before the night
        after the stage before is over.
    """
    hops = hops_of(given, wishes)
    at = {number: _index(hops, number, when) for number, when in picked.items()}
    _refuse_disorder(hops, wishes, at)
    if len(given.scans) == 1:
        alone = told(hops, given, wishes, Choice(np.nan, np.nan, (0, 1), (at[1],)))
        return _marked(alone, hops, given, at)
    eased = _eased(hops, at)
    found = itinerary(eased, given, wishes, hops.launch[0])
    if found.choice is None:
        return _marked(found, hops, given, at)
    launches = proposed(given, eased, wishes, found.choice)
    better = told(hops, given, wishes, replace(found.choice, launches=launches))
    rest = found.stages[len(better.stages) :]
    whole = replace(found, stages=(*better.stages, *rest), choice=better.choice)
    return _marked(whole, hops, given, at)


def _index(hops: Hops, number: int, when: np.datetime64) -> int:
    if not 1 <= number < hops.places:
        msg = f"a launch is picked for stage {number}: the trip has stages 1 to {hops.places - 1}"
        raise InputError(msg, field="picked", value=number)
    away = np.abs(hops.launch - when.astype("datetime64[ns]"))
    nearest = int(away.argmin()) if not np.isnat(when) else 0
    step = np.diff(hops.launch).max() if hops.launch.size > 1 else np.timedelta64(0, "ns")
    if np.isnat(when) or away[nearest] > step:
        first, last = (np.datetime_as_string(t, unit="m") for t in hops.launch[[0, -1]])
        msg = (
            f"the launch picked for stage {number}, {np.datetime_as_string(when, unit='m')}Z, was "
            f"not tried: allowed are {first}Z to {last}Z"
        )
        raise InputError(msg, field="picked", value=number)
    return nearest


def _refuse_disorder(hops: Hops, wishes: StageWishes, at: Mapping[int, int]) -> None:
    """Refuse a launch before the stage picked before it has arrived and had its night."""
    night = np.timedelta64(round(wishes.night_s * 1e9), "ns")
    for number, t in at.items():
        before = at.get(number - 1)
        if before is None:
            continue
        arrive = hops.arrive[number - 2, number - 1, before]
        earliest = hops.launch[before] if np.isnat(arrive) else arrive + night
        if hops.launch[t] < earliest:
            msg = (
                f"the launch picked for stage {number} is too early: stage {number - 1} and the "
                f"night after it last until {np.datetime_as_string(earliest, unit='m')}Z"
            )
            raise InputError(msg, field="picked", value=number)


def _eased(hops: Hops, at: Mapping[int, int]) -> Hops:
    """The same, but each picked stage has the picked launch alone, and that is good."""
    verdict, margin = hops.verdict.copy(), hops.margin.copy()
    for number, t in at.items():
        way = number - 1, number
        verdict[way], margin[way] = Verdict.BEYOND, -np.inf
        verdict[(*way, t)], margin[(*way, t)] = Verdict.WITHIN, 1.0
    return replace(hops, verdict=verdict, margin=margin)


def _marked(days: Itinerary, hops: Hops, given: GivenStages, at: Mapping[int, int]) -> Itinerary:
    """The plan with every pick in its place and marked, and its verdict said."""
    stages: list[DayStage] = list(days.stages)
    texts = list(days.texts)
    for number, t in sorted(at.items()):
        stage = stages[number - 1]
        if stage.launch != hops.launch[t]:
            here = (number - 1, number - 1, number, t)
            stage = stage_told(hops, given, here, hops.launch[t])
        stages[number - 1] = replace(stage, picked=True)
        if stage.verdict > Verdict.CLOSE:
            word = stage.verdict.name.lower()
            texts.append(f"The launch picked for stage {number} is {word} by the limits.")
    good = all(stage.verdict <= Verdict.CLOSE for stage in stages)
    return replace(days, stages=tuple(stages), texts=tuple(texts), complete=days.complete and good)
