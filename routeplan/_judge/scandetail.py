"""What a launch scan keeps of each launch to tell its findings from."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from routeplan._judge.findings import NOWHERE, Case, Finding, sentence
from routeplan._passage.marchfields import variable_of
from routeplan.limits import UNITS_SI, Judgement, Limits, Verdict, quantity_of
from routeplan.simulation import Passage, Path
from routeplan.waves import WaveSource

if TYPE_CHECKING:
    from routeplan.sampling import PointSeries

__all__ = ["Detail", "member_at_share", "rank_of_share"]

FloatArray = NDArray[np.float64]

_STEEP = 1.0 / 16.0  # assumption: a height of a sixteenth of the length and more is called steep
_STEEP_FROM_M = 0.3  # assumption: lower waves are not worth the word
_SEA_WORDS = {
    WaveSource.FORECAST: "",
    WaveSource.SHELTER: "local wind sea",
    WaveSource.LOCAL: "local wind sea",
    WaveSource.NO_SWELL: "local wind sea only, swell from outside is not in the forecast",
}

# What decides the speed, in the words of a sentence: without it nobody knows when one arrives.
_DRIVING = {
    variable_of("wind"): "wind",
    variable_of("wave_height"): "wave height",
    variable_of("current"): "current",
}


def member_at_share(
    verdict: NDArray[np.int8], margin: NDArray[np.floating], share: float
) -> NDArray[np.int64]:
    """Index of the member up to which, from the best, `share` of the members lie; (m, e) -> (m,).

    Members are ordered by verdict, then from large to small margin.
    """
    members = verdict.shape[1]
    rank = rank_of_share(share, members)
    order = np.lexsort((-np.nan_to_num(margin, nan=0.0), verdict), axis=1)
    return order[:, rank]


def rank_of_share(share: float, members: int) -> int:
    """Place, from 0, of the last member that a share needs: 90 % of 50 are 45, so 44."""
    return min(max(int(np.ceil(share * members - 1e-9)) - 1, 0), members - 1)


@dataclass(frozen=True, slots=True)
class _Worst:
    """Where a launch is worst against a limit: place of the leg in the stage, and the margin."""

    name: str
    verdict: Verdict
    leg: int
    margin: float


def _order(it: _Worst) -> tuple[int, int, float]:
    """Worst first; among equals land, then a passage that ends, then the least margin."""
    first = {"land": -1, "progress": 0}
    return -it.verdict, first.get(it.name, 1), it.margin if np.isfinite(it.margin) else 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Detail:
    """Passage and judgement of every launch; `member` (m,) is the one each is told from."""

    passage: Passage
    judged: Judgement
    path: Path
    limits: Limits
    numbers: NDArray[np.int64]
    member: NDArray[np.int64]
    coast_error_m: float
    series: PointSeries
    # What was told before, by launch and limit: every output asks for the same findings again.
    _told: dict[tuple[int, str], Finding] = field(default_factory=dict, repr=False)

    def told(self) -> dict[str, NDArray[Any]]:
        """Limit that decides each launch, its smallest margin and whose that is."""
        launches = self.member.size
        names = np.array(self.judged.names)
        index = np.arange(launches), slice(None), slice(None), self.member
        verdict = self.judged.verdict[index]  # (m, n, L)
        margin = self.judged.margin[index].astype(np.float64)
        of_limit = verdict.max(axis=1)
        worst = of_limit.max(axis=1)
        left = np.fmin.reduce(margin, axis=1)  # (m, L)
        rank = np.where(np.isnan(left), 0.0, left)
        # A passage that is not finished says more than what else was met or is unknown with it.
        rank = np.where(names == "progress", -np.inf, rank)
        decides = np.where(of_limit == worst[:, None], rank, np.inf).argmin(axis=1)
        binding = np.where(worst == Verdict.WITHIN, "", names[decides])
        tightest = np.where(np.isnan(left), np.inf, left)
        whose = names[tightest.argmin(axis=1)]
        smallest = tightest.min(axis=1)
        unknown = (worst == Verdict.UNKNOWN) | ~np.isfinite(smallest)
        return {
            "binding": binding.astype(np.str_),
            "margin": np.where(unknown, np.nan, smallest),
            "margin_limit": np.where(unknown, "", whose).astype(np.str_),
        }

    def legs_told(self) -> tuple[NDArray[np.str_], FloatArray]:
        """Limit that decides each leg of each launch, and its smallest margin; (m, n) each.

        With members each leg is told of the member at the place that the share asks for, so that
        limit and margin fit the verdict of the leg. The limit is that with the least margin
        among the ones of the worst verdict, "" when within; the margin is nan when unknown.
        """
        names = np.array(self.judged.names)
        of_member = self.judged.verdict.max(axis=2)  # (m, n, e)
        m, n, e = of_member.shape
        left = np.fmin.reduce(self.judged.margin, axis=2).astype(np.float64)
        share = self.limits.member_share
        member = member_at_share(of_member.reshape(-1, e), left.reshape(-1, e), share)
        take = member.reshape(m, n)[:, :, None, None]
        verdict = np.take_along_axis(self.judged.verdict, take, axis=3)[..., 0]  # (m, n, L)
        margin = np.take_along_axis(self.judged.margin, take, axis=3)[..., 0].astype(np.float64)
        worst = verdict.max(axis=2)
        rank = np.where(np.isnan(margin), 0.0, margin)
        rank = np.where(names == "progress", -np.inf, rank)
        decides = np.where(verdict == worst[..., None], rank, np.inf).argmin(axis=2)
        binding = np.where(worst == Verdict.WITHIN, "", names[decides]).astype(np.str_)
        smallest = np.fmin.reduce(margin, axis=2)
        return binding, np.where(worst == Verdict.UNKNOWN, np.nan, smallest)

    def findings(self, i: int) -> tuple[Finding, ...]:
        """Every judged limit for launch i, worst first."""
        return tuple(self._finding(i, place) for place in self._places(i))

    def telling(self, i: int) -> tuple[Finding, ...]:
        """Findings that say why: those that are not within, else the one nearest to its limit."""
        places = self._places(i)
        bad = [place for place in places if place.verdict is not Verdict.WITHIN]
        # What is unknown only because the passage ends before it needs no sentence of its own.
        ends = next((p.leg for p in places if p.name == "progress"), None)
        kept = [
            p
            for p in bad
            if p.verdict is not Verdict.UNKNOWN
            or p.name == "progress"
            or not _not_before(p.leg, ends)
        ]
        return tuple(self._finding(i, place) for place in (kept or places[:1]))

    def reasons(self, i: int) -> tuple[str, ...]:
        """Sentences on launch i, worst first."""
        return (*self._members(i), *(f.text for f in self.telling(i)))

    def _places(self, i: int) -> list[_Worst]:
        """Where launch i is worst against each limit that there is something to tell of."""
        member = int(self.member[i])
        verdict = self.judged.verdict[i, :, :, member]  # (n, L)
        margin = self.judged.margin[i, :, :, member].astype(np.float64)
        worst = verdict.max(axis=0)
        rank = np.where(verdict == worst, np.where(np.isnan(margin), 0.0, margin), np.inf)
        legs = rank.argmin(axis=0)
        found = [
            _Worst(name, Verdict(int(worst[row])), int(legs[row]), float(margin[legs[row], row]))
            for row, name in enumerate(self.judged.names)
        ]
        silent = {"progress": Verdict.CLOSE, "current": Verdict.CLOSE, "land": Verdict.WITHIN}
        return sorted((w for w in found if w.verdict > silent.get(w.name, -1)), key=_order)

    def _members(self, i: int) -> tuple[str, ...]:
        count = self.passage.members
        if count == 1:
            return ()
        good = int((self.judged.verdict[i].max(axis=(0, 1)) <= Verdict.CLOSE).sum())
        return (f"{good} of {count} forecast members stay within the limits.",)

    def _finding(self, i: int, worst: _Worst) -> Finding:
        if (i, worst.name) not in self._told:
            self._told[i, worst.name] = self._tell(i, worst)
        return self._told[i, worst.name]

    def _tell(self, i: int, worst: _Worst) -> Finding:
        name, verdict, leg = worst.name, worst.verdict, worst.leg
        value, limit = self._value(i, leg, name, worst.margin)
        step = self._step(i, leg, name)
        known = step >= 0
        place = (self.path.longitude[step], self.path.latitude[step]) if known else (np.nan,) * 2
        where = f"on leg {self.numbers[leg]}"
        note = self._note(i, leg, name, verdict)
        case = Case(verdict, value, limit, where, self.coast_error_m, note)
        dark = name == "daylight" and verdict is Verdict.BEYOND and value + limit < 0.0
        entered = np.datetime64(self.passage.enter[i, leg, int(self.member[i])])
        return Finding(
            limit=name,
            verdict=verdict,
            value=value,
            limit_value=limit,
            unit=UNITS_SI[name],
            margin=worst.margin,
            leg=int(self.numbers[leg]),
            when=entered if dark else self._when(i, leg, name, verdict),
            longitude=float(place[0]),
            latitude=float(place[1]),
            text=sentence(name, case),
        )

    def _note(self, i: int, leg: int, name: str, verdict: Verdict) -> str:
        """Where a value comes from, or why there is none."""
        unknown = verdict is Verdict.UNKNOWN
        if name == "progress":
            return self._stopped_by(i, leg)[0] if unknown else ""
        if name == "wave_height" and not (unknown and np.isnan(self._value(i, leg, name, 0.0)[0])):
            return self._sea(i, leg, verdict)
        variable = _variable(name)
        if not unknown or variable is None:
            return ""
        steps = np.flatnonzero(self.path.leg == leg)
        if variable not in self.series.values:
            return NOWHERE
        lacking = np.isnan(self.series.values[variable][steps]).any(axis=(1, 2))
        words = self.series.reason(variable, int(steps[np.argmax(lacking)]))
        # Which hours they are, the moment of the finding says.
        return "" if "at some hours" in words else words

    def _stopped_by(self, i: int, leg: int) -> tuple[str, np.datetime64 | None]:
        """What the forecast lacks first on a leg that is never finished, and from when.

        Nothing, and the end of the forecast, where it only ends.
        """
        found = []
        for variable, words in _DRIVING.items():
            since = self._missing_from(i, leg, variable)
            if since is not None:
                found.append((since, words))
        if not found:
            return "", np.datetime64(self.series.time[-1], "ns")
        since, words = min(found, key=lambda it: it[0])
        return words, since

    def _missing_from(self, i: int, leg: int, variable: str) -> np.datetime64 | None:
        """From when on a leg the forecast gives no value; None where it gives all."""
        values = self.series.values.get(variable)
        if values is None:
            return None
        member = int(self.member[i])
        enter = self.passage.enter[i, leg, member]
        leave = self.passage.leave[i, leg, member]
        time = self.series.time
        begin = self.passage.launch[i] if np.isnat(enter) else enter
        end = time[-1] if np.isnat(leave) else leave
        on_leg = values[self.path.leg == leg]
        lacking = np.isnan(on_leg[..., min(member, on_leg.shape[2] - 1)]).any(axis=0)
        # A value between two hours needs both.
        before = np.concatenate([time[:1], time[:-1]])
        after = np.concatenate([time[1:], time[-1:]])
        met = lacking & (before <= end) & (after >= begin)
        if not met.any():
            return None
        return np.datetime64(max(before[int(np.argmax(met))], begin), "ns")

    def _sea(self, i: int, leg: int, verdict: Verdict) -> str:
        """Which sea a wave height is of, whether it is steep, or why it is unknown."""
        cell = i, leg, int(self.member[i])
        source = self.passage.quantity("wave_source")[cell]
        step = self._step(i, leg, "wave_height")
        variable = variable_of("wave_height")
        if not np.isfinite(source) or step < 0:
            return ""
        words = _SEA_WORDS[WaveSource(int(np.ceil(source - 1e-6)))]
        if verdict is Verdict.UNKNOWN:
            return words
        far = self.series.sea_cell_m.get(variable)
        if not words and far is not None and far[step] > 0.0:
            words = self.series.reason(variable, step)
        high = self.passage.wave_height_m[cell] >= _STEEP_FROM_M
        steep = high and self.passage.quantity("steepness")[cell] > _STEEP
        return ", ".join([w for w in (words, "steep" if steep else "") if w])

    def _value(self, i: int, leg: int, name: str, margin: float) -> tuple[float, float]:
        """Worst value of a limit on a leg and the limit itself, SI."""
        member = int(self.member[i])
        limit = self.limits.value(name)
        quantity = quantity_of(name)
        if quantity is not None:
            return float(self.passage.quantity(quantity)[i, leg, member]), limit
        if name == "offshore":
            return float(self.path.leg_offshore_m[leg]), limit
        if name == "land" and self.path.leg_land_m is not None:
            return float(self.path.leg_land_m[leg]), limit
        spent = self.passage.leave[i, leg, member] - self.passage.launch[i]
        spent_s = np.nan if np.isnat(spent) else spent / np.timedelta64(1, "s")
        if name == "time_on_water":
            return float(spent_s), limit
        if name == "daylight":
            return margin * max(float(spent_s), 3600.0), limit
        return np.nan, np.nan

    def _step(self, i: int, leg: int, name: str) -> int:
        """Step of the path where a limit is worst on a leg; -1 where that has no place."""
        quantity = quantity_of(name)
        member = int(self.member[i])
        if quantity is not None:
            place = self.passage.place.get(quantity)
            return -1 if place is None else int(place[i, leg, member])
        steps = np.flatnonzero(self.path.leg == leg)
        if name == "offshore" and np.isfinite(self.path.offshore_m[steps]).any():
            return int(steps[np.nanargmax(self.path.offshore_m[steps])])
        return int(steps[-1])

    def _when(self, i: int, leg: int, name: str, verdict: Verdict) -> np.datetime64 | None:
        """When a limit is worst on a leg; where it is unknown, from when on the data lack."""
        member = int(self.member[i])
        quantity = quantity_of(name)
        if verdict is Verdict.UNKNOWN and name == "progress":
            return self._stopped_by(i, leg)[1]
        variable = _variable(name)
        if verdict is Verdict.UNKNOWN and variable is not None:
            return self._missing_from(i, leg, variable)
        if quantity is not None and quantity in self.passage.when_s:
            seconds = float(self.passage.when_s[quantity][i, leg, member])
            if not np.isfinite(seconds):
                return None
            moment = self.passage.launch[i] + np.timedelta64(round(seconds * 1e3), "ms")
        elif name in ("daylight", "time_on_water"):
            moment = self.passage.leave[i, leg, member]
        else:
            moment = self.passage.enter[i, leg, member]
        return None if np.isnat(moment) else np.datetime64(moment, "ns")


def _variable(name: str) -> str | None:
    """Variable of the forecast that a limit is judged from; None where it is another thing."""
    quantity = "current" if name == "current" else quantity_of(name)
    return None if quantity is None else variable_of(quantity)


def _not_before(leg: int | None, ends: int | None) -> bool:
    return leg is not None and ends is not None and leg >= ends
