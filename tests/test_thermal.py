"""Wind chill against the published chart."""

import numpy as np
import pytest

from routeplan.thermal import wind_chill_msc2001, wind_chill_nws2001
from routeplan.units import MILE_M, ZERO_CELSIUS_K

# National Weather Service wind chill chart, °F by mph, as printed at
# https://www.snowdaycalculate.com/wind-chill-chart (rows 40 to -20) and
# http://home1.gte.net/res09v44/windchill.htm (rows -25 to -45), both accessed 2026-11-25. The
# latter has two wrong row labels between -5 and -20, which are not used here.
WINDS_MPH = np.arange(5, 65, 5)
CHART = {
    40: (36, 34, 32, 30, 29, 28, 28, 27, 26, 26, 25, 25),
    35: (31, 27, 25, 24, 23, 22, 21, 20, 19, 19, 18, 17),
    30: (25, 21, 19, 17, 16, 15, 14, 13, 12, 12, 11, 10),
    25: (19, 15, 13, 11, 9, 8, 7, 6, 5, 4, 4, 3),
    20: (13, 9, 6, 4, 3, 1, 0, -1, -2, -3, -3, -4),
    15: (7, 3, 0, -2, -4, -5, -7, -8, -9, -10, -11, -11),
    10: (1, -4, -7, -9, -11, -12, -14, -15, -16, -17, -18, -19),
    5: (-5, -10, -13, -15, -17, -19, -21, -22, -23, -24, -25, -26),
    0: (-11, -16, -19, -22, -24, -26, -27, -29, -30, -31, -32, -33),
    -5: (-16, -22, -26, -29, -31, -33, -34, -36, -37, -38, -39, -40),
    -10: (-22, -28, -32, -35, -37, -39, -41, -43, -44, -45, -46, -48),
    -15: (-28, -35, -39, -42, -44, -46, -48, -50, -51, -52, -54, -55),
    -20: (-34, -41, -45, -48, -51, -53, -55, -57, -58, -60, -61, -62),
    -25: (-40, -47, -51, -55, -58, -60, -62, -64, -65, -67, -68, -69),
    -30: (-46, -53, -58, -61, -64, -67, -69, -71, -72, -74, -75, -76),
    -35: (-52, -59, -64, -68, -71, -73, -76, -78, -79, -81, -82, -84),
    -40: (-57, -66, -71, -74, -78, -80, -82, -84, -86, -88, -89, -91),
    -45: (-63, -72, -77, -81, -84, -87, -89, -91, -93, -95, -97, -98),
}


def fahrenheit_to_kelvin(value):
    return (np.asarray(value, dtype=float) - 32.0) / 1.8 + ZERO_CELSIUS_K


def test_every_cell_of_the_weather_services_chart():
    temperature = np.array(list(CHART), dtype=float)
    chart = np.array(list(CHART.values()))
    wind = WINDS_MPH * MILE_M / 3600.0
    felt = wind_chill_nws2001(fahrenheit_to_kelvin(temperature)[:, None], wind[None, :])
    assert np.array_equal(np.round((felt - ZERO_CELSIUS_K) * 1.8 + 32.0), chart)


@pytest.mark.parametrize(
    ("celsius", "km_h", "expected"),
    # Figures worked out by hand from the metric formula of the Meteorological Service of Canada,
    # 2001 (ISO 11079:2007); -20 °C at 30 km/h is -33 in its rounded table (from memory).
    [(-10, 20, -17.86), (-20, 30, -32.57), (0, 40, -7.40), (-5, 50, -14.96), (5, 20, 1.07)],
)
def test_metric_form(celsius, km_h, expected):
    felt = wind_chill_msc2001(celsius + ZERO_CELSIUS_K, km_h / 3.6) - ZERO_CELSIUS_K
    assert felt == pytest.approx(expected, abs=0.005)


def test_outside_its_range_the_air_temperature_is_felt():
    warm, still = ZERO_CELSIUS_K + 11.0, ZERO_CELSIUS_K - 5.0
    assert wind_chill_msc2001(warm, 12.0) == warm
    assert wind_chill_msc2001(still, 1.0) == still
    assert wind_chill_nws2001(still, 1.0) == still


def test_unknown_stays_unknown():
    felt = wind_chill_msc2001([270.0, np.nan, 300.0, np.nan], [np.nan, 5.0, np.nan, np.nan])
    assert np.isnan(felt).all()


def test_both_forms_agree_within_their_rounding():
    temperature = ZERO_CELSIUS_K + np.arange(-40.0, 10.0, 2.5)[:, None]
    wind = np.arange(2.0, 25.0, 1.0)[None, :]
    difference = wind_chill_msc2001(temperature, wind) - wind_chill_nws2001(temperature, wind)
    assert np.abs(difference).max() < 0.1
