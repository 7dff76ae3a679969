"""The launches of a stage in compact arrays: what a script draws and says of each of them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from routeplan._html.times import minutes_of
from routeplan._plan.lineweather import line_weather
from routeplan._show.answers import limit_words
from routeplan._show.wording import plain
from routeplan.limits import Verdict
from routeplan.units import KNOT_MS

if TYPE_CHECKING:
    from routeplan.plan import StagePlan
    from routeplan.sun import DaylightSpells
    from routeplan.windows import LaunchScan

__all__ = ["LETTERS", "stage_document"]

LETTERS = {
    Verdict.WITHIN: "W",
    Verdict.CLOSE: "C",
    Verdict.UNKNOWN: "U",
    Verdict.BEYOND: "B",
}
"""The letter of each verdict, wherever there is no room for the word."""

_TEXTS = 5  # sentences told of one launch; the JSON document has all

# What is told of each leg of a launch: key, field of the scan, by what it is multiplied.
_COLUMNS = (
    ("wind", "wind_ms", 10.0 / KNOT_MS),
    ("gust", "gust_ms", 10.0 / KNOT_MS),
    ("head", "headwind_ms", 10.0 / KNOT_MS),
    ("cross", "crosswind_ms", 10.0 / KNOT_MS),
    ("wave", "wave_height_m", 100.0),
    ("speed", "speed_over_ground_ms", 36.0),
)


def stage_document(stage: StagePlan) -> dict[str, Any]:
    """Launches, weather and light of one stage.

    Times are minutes since 1970 UTC, `enter`, `leave` and `arrive` minutes after the launch; wind
    in tenths of a knot, waves in cm, speed in tenths of km/h, margins in thousandths; verdicts
    one letter each; null is unknown.
    """
    what = stage.stage
    out: dict[str, Any] = {
        "number": what.number,
        "from": plain(what.start.name),
        "to": plain(what.end.name),
        "legs": [leg.number for leg in what.legs],
    }
    if stage.scan is None:
        return out
    texts = _Texts()
    launches = {**_launches(stage.scan, texts), "proposed": stage.best}
    return {
        **out,
        **launches,
        "texts": texts.all,
        "leg": _legs(stage.scan),
        "weather": _weather(stage.scan),
        "light": _light(stage.daylight),
        "dusk": _light(
            None if stage.scan.outing.daylight is None else stage.scan.outing.daylight[1]
        ),
        "windows": [
            {
                "first": _minute(w.first_launch),
                "last": _minute(w.last_launch),
                "verdict": LETTERS[Verdict(w.verdict)],
            }
            for w in stage.windows
        ],
    }


class _Texts:
    """Sentences, each kept once."""

    def __init__(self) -> None:
        self.all: list[str] = []
        self._at: dict[str, int] = {}

    def index(self, text: str) -> int:
        if text not in self._at:
            self._at[text] = len(self.all)
            self.all.append(plain(text))
        return self._at[text]


def _launches(scan: LaunchScan, texts: _Texts) -> dict[str, Any]:
    launch = minutes_of(scan.launch)
    return {
        "launch": launch,
        "arrive": _after(scan.arrive, scan.launch),
        "verdict": _letters(scan.verdict),
        "binding": [texts.index(limit_words(str(b))) if b else None for b in scan.binding],
        "margin": _scaled(scan.margin, 1000.0),
        "tightest": [texts.index(limit_words(str(b))) if b else None for b in scan.margin_limit],
        "robust": None if scan.robust is None else "".join("01"[bool(r)] for r in scan.robust),
        "share": None if scan.share_within is None else _scaled(scan.share_within, 1000.0),
        "why": [
            [[texts.index(text), minute] for text, minute in _reasons(scan, i)]
            for i in range(scan.launch.size)
        ],
    }


def _reasons(scan: LaunchScan, i: int) -> list[tuple[str, int | None]]:
    """Reasons of a launch, and when each is worst where it belongs to a moment."""
    when = {f.text: f.when for f in scan.telling(i)}
    return [(text, _minute(when.get(text))) for text in scan.reasons(i)[:_TEXTS]]


def _legs(scan: LaunchScan) -> dict[str, Any]:
    binding, margin = scan.legs_told()
    names = sorted({str(b) for b in np.unique(binding) if b})
    place = {name: i for i, name in enumerate(names)}
    columns: dict[str, Any] = {
        key: [_scaled(row, scale) for row in getattr(scan, name).T] for key, name, scale in _COLUMNS
    }
    return {
        **columns,
        "verdict": [_letters(row) for row in scan.leg_verdict.T],
        "limits": [limit_words(name) for name in names],
        "binding": [[place.get(str(b)) for b in row] for row in binding.T],
        "margin": [_scaled(row, 1000.0) for row in margin.T],
        "enter": [_after(row, scan.launch) for row in scan.enter.T],
        "leave": [_after(row, scan.launch) for row in scan.leave.T],
    }


def _weather(scan: LaunchScan) -> dict[str, Any]:
    told = line_weather(scan)
    return {
        "time": minutes_of(told.time),
        "wind": _scaled(told.wind_ms, 10.0 / KNOT_MS),
        "gust": _scaled(told.gust_ms, 10.0 / KNOT_MS),
        "wave": _scaled(told.wave_height_m, 100.0),
    }


def _light(spells: DaylightSpells | None) -> list[list[int | None]] | None:
    if spells is None:
        return None
    return [
        list(pair) for pair in zip(minutes_of(spells.start), minutes_of(spells.end), strict=True)
    ]


def _letters(verdicts: NDArray[np.int8]) -> str:
    return "".join(LETTERS[Verdict(int(v))] for v in verdicts)


def _scaled(values: NDArray[np.float64], scale: float) -> list[int | None]:
    scaled = np.asarray(values, dtype=float) * scale
    known = np.isfinite(scaled)
    whole = np.where(known, np.round(scaled), 0.0).astype(np.int64).tolist()
    return [v if k else None for v, k in zip(whole, known.tolist(), strict=True)]


def _after(times: NDArray[np.datetime64], launch: NDArray[np.datetime64]) -> list[int | None]:
    return [
        None if then is None or at is None else then - at
        for then, at in zip(minutes_of(times), minutes_of(launch), strict=True)
    ]


def _minute(when: np.datetime64 | None) -> int | None:
    return None if when is None else minutes_of(np.asarray([when]))[0]
