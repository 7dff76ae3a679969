"""Geodesics against published values and an independent implementation."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod

from routeplan.errors import InputError
from routeplan.geodesy import (
    cartesian,
    direct,
    direct_course,
    interpolate,
    inverse,
    normalise_longitude,
    path_length,
)

# C. F. F. Karney's test set, first six of the rows in geographiclib 2.1 (MIT licence),
# geographiclib/test/test_geodesic.py; accessed 2026-11-25.
# lat1, lon1, azimuth 1, lat2, lon2, azimuth 2, distance
KARNEY = [
    (35.60777, -139.44815, 111.098748429560326, -11.17491, -69.95921, 129.289270889708762,
     8935244.5604818305),
    (55.52454, 106.05087, 22.020059880982801, 77.03196, 197.18234, 109.112041110671519,
     4105086.1713924406),
    (-21.97856, 142.59065, -32.44456876433189, 41.84138, 98.56635, -41.84359951440466,
     8394328.894657671),
    (-19.79938, -174.47484, 71.167275780171533, -11.99349, -154.35109, 65.589099775199228,
     2319004.8601169389),
    (-68.82867, -74.28391, 93.774347763114881, -50.63005, -8.36685, 34.65564085411343,
     3956936.926063544),
    (-41.22777, 122.32875, 14.285113402275739, -7.57291, 130.37946, 10.805303085187369,
     3812686.035106021),
]  # fmt: skip

# T. Vincenty, "Direct and inverse solutions of geodesics on the ellipsoid with application of
# nested equations", Survey Review XXII (176), 1975, table II; accessed 2026-11-25.
# case, axis [m], 1/f, latitude 1, latitude 2, difference of longitude, distance, azimuths
BESSEL = (6377397.155, 299.1528128)
INTERNATIONAL = (6378388.0, 297.0)
VINCENTY = [
    ("a", *BESSEL, (55, 45, 0), (-33, -26, 0), (108, 13, 0), 14110526.170,
     (96, 36, 8.79960), (137, 52, 22.01454)),
    ("b", *INTERNATIONAL, (37, 19, 54.95367), (26, 7, 42.83946), (41, 28, 35.50729), 4085966.703,
     (95, 27, 59.63089), (118, 5, 58.96161)),
    ("c", *INTERNATIONAL, (35, 16, 11.24862), (67, 22, 14.77638), (137, 47, 28.31435),
     8084823.839, (15, 44, 23.74850), (144, 55, 39.92147)),
    ("d", *INTERNATIONAL, (1, 0, 0), (0, -59, -53.83076), (179, 17, 48.02997), 19960000.000,
     (89, 0, 0), (91, 0, 6.11733)),
    ("e", *INTERNATIONAL, (1, 0, 0), (1, 1, 15.18952), (179, 46, 17.84244), 19780006.558,
     (4, 59, 59.99995), (174, 59, 59.88481)),
]  # fmt: skip

latitudes = st.floats(-90, 90)
longitudes = st.floats(-180, 180)


def degrees(degree, minute, second):
    return degree + minute / 60 + second / 3600


def angle_apart(first, second):
    return abs((first - second + 180) % 360 - 180)


@pytest.mark.parametrize("row", KARNEY)
def test_inverse_agrees_with_karney(row):
    lat1, lon1, azimuth1, lat2, lon2, _, distance = row
    azimuth, length = inverse(lon1, lat1, lon2, lat2)
    assert length == pytest.approx(distance, abs=1e-6)
    assert angle_apart(azimuth, azimuth1) < 1e-11
    assert 0 <= azimuth < 360


@pytest.mark.parametrize("row", KARNEY)
def test_direct_agrees_with_karney(row):
    lat1, lon1, azimuth1, lat2, lon2, azimuth2, distance = row
    lon, lat, course = direct_course(lon1, lat1, azimuth1, distance)
    assert lat == pytest.approx(lat2, abs=1e-11)
    assert angle_apart(lon, lon2) < 1e-11
    assert angle_apart(course, azimuth2) < 1e-11
    assert -180 <= lon < 180


def test_inverse_agrees_with_geodetic_survey_line_of_paddling_size():
    # Flinders Peak to Buninyong, GDA technical manual (Geoscience Australia), on GRS80, whose
    # flattening differs from that of WGS84 only in the eleventh digit; accessed 2026-11-25.
    flinders = degrees(144, 25, 29.52440), -degrees(37, 57, 3.72030)
    buninyong = degrees(143, 55, 35.38390), -degrees(37, 39, 10.15610)
    azimuth, distance = inverse(*flinders, *buninyong)
    assert distance == pytest.approx(54972.271, abs=1e-3)
    assert azimuth == pytest.approx(degrees(306, 52, 5.37), abs=0.005 / 3600)
    back, _ = inverse(*buninyong, *flinders)
    assert back == pytest.approx(degrees(127, 10, 25.07), abs=0.005 / 3600)


@pytest.mark.parametrize("row", VINCENTY, ids=lambda row: row[0])
def test_engine_agrees_with_vincenty_on_his_ellipsoids(row):
    # The table has two other ellipsoids, so this checks the engine and the copied rows.
    _, axis, inverse_flattening, *angles, distance, azimuth1, azimuth2 = row
    lat1, lat2, lon2 = (degrees(*angle) for angle in angles)
    geod = Geod(a=axis, rf=inverse_flattening)
    ahead, back, length = geod.inv(0, lat1, lon2, lat2)
    assert length == pytest.approx(distance, abs=1e-3)
    # At nearly opposite points a millimetre turns the azimuth by far more than elsewhere.
    tolerance = (0.05 if distance > 19e6 else 1e-4) / 3600
    assert angle_apart(ahead, degrees(*azimuth1)) < tolerance
    assert angle_apart(back + 180, degrees(*azimuth2)) < tolerance


@settings(max_examples=300, deadline=None)
@given(longitudes, latitudes, longitudes, latitudes)
def test_inverse_agrees_with_a_second_implementation(lon1, lat1, lon2, lat2):
    # geographiclib is Karney's own Python code; pyproj wraps PROJ's C code.
    _, distance = inverse(lon1, lat1, lon2, lat2)
    other = Geodesic.WGS84.Inverse(lat1, lon1, lat2, lon2)
    assert distance == pytest.approx(other["s12"], abs=1e-6)


@settings(max_examples=300, deadline=None)
@given(longitudes, st.floats(-89.9, 89.9), st.floats(0, 360), st.floats(1, 19_900_000))
def test_inverse_undoes_direct(lon, lat, azimuth, distance):
    end = direct(lon, lat, azimuth, distance)
    _, length = inverse(lon, lat, *end)
    assert length <= distance + 1e-6
    # Beyond the half-way point of Earth a shorter way may exist, short of it none does.
    if distance < 19_000_000:
        assert length == pytest.approx(distance, abs=1e-6)


@settings(max_examples=300, deadline=None)
@given(longitudes, latitudes, longitudes, latitudes)
def test_direct_undoes_inverse(lon1, lat1, lon2, lat2):
    azimuth, distance = inverse(lon1, lat1, lon2, lat2)
    end = direct(lon1, lat1, azimuth, distance)
    _, miss = inverse(*end, lon2, lat2)
    assert miss < 1e-6


def test_inverse_broadcasts_and_keeps_the_shape():
    azimuth, distance = inverse([[11.0], [12.0]], 58.0, [11.0, 12.0, 13.0], 58.5)
    assert azimuth.shape == distance.shape == (2, 3)
    assert distance[0, 0] == pytest.approx(inverse(11, 58, 11, 58.5)[1])
    assert distance[1, 0] == pytest.approx(inverse(12, 58, 11, 58.5)[1])


def test_plain_numbers_give_plain_numbers():
    azimuth, distance = inverse(11, 58, 11, 58.1)
    assert isinstance(azimuth, float)
    assert isinstance(distance, float)


def test_course_between_coincident_points_is_zero_by_convention():
    assert inverse(11, 58, 11, 58) == (0.0, 0.0)


def test_course_due_north_is_zero_and_never_360():
    # A hair west of north: adding 360 to -6e-15 gives 360 in floating point.
    azimuth, _ = inverse(0.0, 0.0, -np.logspace(-18, -12, 200), 60.0)
    assert ((azimuth < 360) & (azimuth >= 0)).all()
    assert azimuth[-1] > 359


def test_line_across_the_antimeridian_is_short():
    azimuth, distance = inverse(179.9, 0, -179.9, 0)
    # 0.2 degrees of the equator, whose radius is the ellipsoid's half axis.
    assert distance == pytest.approx(np.radians(0.2) * 6378137.0, abs=1e-6)
    assert azimuth == pytest.approx(90)


def test_interpolate_keeps_ends_spacing_and_line():
    lon, lat, distance, course = interpolate(11.0, 58.0, 12.5, 58.4, 1_000)
    azimuth, length = inverse(11.0, 58.0, 12.5, 58.4)
    assert (lon[0], lat[0], lon[-1], lat[-1]) == (11.0, 58.0, 12.5, 58.4)
    assert distance[-1] == pytest.approx(length)
    assert np.diff(distance).max() <= 1_000
    assert len(distance) == int(np.ceil(length / 1_000)) + 1
    assert course[0] == pytest.approx(azimuth)
    # The course towards the end is that of the rest of the line.
    assert course[:-1] == pytest.approx(inverse(lon[:-1], lat[:-1], 12.5, 58.4)[0], abs=1e-7)
    assert course[-1] == pytest.approx(inverse(12.5, 58.4, 11.0, 58.0)[0] - 180, abs=1e-9)
    assert path_length(lon, lat) == pytest.approx(length, abs=1e-6)


def test_interpolate_adds_no_piece_for_a_whole_number_of_spacings():
    _, length = inverse(11.0, 58.0, 11.1, 58.0)
    assert len(interpolate(11.0, 58.0, 11.1, 58.0, float(length) / 7)[0]) == 8


def test_interpolate_between_coincident_points_gives_both():
    lon, lat, distance, _ = interpolate(11, 58, 11, 58, 10)
    assert lon.tolist() == [11, 11]
    assert lat.tolist() == [58, 58]
    assert distance.tolist() == [0, 0]


def test_interpolate_across_the_antimeridian():
    lon, _, _, course = interpolate(179.9, -17.0, -179.9, -17.0, 5_000)
    assert ((lon >= 179.9) | (lon <= -179.9)).all()
    assert (abs(course - 90) < 0.1).all()


@pytest.mark.parametrize("spacing", [0, -1, float("nan"), float("inf")])
def test_interpolate_refuses_a_spacing_that_is_none(spacing):
    with pytest.raises(InputError, match=r"spacing .* must be a finite number above 0"):
        interpolate(11, 58, 12, 58, spacing)


def test_interpolate_refuses_to_fill_the_memory():
    with pytest.raises(InputError, match="at most 10000000 are allowed"):
        interpolate(0, 0, 90, 0, 0.1)


def test_path_length():
    assert path_length([], []) == 0
    assert path_length([11], [58]) == 0
    parts = inverse([11, 12], [58, 58], [12, 12], [58, 59])[1]
    assert path_length([11, 12, 12], [58, 58, 59]) == pytest.approx(parts.sum())


@pytest.mark.parametrize(
    ("lon", "expected"),
    [(0, 0), (-180, -180), (180, -180), (190, -170), (-190, 170), (540, -180), (359.5, -0.5)],
)
def test_normalise_longitude(lon, expected):
    assert normalise_longitude(lon) == expected


@given(st.floats(-1e6, 1e6))
def test_normalised_longitude_is_in_range_and_the_same_meridian(lon):
    result = normalise_longitude(lon)
    assert -180 <= result < 180
    assert angle_apart(result, lon) < 1e-9


def test_cartesian_agrees_with_the_definition_of_the_ellipsoid():
    # WGS84 half axes, NIMA TR8350.2: a = 6378137 m, 1/f = 298.257223563.
    a, b = 6378137.0, 6378137.0 * (1 - 1 / 298.257223563)
    places = cartesian([0, 90, 180, 0, 45], [0, 0, 0, 90, -90])
    expected = [[a, 0, 0], [0, a, 0], [-a, 0, 0], [0, 0, b], [0, 0, -b]]
    assert places == pytest.approx(np.array(expected), abs=1e-8)
    x, y, z = cartesian(33.0, 58.0)
    assert (x * x + y * y) / a**2 + z * z / b**2 == pytest.approx(1)


def test_chord_is_as_much_shorter_as_documented():
    lon, lat = direct(11, 58, 70, 50_000)
    chord = np.linalg.norm(cartesian(lon, lat) - cartesian(11, 58))
    assert 50_000 - chord == pytest.approx(0.128, abs=0.01)  # s^3 / (24 R^2), R = 6371 km


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -float("inf")])
@pytest.mark.parametrize("place", range(4))
def test_inverse_refuses_what_is_not_finite(place, bad):
    arguments = [11.0, 58.0, 12.0, 58.0]
    arguments[place] = bad
    with pytest.raises(InputError, match=r"(longitude|latitude) .* is not a finite number"):
        inverse(*arguments)


def test_latitude_outside_the_globe_is_refused():
    with pytest.raises(InputError, match=r"latitude 90\.1 is outside -90\.\.90") as caught:
        inverse(11, [58, 90.1], 11, 59)
    assert caught.value.field == "latitude"
    assert caught.value.value == 90.1
    for call in (
        lambda: direct(11, -91, 0, 1),
        lambda: interpolate(11, -91, 11, 0, 10),
        lambda: path_length([11, 12], [58, -91]),
        lambda: cartesian(11, -91),
    ):
        with pytest.raises(InputError, match=r"latitude -91\.0 is outside"):
            call()


def test_direct_refuses_a_course_or_distance_that_is_unknown():
    with pytest.raises(InputError, match="azimuth nan is not a finite number"):
        direct(11, 58, float("nan"), 10)
    with pytest.raises(InputError, match="distance nan is not a finite number"):
        direct(11, 58, 0, float("nan"))


def test_words_are_no_positions():
    with pytest.raises(InputError, match="longitude is not a number"):
        inverse("east", 58, 11, 58)
