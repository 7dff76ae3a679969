"""Quantities as people write them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from routeplan.errors import InputError
from routeplan.units import KNOT_MS, UNITS, parse_quantity, to_celsius, to_knots


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
        ("12 knots", "speed", "'12 knots': the unit 'knots' is no speed"),
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


@given(st.text(max_size=100), st.sampled_from(sorted(UNITS)))
def test_any_text_is_read_or_refused(text, dimension):
    try:
        value = parse_quantity(text, dimension)
    except InputError:
        return
    assert value == value  # a number, never nan


def test_to_the_human_edge():
    assert to_knots(KNOT_MS * 17.0) == pytest.approx(17.0)
    assert to_celsius(273.15) == 0.0
