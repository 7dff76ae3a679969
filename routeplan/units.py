"""Conversions at the human edge. Inside, everything is SI, degrees and UTC.

References
----------
The international nautical mile is 1852 m and the knot one such mile per hour
(SI Brochure, 9th edition, 2019, table 8 and its notes).
"""

from __future__ import annotations

__all__ = ["FOOT_M", "HOUR_S", "KNOT_MS", "NAUTICAL_MILE_M", "ZERO_CELSIUS_K"]

NAUTICAL_MILE_M = 1852.0  # exact, SI Brochure 9th ed.
KNOT_MS = NAUTICAL_MILE_M / 3600.0  # exact
FOOT_M = 0.3048  # exact, international foot (1959 agreement)
HOUR_S = 3600.0
ZERO_CELSIUS_K = 273.15  # exact, SI Brochure 9th ed.
