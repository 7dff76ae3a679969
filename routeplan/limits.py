"""The user's limits, and what each launch is judged to be against them.

    limits = read_limits("limits.toml")                       # or Limits(wind_ms=5.0)
    judgement = judge(passage, path, limits, daylight=(spells_start, spells_end), ...)

Verdicts are ordered within < close < unknown < beyond and the worst wins: something unknown is
never hidden by something good, and beyond is never softened by something unknown.
"""

from __future__ import annotations

from routeplan._judge.judging import Judgement, judge, without_swell
from routeplan._judge.limitvalues import (
    LIMIT_FIELDS,
    UNITS_SI,
    Limits,
    Verdict,
    quantity_of,
    read_limits,
)

__all__ = [
    "LIMIT_FIELDS",
    "UNITS_SI",
    "Judgement",
    "Limits",
    "Verdict",
    "judge",
    "quantity_of",
    "read_limits",
    "without_swell",
]
