"""Quantities as people write them."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from routeplan.errors import InputError
from routeplan.units import KNOT_MS, UNITS, parse_quantity, range_words, to_celsius, to_knots


@pytest.mark.parametrize(
    ("text", "dimension", "expected"),
    [
        ("12 kn", "speed", 12 * 1852 / 3600),  # knot: SI Brochure 9th ed., table 8
        ("12kt", "speed", 12 * 1852 / 3600),
        ("36 km/h", "speed", 10.0),
        ("10 mph", "speed", 4.4704),  # exact, from the international foot
        (" 5.5 m/s ", "speed", 5.5),
        ("1000 m", "length", 1000.0),
        ("1.5 nm", "length", 2778.0),
        ("3 ft", "length", 0.9144),
        ("30 min", "time", 1800.0),
        ("1.5h", "time", 5400.0),
        ("-10 °C", "temperature", 263.15),
        ("50 °F", "temperature", 283.15),
        ("90 %", "share", 0.9),
        ("500 J/kg", "specific energy", 500.0),
        ("1e3 m", "length", 1000.0),
        (".5 m", "length", 0.5),
        ("0.84 m²", "area", 0.84),
        ("12 knots", "speed", 12 * 1852 / 3600),
        ("82 in", "length", 2.0828),  # 16 CFR 500.19: 1 inch = 2.54 cm exactly, acc. 2026-11-25
        ("210 cm", "length", 2.1),
        # 1 lb = 0.45359237 kg exactly: agreement of 1959, Federal Register 24, 5348
        ("165 lb", "mass", 74.84274105),
        ("8 oz", "mass", 0.226796185),
        ("1 US gal", "volume", 3.785411784e-3),  # NIST Handbook 44, appendix C, section 4
        ("1 imp gal", "volume", 4.54609e-3),  # NIST Handbook 44, appendix C, section 3
    ],
)
def test_known_quantities(text, dimension, expected):
    assert parse_quantity(text, dimension) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "dimension", "message"),
    [
        (12, "speed", "12 has no unit; give a text with a number with one of the units m/s, km/h"),
        (12.5, "speed", "12.5 has no unit"),
        (True, "speed", "True has no unit"),
        (None, "length", "None has no unit"),
        ("12", "speed", "'12': the unit is missing"),
        ("kn", "speed", "'kn' is not a number"),
        ("12 knotts", "speed", "'12 knotts': the unit 'knotts' is no speed"),
        ("5 gal", "volume", "a gallon is a US or an imperial one"),
        ("3 Bft", "speed", "Beaufort measures the wind alone"),
        (
            "4.5 Bft",
            "wind speed",
            "give a whole force from 0 to 11; it stands for the",
        ),
        ("12 Bft", "wind speed", "a whole force from 0 to 11"),
        ("-1 Bft", "wind speed", "a whole force from 0 to 11"),
        ("4-5 Bft", "wind speed", "the unit '-5 Bft' is no wind speed"),
        ("12 m", "speed", "the unit 'm' is no speed"),
        ("nan kn", "speed", "'nan kn' is not a number"),
        ("inf m", "length", "'inf m' is not a number"),
        ("1e999 m", "length", "'1e999 m' is too large"),
        ("1,5 h", "time", "the unit ',5 h' is no time"),
        ("", "time", "'' is not a number"),
        ("9" * 500 + " m", "length", "…' is not a number"),
    ],
)
def test_what_is_refused_says_what_is_allowed(text, dimension, message):
    with pytest.raises(InputError, match=r"give|one of the units") as caught:
        parse_quantity(text, dimension)
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 300


# Upper ends of the forces in m/s, as WMO gives them; read 2026-11-25 in the copy of the Dutch scale
# at http://www.delta-s.org/weer/beaufort.html (0 to 0.2, 0.3 to 1.5, ... 28.5 to 32.6 m/s).
@pytest.mark.parametrize(
    ("force", "top_ms"),
    [(0, 0.2), (1, 1.5), (2, 3.3), (3, 5.4), (4, 7.9), (5, 10.7), (6, 13.8), (7, 17.1), (8, 20.7),
     (9, 24.4), (10, 28.4), (11, 32.6)],
)  # fmt: skip
def test_a_wind_in_beaufort_is_the_fastest_of_that_force(force, top_ms):
    assert parse_quantity(f"{force} Bft", "wind speed") == top_ms
    assert parse_quantity(f"{force}beaufort", "wind speed") == top_ms
    # The scale's own law, v = 0.836 (force + 1/2)^1.5 m/s, rounds to the same to 0.1 m/s.
    assert top_ms == pytest.approx(0.836 * (force + 0.5) ** 1.5, abs=0.16)


@given(st.text(max_size=100), st.sampled_from(sorted(UNITS)))
def test_any_text_is_read_or_refused(text, dimension):
    try:
        value = parse_quantity(text, dimension)
    except InputError:
        return
    assert value == value  # a number, never nan


@pytest.mark.parametrize(
    ("low", "high", "dimension", "words"),
    [
        (600.0, 172_800.0, "time", "10 min to 2 d"),
        (0.0, 60.0, "wind speed", "0 to 60 m/s (117 kn)"),
        (1.0, 1e6, "length", "1 m to 1,000 km"),
        (0.0, 0.8, "share", "0 % to 80 %"),
        (1e-4, 1.0, "volume", "0.1 L to 1,000 L"),
        (271.15, 313.15, "temperature", "-2 °C to 40 °C"),
        (0.0, math.inf, "time", "0 s or more"),
        (1, 10_000, "", "1 to 10,000"),
        (0.0, 1e4, "specific energy", "0 J/kg to 10,000 J/kg"),
    ],
)
def test_ranges_are_told_in_units_of_their_size(low, high, dimension, words):
    assert range_words(low, high, dimension) == words


def test_to_the_human_edge():
    assert to_knots(KNOT_MS * 17.0) == pytest.approx(17.0)
    assert to_celsius(273.15) == 0.0
