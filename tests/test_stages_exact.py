"""The choice of stages against an exhaustive search, and its properties."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from routeplan._stages.hops import Hops
from routeplan._stages.search import cheapest
from routeplan.stops import StageWeights, StageWishes

MIDNIGHT = np.datetime64("2026-06-21T00:00", "ns")
HOUR = np.timedelta64(1, "h").astype("timedelta64[ns]")
NAT = np.datetime64("NaT", "ns")


def random_hops(rng, places=None, days=None):
    """Small made-up trips: some stages within, close, unknown or beyond, some places unusable."""
    n = places or int(rng.integers(2, 6))
    days = days or int(rng.integers(1, 5))
    hours = np.sort(rng.choice(24 * days, size=min(3 * days, 12), replace=False))
    launch = MIDNIGHT + hours * HOUR
    shape = (n, n, launch.size)
    later = np.triu(np.ones((n, n), bool), 1)[:, :, None]
    verdict = np.where(later, rng.choice([0, 0, 0, 1, 2, 3], size=shape), 3).astype(np.int8)
    margin = np.where(verdict == 0, rng.uniform(0.1, 1.2, shape), rng.uniform(0.0, 0.1, shape))
    margin = np.where(verdict == 2, np.nan, np.where(verdict == 3, -margin, margin))
    spent = rng.integers(1, 16, size=shape) * HOUR
    arrive = np.where(verdict == 2, NAT, launch + spent)
    must = rng.uniform(size=n) < 0.1
    must[[0, -1]] = False
    usable = rng.uniform(size=n) < 0.9
    usable[-1] = True
    at = np.sort(rng.uniform(0, 80_000, n))
    return Hops(
        launch=launch,
        day_shift=np.timedelta64(int(rng.integers(-6, 7)), "h"),
        verdict=verdict,
        margin=margin,
        arrive=arrive,
        binding=np.zeros(shape, np.int16),
        names=("wind",),
        length_m=np.maximum(at[None, :] - at[:, None], 0.0),
        nights=rng.choice([1, 2, 99], size=n),
        usable=usable,
        must=must,
    )


def random_wishes(rng, hops):
    depart = None if rng.uniform() < 0.5 else MIDNIGHT + int(rng.integers(0, 20)) * HOUR
    home = None if rng.uniform() < 0.5 else hops.launch[-1] + int(rng.integers(-20, 20)) * HOUR
    if depart is not None and home is not None and home <= depart:
        home = None
    weights = StageWeights()
    if rng.uniform() < 0.5:
        weights = StageWeights(
            margin=float(rng.choice([0.0, 1.0, 10.0])),
            day=float(rng.choice([0.0, 1.0, 3.0])),
            km=float(rng.choice([0.0, 0.1])),
            spare=float(rng.choice([0.0, 1.0])),
            step=float(rng.choice([0.05, 0.1, 0.3])),
            enough=float(rng.choice([0.2, 1.0])),
        )
    return StageWishes(
        depart=depart, home_by=home, night_s=float(rng.integers(0, 12)) * 3600, weights=weights
    )


def every_plan(hops, wishes):
    """All plans there are, told from the definitions and from nothing else."""
    depart = hops.launch[0] if wishes.depart is None else wishes.depart
    yield from onward(hops, wishes, 0, depart, None)


def onward(hops, wishes, i, ready, before):
    """All plans from place i on, launched at `ready` or later, arrived there at `before`."""
    end = hops.length_m.shape[0] - 1
    night = np.timedelta64(int(wishes.night_s), "s")
    for t, launch in enumerate(hops.launch):
        if launch < ready or not rested(hops, i, launch, before):
            continue
        for j in range(i + 1, end + 1):
            arrive = hops.arrive[i, j, t]
            if not possible(hops, i, j, t):
                continue
            if j < end:
                for rest in onward(hops, wishes, j, arrive + night, arrive):
                    yield [(i, j, t), *rest]
            elif wishes.home_by is None or arrive <= wishes.home_by:
                yield [(i, j, t)]


def day_of(hops, when):
    return (when + hops.day_shift).astype("datetime64[D]").astype(int)


def rested(hops, i, launch, before):
    if before is None:
        return True
    return 1 <= day_of(hops, launch) - day_of(hops, before) <= hops.nights[i]


def possible(hops, i, j, t):
    passed = hops.must[i + 1 : j].any() or not hops.usable[j]
    return not passed and hops.verdict[i, j, t] <= 1 and not np.isnat(hops.arrive[i, j, t])


def cost_of(plan, hops, wishes):
    """Cost of a plan, told from the equation of `StageWeights`."""
    w = wishes.weights
    margins = [float(hops.margin[stage]) for stage in plan]
    smallest = min(max(min(min(margins), w.enough), 0.0), 1.0)
    steps = int(smallest / w.step + 1e-9)
    depart = hops.launch[0] if wishes.depart is None else wishes.depart
    days = [day_of(hops, when) for when in (depart, hops.arrive[plan[-1]])]
    length = sum(hops.length_m[i, j] for i, j, _ in plan) / 1000.0
    spare = sum(1.0 - min(max(m, 0.0), 1.0) for m in margins)
    total = w.margin * (1.0 - steps * w.step) + w.day * (days[1] - days[0] + 1)
    return total + w.km * length + w.spare * spare


def stages_of(choice):
    return list(zip(choice.places[:-1], choice.places[1:], choice.launches, strict=True))


def test_costs_no_more_than_any_plan_there_is():
    """200 random cases; the exhaustive search knows only the definitions."""
    solved = unsolved = 0
    for seed in range(200):
        rng = np.random.default_rng(seed)
        hops = random_hops(rng)
        wishes = random_wishes(rng, hops)
        plans = list(every_plan(hops, wishes))
        found = cheapest(hops, wishes)
        if not plans:
            assert found is None, seed
            unsolved += 1
            continue
        assert found is not None, seed
        least = min(cost_of(plan, hops, wishes) for plan in plans)
        assert found.cost == pytest.approx(least, rel=1e-12), seed
        assert stages_of(found) in plans, seed
        assert cost_of(stages_of(found), hops, wishes) == pytest.approx(least, rel=1e-12), seed
        solved += 1
    assert solved > 80
    assert unsolved > 20


def cost_or_none(hops, wishes):
    found = cheapest(hops, wishes)
    return np.inf if found is None else found.cost


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_wider_limits_never_make_the_plan_dearer(seed):
    """A wider limit turns verdicts for the better and margins up, each by as much as it likes."""
    rng = np.random.default_rng(seed)
    hops = random_hops(rng)
    wishes = random_wishes(rng, hops)
    gain = rng.uniform(0.0, 0.5, hops.margin.shape)
    margin = hops.margin + gain
    better = np.where(margin >= 0.1, 0, 1).astype(np.int8)
    known = (hops.verdict != 2) & (margin >= 0.0)
    verdict = np.where(known, np.minimum(hops.verdict, better), hops.verdict)
    wider = replace(hops, margin=margin, verdict=verdict.astype(np.int8))
    assert cost_or_none(wider, wishes) <= cost_or_none(hops, wishes) + 1e-9
    later = replace(wishes, night_s=0.0, depart=None, home_by=None)
    least = replace(wishes, depart=None, home_by=None)
    assert cost_or_none(hops, later) <= cost_or_none(hops, least) + 1e-9


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_one_more_camp_never_makes_the_plan_dearer(seed):
    rng = np.random.default_rng(seed)
    hops = random_hops(rng, places=5)
    wishes = random_wishes(rng, hops)
    extra = int(rng.integers(1, 4))
    hops = replace(hops, must=np.where(np.arange(5) == extra, False, hops.must))
    kept = [i for i in range(5) if i != extra]
    pairs = np.ix_(kept, kept)
    fewer = replace(
        hops,
        **{n: getattr(hops, n)[pairs] for n in ("verdict", "margin", "arrive", "binding")},
        length_m=hops.length_m[pairs],
        nights=hops.nights[kept],
        usable=hops.usable[kept],
        must=hops.must[kept],
    )
    assert cost_or_none(hops, wishes) <= cost_or_none(fewer, wishes) + 1e-9
