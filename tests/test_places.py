"""Places from files, on the line, and how sheltered they are."""

import json

import numpy as np
import pytest
from stagemaker import forecast, north_route

from routeplan._stages.placelanding import landing_sea
from routeplan.errors import InputError
from routeplan.geodesy import direct, inverse
from routeplan.limits import Verdict
from routeplan.route import Waypoint
from routeplan.stops import (
    Place,
    camps_on_line,
    kind_of,
    places_of_waypoints,
    places_on_line,
    read_places,
    staged_route,
)


@pytest.mark.parametrize(
    ("waypoint", "kind"),
    [
        (Waypoint(0, 0, "A", "camp"), "camp"),
        (Waypoint(0, 0, "A", symbol="Campground"), "camp"),
        (Waypoint(0, 0, "camp 3"), "camp"),
        (Waypoint(0, 0, "A", "landing"), "landing"),
        (Waypoint(0, 0, "A", "no landing"), "no landing"),
        (Waypoint(0, 0, "A", "no-landing"), "no landing"),
        (Waypoint(0, 0, "A", "no camp"), None),
        (Waypoint(0, 0, "A", symbol="Drinking Water"), "water"),
        (Waypoint(0, 0, "A", "portage"), "portage"),
        (Waypoint(0, 0, "A", "ferry terminal"), "ferry"),
        (Waypoint(0, 0, "A", "lighthouse"), None),
        (Waypoint(0, 0, "W: tap", "camp"), "water"),
        (Waypoint(0, 0, "w: tap"), "water"),
    ],
)
def test_kind_by_prefix_type_symbol_or_name(waypoint, kind):
    assert kind_of(waypoint, {"W:": "water"}) == kind


def test_prefix_must_stand_for_a_kind():
    with pytest.raises(InputError, match=r"name prefix 'X' for 'hotel': needed is a text for camp"):
        kind_of(Waypoint(0, 0, "X"), {"X": "hotel"})


def test_attributes_stand_in_the_note_beside_the_users_words():
    note = "ask at the farm; capacity=6; nights = 2; open=180-270, 300-20; fires no"
    (place,) = places_of_waypoints([Waypoint(58, 11, "Bay", "camp", note=note)])
    assert (place.capacity, place.nights) == (6, 2)
    assert place.open_deg == ((180.0, 270.0), (300.0, 20.0))
    assert place.note == "ask at the farm; fires no"
    inside = [200.0, 180.0, 270.0, 350.0, 10.0, 300.0, 20.0]
    assert all(place.is_open_to(d) for d in inside)
    assert not any(place.is_open_to(d) for d in (100.0, 290.0, 21.0, np.nan))


def test_two_waypoints_of_one_name_are_the_ends_of_a_stretch():
    ends = [
        Waypoint(58.0, 11.0, "cliffs", "no landing"),
        Waypoint(58.1, 11.1, "cliffs", "no landing"),
    ]
    (place,) = places_of_waypoints(ends)
    assert place.end == (11.1, 58.1)


GPX = """<?xml version="1.0"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">
<wpt lat="58" lon="11"><name>Bay</name><desc>capacity=4; by permission</desc><type>camp</type></wpt>
<wpt lat="58.1" lon="11"><name>Light</name><type>lighthouse</type></wpt></gpx>"""
FIELDS = {"name": "Bay", "kind": "camp", "capacity": 4, "note": "by permission"}


def written(tmp_path, form):
    path = tmp_path / f"places.{form}"
    if form == "gpx":
        path.write_text(GPX)
    elif form == "csv":
        path.write_text("Name;Type;Lon;Lat;Capacity;Note\nBay;camp;11;58;4;by permission\n")
    elif form == "geojson":
        point = {"type": "Point", "coordinates": [11, 58]}
        feature = {"type": "Feature", "properties": FIELDS, "geometry": point}
        path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    else:
        import geopandas
        from shapely import Point

        frame = geopandas.GeoDataFrame([FIELDS], geometry=[Point(11, 58)], crs=4326)
        frame.to_crs(32632).to_file(path)
    return path


@pytest.mark.parametrize("form", ["gpx", "csv", "geojson", "gpkg"])
def test_every_format_gives_the_same_place(tmp_path, form):
    (place,) = read_places(written(tmp_path, form))
    assert (place.name, place.kind, place.capacity) == ("Bay", "camp", 4)
    assert place.note == "by permission"
    assert (place.longitude, place.latitude) == pytest.approx((11.0, 58.0), abs=1e-8)


def test_line_of_a_geojson_is_a_stretch(tmp_path):
    line = {"type": "LineString", "coordinates": [[11, 58], [11.05, 58], [11.1, 58.2]]}
    feature = {"type": "Feature", "properties": {"kind": "portage"}, "geometry": line}
    path = tmp_path / "p.json"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    (place,) = read_places(path)
    assert (place.longitude, place.latitude, place.end) == (11.0, 58.0, (11.1, 58.2))


@pytest.mark.parametrize(
    ("name", "text", "message"),
    [
        ("a.csv", "name,kind,lon,lat\nA,camp,11,580\n", r"a\.csv, line 2: latitude 580\.0"),
        ("a.csv", "name,kind,lon\nA,camp,11\n", r"a\.csv, line 2: latitude is missing; needed"),
        ("a.csv", "name,kind,lon,lat\nA,camp,x,5\n", r"longitude 'x' is no number; needed are"),
        (
            "a.csv",
            "name,kind,lon,lat,capacity\nA,camp,1,5,2.5\n",
            r"A: capacity '2\.5' is no whole",
        ),
        ("a.csv", "name,kind,lon,lat,open\nA,camp,1,5,north\n", r"open sectors 'north' cannot"),
        ("a.csv", "name,kind,lon,lat,open\nA,camp,1,5,10-400\n", r"not within 0 to 360"),
        ("a.csv", "name,kind,lon,lat\nA,hotel,1,5\n", r"a\.csv: holds no places; their kind"),
        ("a.geojson", "{", r"a\.geojson: is no JSON"),
        ("a.geojson", "[" * 100_000, r"a\.geojson: is no JSON"),
        ("a.geojson", "{}", r"is no GeoJSON FeatureCollection"),
        ("a.geojson", '{"features": [{"geometry": null}]}', r"feature 1: a place is a Point or"),
        (
            "a.geojson",
            '{"features": [{"geometry": {"type": "Point", "coordinates": 3}}]}',
            r"feature 1: its coordinates cannot be read",
        ),
        ("a.shp", "nothing", r"a\.shp: cannot be read as a layer of points or lines"),
        ("a.gpx", "<gpx", r"a\.gpx"),
    ],
)
def test_bad_files_get_one_line(tmp_path, name, text, message):
    path = tmp_path / name
    path.write_text(text)
    with pytest.raises(InputError, match=message) as caught:
        read_places(path)
    assert "\n" not in str(caught.value)


def test_missing_file(tmp_path):
    for name in ("a.csv", "a.gpkg"):
        with pytest.raises(InputError, match=f"{name}: .*[Nn]o such file"):
            read_places(tmp_path / name)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"latitude": 91.0}, "latitude 91.0"),
        ({"kind": "hotel"}, "kind 'hotel' is not known; there are camp, landing"),
        ({"capacity": 0}, "capacity 0 is not allowed; allowed is 1 to 10000"),
        ({"nights": -1}, "nights -1 is not allowed"),
        ({"open_deg": ((10.0, 361.0),)}, "not within 0 to 360 degrees"),
        ({"end": (181.0, 5.0)}, "longitude 181.0"),
    ],
)
def test_bad_places_get_one_line(changes, message):
    with pytest.raises(InputError, match=message):
        Place(**{"latitude": 58.0, "longitude": 11.0, "name": "Bay", **changes})


# -- on the line ---------------------------------------------------------------------------------


def beside(along_m, off_m, **more):
    lon, lat = direct(10.0, 0.0, 0.0, along_m)
    lon, lat = direct(lon, lat, 90.0, off_m)
    return Place(float(lat), float(lon), **{"name": f"at {along_m:g}", **more})


def test_distance_off_the_line_and_detour():
    stops = places_on_line(north_route(20_000.0), [beside(12_000.0, 700.0), beside(3_000.0, 0.0)])
    assert [stop.place.name for stop in stops] == ["at 3000", "at 12000"]
    assert stops[1].along_m == pytest.approx(12_000.0, abs=1.0)
    assert stops[1].off_m == pytest.approx(700.0, abs=0.5)
    assert stops[1].detour_m == pytest.approx(1_400.0, abs=1.0)


def test_camp_far_off_the_line_is_refused():
    route = north_route(20_000.0)
    with pytest.raises(InputError, match=r"at 9000 lies 40\.0 km off the line; allowed are 2 km"):
        camps_on_line(route, [beside(4_000.0, 0.0), beside(9_000.0, 40_000.0)])


def test_two_camps_at_one_spot_are_refused():
    pair = [beside(4_000.0, 0.0, name="A"), beside(4_000.0, 10.0, name="B")]
    with pytest.raises(InputError, match=r"A and B are at one spot, 10 m apart; camps must be 25"):
        camps_on_line(north_route(20_000.0), pair)


def test_no_camp_at_all_is_refused():
    with pytest.raises(InputError, match="none of 1 places is a camp; at least one is needed"):
        camps_on_line(north_route(20_000.0), [beside(4_000.0, 0.0, kind="water")])


def test_stages_end_at_the_stops_and_nowhere_else():
    route = north_route(30_000.0, camps=(10_000.0,))
    (stop,) = camps_on_line(route, [beside(20_000.0, 300.0, name="Bay", note="ask first")])
    staged = staged_route(route, [stop])
    assert [leg.stage for leg in staged.legs] == [1, 1, 2]
    assert [leg.number for leg in staged.legs] == [1, 2, 3]
    assert staged.length_m == pytest.approx(route.length_m, abs=0.01)
    assert (staged.legs[1].end.name, staged.legs[1].end.note) == ("Bay", "ask first")
    assert [camp.name for camp in staged.camps] == ["Bay"]
    _, apart = inverse(
        staged.legs[1].end.longitude, staged.legs[1].end.latitude, stop.place.longitude,
        stop.place.latitude,
    )  # fmt: skip
    assert float(apart) == pytest.approx(stop.off_m, abs=0.5)


# -- landings ------------------------------------------------------------------------------------


def landing(place, coast, ds, **limits):
    wanted = {"wave_m": 0.3, "wind_ms": 5.0, "close_share": 0.1, **limits}
    sea = landing_sea([place], coast, ds, **wanted)
    return sea.state(0, sea.time[5])


def test_shelter_comes_from_the_coastlines_fetch(straight_coast):
    """Land to the east: an easterly has no fetch there, a westerly all that is looked at."""
    shore = direct(10.0, 0.0, 270.0, 60.0)
    place = Place(float(shore[1]), float(shore[0]))
    off_land = landing(place, straight_coast, forecast(u=-8.0, wave=None))
    on_land = landing(place, straight_coast, forecast(u=8.0, wave=None))
    assert off_land.fetch_m < 100.0
    assert off_land.wave_height_m < 0.1
    assert off_land.verdict is Verdict.CLOSE  # nobody knows of the swell
    assert on_land.fetch_m == pytest.approx(100_000.0)
    assert on_land.wave_height_m > 0.5
    assert on_land.verdict is Verdict.BEYOND
    assert (off_land.wind_from_deg, on_land.wind_from_deg) == pytest.approx((90.0, 270.0))


def test_sector_that_the_user_calls_open_binds_by_wind(straight_coast):
    place = Place(*reversed([float(v) for v in direct(10.0, 0.0, 270.0, 60.0)[:2]]))
    open_east = Place(place.latitude, place.longitude, open_deg=((45.0, 135.0),))
    assert landing(place, straight_coast, forecast(u=-8.0)).verdict is Verdict.WITHIN
    state = landing(open_east, straight_coast, forecast(u=-8.0))
    assert state.verdict is Verdict.BEYOND
    assert state.margin == pytest.approx((5.0 - 8.0) / 5.0)
    assert landing(open_east, straight_coast, forecast(u=-4.0)).verdict is Verdict.WITHIN


def test_landing_without_wind_is_unknown(straight_coast):
    place = Place(0.0, 9.999)
    assert landing(place, straight_coast, forecast(u=np.nan)).verdict is Verdict.UNKNOWN
    sea = landing_sea([place], straight_coast, forecast(), wave_m=0.3, wind_ms=5.0, close_share=0.1)
    for when in (sea.time[-1] + np.timedelta64(1, "h"), np.datetime64("NaT", "ns")):
        assert sea.state(0, when).verdict is Verdict.UNKNOWN
