"""The best plan there is; where it does not reach the end, how far, and what stands against it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from routeplan._stages.choice import (
    NAT,
    UNKNOWN_LANDING,
    DayStage,
    Itinerary,
    Setting,
    departure,
    limit_words,
    told,
)
from routeplan._stages.hops import Hops, StageWishes
from routeplan._stages.search import cheapest
from routeplan.limits import Verdict

__all__ = ["itinerary"]

_DAY = np.timedelta64(1, "D")


def _tells_nothing(_place: int) -> bool:
    """No stage tells its own nearest miss."""
    return False


def itinerary(
    hops: Hops,
    setting: Setting,
    wishes: StageWishes,
    run: np.datetime64,
    *,
    tells_miss: Callable[[int], bool] = _tells_nothing,
) -> Itinerary:
    """The cheapest plan; where there is none, the part as far along as possible, and why.

    Parameters
    ----------
    hops, setting, wishes
    run : datetime64
        When the forecast was run or begins, for when stages beyond its end can be judged.
    tells_miss : callable
        Whether the stage from a place says itself which launch comes nearest to good, so that
        it is not said a second time by another measure.
    """
    choice = cheapest(hops, wishes)
    if choice is not None:
        return told(hops, setting, wishes, choice)
    for last in range(hops.places - 2, 0, -1):
        choice = cheapest(hops, wishes, end=last) if hops.usable[last] else None
        if choice is not None:
            break
    done = _nothing() if choice is None else told(hops, setting, wishes, choice)
    return _with_rest(hops, setting, wishes, done, (run, tells_miss))


def _nothing() -> Itinerary:
    return Itinerary((), np.inf, 0, 0, 0.0, False, ())


def _with_rest(
    hops: Hops,
    setting: Setting,
    wishes: StageWishes,
    done: Itinerary,
    more: tuple[np.datetime64, Callable[[int], bool]],
) -> Itinerary:
    """The part that is known, the stages after it, and what stands against them."""
    run, tells_miss = more
    here = 0 if done.choice is None else done.choice.places[-1]
    ashore = done.stages[-1].arrive if done.stages else departure(hops, wishes)
    may = hops.launch >= ashore
    if done.stages:
        day = hops.day(hops.launch)
        may &= day > hops.day(np.array([ashore]))[0]
    open_end = wishes.home_by is None or wishes.home_by > hops.launch[-1]
    texts = _against(hops, setting, wishes, (here, tells_miss(here)), may)
    stages = list(done.stages)
    solar = (ashore + hops.day_shift).astype("datetime64[D]")
    first = solar + int(bool(done.stages))
    for n, j in enumerate(_rest(hops, here)):
        # The forecast must reach the end of that day.
        end = np.datetime64(first + n + 1, "ns") - hops.day_shift
        judged = np.datetime64(end - (hops.launch[-1] - run), "ns")
        # Where this forecast reaches the day, its length is not the cause, here nor for the rest.
        reached = (n > 0 and np.isnat(stages[-1].judged_from)) or judged <= run
        judged = NAT if reached else judged
        verdict = Verdict.UNKNOWN if open_end else Verdict.BEYOND
        at = here, j, len(stages) + 1
        stages.append(_ahead(hops, setting, at, verdict, judged if open_end else NAT))
        here = j
    length = sum(stage.length_m for stage in stages)
    return replace(done, stages=tuple(stages), length_m=length, complete=False, texts=texts)


def _rest(hops: Hops, here: int) -> list[int]:
    """Where the stages after a place end: at every stop that must be, and at the end."""
    return [j for j in range(here + 1, hops.places) if hops.must[j] or j == hops.places - 1]


def _ahead(
    hops: Hops,
    setting: Setting,
    at: tuple[int, int, int],
    verdict: Verdict,
    judged: np.datetime64,
) -> DayStage:
    """A stage that the plan does not reach: unknown, or beyond when no later day may do."""
    start, end, number = at
    return DayStage(
        number=number,
        start=setting.stops[start],
        end=setting.stops[end],
        length_m=float(hops.length_m[start, end]),
        launch=NAT,
        arrive=NAT,
        first_launch=NAT,
        last_launch=NAT,
        last_light=NAT,
        verdict=verdict,
        margin=np.nan,
        binding="",
        days_ashore=0,
        ashore_by="",
        landing=UNKNOWN_LANDING,
        judged_from=judged,
    )


def _against(
    hops: Hops,
    setting: Setting,
    wishes: StageWishes,
    place: tuple[int, bool],
    may: NDArray[np.bool_],
) -> tuple[str, ...]:
    """Sentences on what stands against going on from a place, and whether its stage says it."""
    here, told_there = place
    name = setting.stops[here].place.called
    late = _too_late(hops, wishes)
    if late:
        return (late,)
    after = range(here + 1, hops.places)
    full = [setting.stops[j].place.called for j in after if not hops.usable[j]]
    texts = [f"{', '.join(full)}: too small for the party."] if full else []
    verdict = hops.verdict[here, here + 1 :][:, may]
    if (verdict <= Verdict.CLOSE).any():
        texts.append(_passed_by(hops, setting, here, may))
    if told_there and hops.places == 2:
        return tuple(texts)
    if told_there:
        return (*texts, f"No launch from {name} is known to be good: see stage {here + 1}.")
    unknown = verdict == Verdict.UNKNOWN
    if unknown.any():
        texts.append(_unknown(hops, name, hops.binding[here, here + 1 :][:, may][unknown]))
    miss = _nearest_miss(hops, setting, here, may)
    texts += [miss] if miss else []
    return tuple(texts) or (f"The forecast ends before a launch from {name} on a later day.",)


def _unknown(hops: Hops, name: str, binding: NDArray[np.int16]) -> str:
    """What makes launches unknown, the most frequent first."""
    order = np.argsort(-np.bincount(binding, minlength=len(hops.names)), kind="stable")
    names = [hops.names[n] for n in order if (binding == n).any()]
    words = [
        "the forecast ends or has a gap before they arrive"
        if limit == "progress"
        else f"{limit_words(limit)} cannot be judged"
        for limit in names
    ]
    return f"Some launches from {name} are unknown: {', '.join(words)}."


def _too_late(hops: Hops, wishes: StageWishes) -> str:
    """Whether only the time to be home by stands against a plan."""
    if wishes.home_by is None:
        return ""
    free = cheapest(hops, replace(wishes, home_by=None, weights=wishes.weights))
    if free is None:
        return ""
    arrive = hops.arrive[free.places[-2], free.places[-1], free.launches[-1]]
    hours = float((arrive - wishes.home_by) / np.timedelta64(1, "h"))
    return (
        f"Only the time to be home by stands against a plan: the best one arrives {hours:.1f} h "
        "after it."
    )


def _passed_by(hops: Hops, setting: Setting, here: int, may: NDArray[np.bool_]) -> str:
    """Launches are good, but lead nowhere: nights that one may stay, or a stop not to pass."""
    place = setting.stops[here].place
    if place.nights is not None:
        return f"No launch is good within the {place.nights} nights allowed at {place.called}."
    good = (hops.verdict[here, here + 1 :][:, may] <= Verdict.CLOSE).any(axis=1)
    names = [setting.stops[here + 1 + int(j)].place.called for j in np.flatnonzero(good)]
    return f"From {place.called} good launches lead to {', '.join(names)} only, and no farther."


def _nearest_miss(hops: Hops, setting: Setting, here: int, may: NDArray[np.bool_]) -> str:
    """The launch that misses by the least, and by what; "" when none is beyond."""
    beyond = hops.verdict[here, here + 1 :][:, may] == Verdict.BEYOND
    beyond &= (hops.length_m[here, here + 1 :] > 0.0)[:, None]
    # That it is dark at night is no news where something else stands against the day.
    dark = hops.binding[here, here + 1 :][:, may] == hops.names.index("daylight")
    beyond = beyond & ~dark if (beyond & ~dark).any() else beyond
    margin = np.where(beyond, hops.margin[here, here + 1 :][:, may], -np.inf)
    if not np.isfinite(margin).any():  # launches in the dark are not looked at
        return ""
    row, column = np.unravel_index(int(margin.argmax()), margin.shape)
    limit = hops.names[hops.binding[here, here + 1 + int(row), np.flatnonzero(may)[column]]]
    names = setting.stops[here].place.called, setting.stops[here + 1 + int(row)].place.called
    share = 100.0 * -float(margin[row, column])
    return (
        f"Nearest to good is a launch from {names[0]} to {names[1]}: {limit_words(limit)} misses "
        f"the limit by {share:.0f} % of it."
    )
