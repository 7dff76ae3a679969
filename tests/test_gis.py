"""Layers and the dataset of a plan: what is in them, and that others read the files."""

import json
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
import xarray as xr
from coastmaker import rectangle
from planmaker import demo_plan
from stagemaker import MIDNIGHT, forecast, north_route

from routeplan._gis.fields import FIELDS, fields_of
from routeplan._gis.frames import _around
from routeplan._gis.shapes import areas, line
from routeplan.coastline import Coastline
from routeplan.errors import InputError
from routeplan.geodesy import path_length
from routeplan.gis import (
    coast_frame,
    drift_frame,
    launches_dataset,
    legs_frame,
    places_frame,
    write_gis,
)
from routeplan.limits import Verdict
from routeplan.plan import Trip, plan_trip
from routeplan.route import Waypoint, route_from_points

FRAMES = {
    "legs": legs_frame,
    "places": places_frame,
    "drift": drift_frame,
    "coast": coast_frame,
}


@pytest.fixture(scope="module")
def package(tmp_path_factory):
    path = tmp_path_factory.mktemp("gis") / "plan.gpkg"
    write_gis(demo_plan(), path)
    return path


@pytest.fixture(scope="module")
def collection(tmp_path_factory):
    path = tmp_path_factory.mktemp("gis") / "plan.geojson"
    write_gis(demo_plan(), path)
    return path


@pytest.fixture(scope="module")
def across_180():
    """A plan across the antimeridian off a made-up island that lies on it."""
    coast = {"type": "Feature", "properties": {}, "geometry": None}
    ring = rectangle(180.0, 0.0, west_m=3_000, south_m=3_000, east_m=3_000, north_m=3_000)
    # A source in one piece: longitudes run on beyond 180.
    ring = [[lon % 360.0, lat] for lon, lat in ring]
    coast["geometry"] = {"type": "Polygon", "coordinates": [ring]}
    points = [Waypoint(0.04, 179.95, "west"), Waypoint(0.045, -179.95, "east")]
    return coast, route_from_points(points, name="over")


def across_plan(across_180, folder):
    coast, route = across_180
    path = folder / "island.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [coast]}))
    return plan_trip(Trip(route, coast=Coastline.from_file(path, nominal_error_m=1.0)))


# --- frames -------------------------------------------------------------------------------------


@pytest.mark.parametrize("layer", FRAMES)
def test_columns_are_those_described_and_the_crs_is_wgs84(layer):
    frame = FRAMES[layer](demo_plan())
    assert list(frame.columns) == [field.name for field in fields_of(layer)] + ["geometry"]
    assert frame.crs == "EPSG:4326"
    assert len(frame)
    west, south, east, north = frame.total_bounds
    assert 10 < west < east < 12
    assert 58 < south < north < 59


def test_fields_with_a_unit_say_it_in_their_name():
    suffix = {"m": "_m", "s": "_s", "m/s": "_ms", "h": "_h", "degrees true": "_deg"}
    for field in FIELDS:
        ends = [s for s in suffix.values() if field.name.endswith(s)]
        assert (suffix[field.unit] in ends) if field.unit else not ends, field
    assert len({(f.layer, f.name) for f in FIELDS}) == len(FIELDS)


def test_legs_are_the_route_with_what_is_met_at_the_launch_proposed():
    plan, frame = demo_plan(), legs_frame(demo_plan())
    assert frame["number"].tolist() == [leg.number for leg in plan.route.legs]
    lengths = [path_length(*shape.xy) for shape in frame.geometry]
    assert lengths == pytest.approx(frame["length_m"].tolist(), abs=0.01)
    scan, i = plan.stages[1].scan, plan.stages[1].best
    row = frame[frame["stage"] == 2].iloc[0]
    assert row["wind_ms"] == scan.wind_ms[i, 0]
    assert row["verdict"] == Verdict(int(scan.leg_verdict[i, 0])).word
    assert row["enter"] == pd.Timestamp(scan.enter[i, 0], tz="UTC")
    assert frame["flags"].notna().any()
    assert frame["flags"].isna().any()


def test_a_line_goes_through_the_points_of_the_route_as_they_are():
    plan = demo_plan()
    for leg, shape in zip(plan.route.legs, legs_frame(plan).geometry, strict=True):
        given = set(zip(leg.longitude.tolist(), leg.latitude.tolist(), strict=True))
        assert given <= set(shape.coords)


def test_places_have_their_roles_and_times():
    plan, frame = demo_plan(), places_frame(demo_plan())
    roles = frame["role"].value_counts()
    assert roles.to_dict() == {
        "launch": 3, "night": 2, "end": 1, "turn-back": 10, "bail-out": 13,
    }  # fmt: skip
    turn = plan.stages[0].turn_back[0]
    row = frame[frame["role"] == "turn-back"].iloc[0]
    assert row["go_on_until"] == pd.Timestamp(turn.go_on_until, tz="UTC")
    assert (row.geometry.x, row.geometry.y) == (turn.longitude, turn.latitude)
    landing = plan.stages[0].landings[0]
    row = frame[frame["role"] == "bail-out"].iloc[0]
    assert (row["distance_m"], row["time_s"]) == (landing.distance_m, landing.time_s)


def test_drift_has_three_branches_that_begin_at_one_place():
    plan, frame = demo_plan(), drift_frame(demo_plan())
    count = sum(len(stage.drift) for stage in plan.stages)
    assert len(frame) == 3 * count
    for (_, _, _), group in frame.groupby(["stage", "leg", "who"]):
        assert sorted(group["branch"]) == ["downwind", "left", "right"]
        assert len({shape.coords[0] for shape in group.geometry}) == 1
    first = plan.stages[0].drift[0]
    mine = frame.iloc[:3]
    assert mine["when"].tolist() == [pd.Timestamp(first.worst.when, tz="UTC")] * 3
    times = mine["ashore_s"].to_numpy()
    if np.isfinite(first.worst.ashore_first_s):
        assert np.nanmin(times) == first.worst.ashore_first_s
    ends = [d for s in plan.stages for d in s.drift if np.isfinite(d.ashore_longitude)]
    assert ends  # some of the demo come ashore
    for drift in ends:
        track = min(drift.tracks, key=lambda t: np.nan_to_num(t.ashore_s, nan=np.inf))
        assert track.longitude[-1] == drift.ashore_longitude
        assert track.seconds[-1] == track.ashore_s
        assert np.all(np.diff(track.seconds) > 0)


def test_a_drift_that_is_not_known_has_no_line():
    plan = demo_plan()
    stage = plan.stages[0]
    drift = stage.drift[0]
    none = np.empty(0)
    track = replace(drift.tracks[0], seconds=none, longitude=none, latitude=none, ashore_s=np.nan)
    changed = replace(stage, drift=(replace(drift, tracks=(track,)),))
    frame = drift_frame(replace(plan, stages=(changed,)))
    assert frame["known"].tolist() == [False]
    assert frame.geometry.isna().tolist() == [True]
    assert np.isnan(frame["end_s"].iloc[0])


def test_the_coast_is_land_around_the_route():
    plan, frame = demo_plan(), coast_frame(demo_plan())
    assert set(frame["kind"]) == {"land"}
    assert frame["nominal_error_m"].iloc[0] == plan.coast.nominal_error_m
    union = shapely.union_all(frame.geometry.to_numpy())
    lon, lat = plan.exposures[5].longitude[::7], plan.exposures[5].latitude[::7]
    inside = shapely.contains_xy(union, lon, lat)
    assert inside.tolist() == plan.coast.is_land(lon, lat).tolist()
    assert not inside.all()


def test_without_a_launch_times_and_weather_are_missing_not_zero():
    plan = plan_trip(Trip(demo_plan().route, coast=demo_plan().coast))
    legs = legs_frame(plan)
    missing = ["enter", "leave", "verdict", "wind_ms", "wave_height_m", "speed_over_ground_ms"]
    assert legs[missing].isna().all().all()
    assert legs["wind_ms"].dtype == float
    places = places_frame(plan)
    assert set(places["role"]) == {"launch", "night", "end"}
    assert places["when"].isna().all()
    drift = drift_frame(plan)
    assert len(drift) == 0
    assert str(drift["when"].dtype) == "datetime64[ns, UTC]"


# --- across the antimeridian --------------------------------------------------------------------


def test_lines_are_cut_at_180():
    shape = line([179.9, -179.8], [0.0, 0.3])
    assert shape.geom_type == "MultiLineString"
    west, east = shape.geoms
    assert list(west.coords) == [(179.9, 0.0), pytest.approx((180.0, 0.1), abs=1e-9)]
    assert list(east.coords) == [pytest.approx((-180.0, 0.1), abs=1e-9), (-179.8, 0.3)]
    back = line([-179.8, 179.9], [0.3, 0.0])
    ends = sorted(p.coords[0] for p in back.geoms)
    assert ends == [(-179.8, 0.3), pytest.approx((180.0, 0.1), abs=1e-9)]
    assert line([170.0], [1.0]) is None
    many = line(np.arange(0, 1000, 90) % 360 - 180, np.linspace(0, 1, 12))
    assert len(many.geoms) == 3
    for piece in many.geoms:
        assert -180 <= piece.bounds[0] <= piece.bounds[2] <= 180


def test_areas_are_cut_at_180_and_wound_as_the_standard_has_it():
    hole = [(179.9, 0.4), (180.1, 0.4), (180.1, 0.6), (179.9, 0.6)]
    outer = [(179.0, 0.0), (179.0, 1.0), (181.0, 1.0), (181.0, 0.0)]  # clockwise
    parts = areas([shapely.Polygon(outer, [hole]), shapely.box(1, 2, 3, 4)])
    assert len(parts) == 3
    assert sum(p.area for p in parts) == pytest.approx(2.0 - 0.04 + 4.0)
    for part in parts:
        assert part.exterior.is_ccw
        assert -180 <= part.bounds[0] <= part.bounds[2] <= 180
    far = areas([shapely.box(539.0, 0, 541.0, 1)])  # a turn and a half on
    assert sorted(p.bounds for p in far) == [(-180, 0, -179, 1), (179, 0, 180, 1)]


@pytest.mark.parametrize("ending", ["gpkg", "geojson"])
def test_a_plan_across_180_is_cut_and_in_range(across_180, tmp_path, ending):
    plan = across_plan(across_180, tmp_path)
    path = tmp_path / f"plan.{ending}"
    write_gis(plan, path)
    frame = gpd.read_file(path, layer="legs" if ending == "gpkg" else None)
    west, _, east, _ = frame.total_bounds
    assert (west, east) == (-180.0, 180.0)
    legs = legs_frame(plan)
    assert legs.geometry.iloc[0].geom_type == "MultiLineString"
    assert max(part.bounds[2] - part.bounds[0] for part in legs.geometry.iloc[0].geoms) < 0.06
    coast = coast_frame(plan)
    assert len(coast) == 2
    # The island is 6 km square: 0.0539 degrees wide at the equator (111.32 km a degree there).
    widths = [part.bounds[2] - part.bounds[0] for part in coast.geometry]
    assert sum(widths) == pytest.approx(6_000 / 111_320, rel=0.01)


@pytest.mark.parametrize(
    ("bounds", "box"),
    [
        # 0.05 degrees at the equator, and a fifth of the size.
        ((10.0, 0.0, 11.0, 0.0), (9.75, -0.05, 11.25, 0.05)),
        ((179.9, 0.0, -179.9, 0.0), (179.81, -0.05, -179.81, 0.05)),
        ((-180.0, 88.0, 180.0, 90.0), (-180.0, 87.55, 180.0, 90.0)),
    ],
)
def test_the_coast_reaches_a_little_beyond_the_route(bounds, box):
    assert _around(bounds) == pytest.approx(box, abs=1e-9)


# --- files --------------------------------------------------------------------------------------


def test_the_package_has_its_layers_with_types(package):
    layers = dict(pyogrio.list_layers(package).tolist())
    assert layers == {
        "legs": "MultiLineString", "places": "Point", "drift": "MultiLineString",
        "coast": "Polygon", "fields": None, "about": None,
    }  # fmt: skip
    for name, frame in FRAMES.items():
        made, read = frame(demo_plan()), gpd.read_file(package, layer=name)
        assert read.crs == "EPSG:4326"
        assert list(read.columns) == list(made.columns)
        assert len(read) == len(made)
        for column in ("length_m", "wind_ms", "time_s", "end_s", "nominal_error_m"):
            if column in made:
                np.testing.assert_array_equal(read[column], made[column])
        same = shapely.equals_exact(
            read.geometry.explode().to_numpy(), made.geometry.explode().to_numpy(), 1e-9
        )
        assert same.all()


def test_the_package_says_what_its_columns_mean(package):
    fields = pyogrio.read_dataframe(package, layer="fields", read_geometry=False)
    described = set(zip(fields["layer"], fields["field"], strict=True))
    for name in FRAMES:
        info = pyogrio.read_info(package, layer=name)
        assert {(name, field) for field in info["fields"]} <= described
    units = fields.set_index(["layer", "field"])["unit"]
    assert units[("legs", "wind_ms")] == "m/s"
    about = pyogrio.read_dataframe(package, layer="about", read_geometry=False)
    said = dict(zip(about["key"], about["value"], strict=True))
    assert json.loads(said["invented"]) is True
    assert json.loads(said["cautions"]) == list(demo_plan().cautions)
    assert "GSHHG" in json.loads(said["sources"])[0]["name"]


def test_the_collection_follows_rfc_7946(collection):
    document = json.loads(collection.read_text(encoding="utf-8"))
    assert document["type"] == "FeatureCollection"
    assert "crs" not in document  # section 4: always WGS84
    assert document["invented"] is True
    assert document["cautions"] == list(demo_plan().cautions)
    layers = [feature["properties"]["layer"] for feature in document["features"]]
    for name, frame in FRAMES.items():
        assert layers.count(name) == len(frame(demo_plan()))
    for feature in document["features"]:
        assert set(feature) == {"type", "properties", "geometry"}
        shape = shapely.geometry.shape(feature["geometry"])
        assert shape.is_valid
        west, south, east, north = shape.bounds
        assert -180 <= west <= east <= 180
        assert -90 <= south <= north <= 90
        if shape.geom_type == "Polygon":  # section 3.1.6
            assert shape.exterior.is_ccw
            assert not any(ring.is_ccw for ring in shape.interiors)
        known = {f"{feature['properties']['layer']}.{key}" for key in feature["properties"]}
        assert known - set(document["fields"]) == {f"{feature['properties']['layer']}.layer"}
    leg = next(f for f in document["features"] if f["properties"]["layer"] == "legs")
    assert leg["properties"]["enter"].endswith("Z")
    assert leg["properties"]["crosses_land"] in (True, False)


def test_others_read_the_collection(collection):
    frame = gpd.read_file(collection)
    assert frame.crs == "EPSG:4326"
    assert set(frame["layer"]) == set(FRAMES)
    made = legs_frame(demo_plan())
    read = frame[frame["layer"] == "legs"]
    assert read["length_m"].tolist() == pytest.approx(made["length_m"].tolist(), abs=1e-6)
    same = shapely.equals_exact(read.geometry.to_numpy(), made.geometry.to_numpy(), 1e-8)
    assert same.all()


def test_what_is_not_known_is_null(tmp_path):
    plan = plan_trip(Trip(demo_plan().route, coast=demo_plan().coast))
    write_gis(plan, tmp_path / "legs.geojson")
    document = json.loads((tmp_path / "legs.geojson").read_text())
    leg = document["features"][0]["properties"]
    assert leg["wind_ms"] is None
    assert leg["enter"] is None
    write_gis(plan, tmp_path / "legs.gpkg")
    assert len(gpd.read_file(tmp_path / "legs.gpkg", layer="drift")) == 0


def test_files_are_not_overwritten_unasked_and_endings_say_the_format(tmp_path):
    path = tmp_path / "plan.geojson"
    path.write_text("mine")
    with pytest.raises(InputError, match=r"plan\.geojson: is there already"):
        write_gis(demo_plan(), path)
    assert path.read_text() == "mine"
    with pytest.raises(InputError, match=r"plan\.shp: .* allowed are \.gpkg and \.geojson"):
        write_gis(demo_plan(), tmp_path / "plan.shp")
    assert [p.name for p in tmp_path.iterdir()] == ["plan.geojson"]


def test_hostile_names_are_text_in_both_files(straight_coast, tmp_path):
    hostile = "\"}]} <script>\x1b[31m\u202e'; DROP TABLE legs; --\ud800"
    points = [Waypoint(0.0, 9.99, hostile), Waypoint(0.05, 9.99, "b")]
    plan = plan_trip(Trip(route_from_points(points, name=hostile), coast=straight_coast))
    for ending in ("gpkg", "geojson"):
        write_gis(plan, tmp_path / f"plan.{ending}")
        read = gpd.read_file(tmp_path / f"plan.{ending}", layer=0)
        name = read["from"].iloc[0]
        assert name.startswith('"}]} <script>')
        assert "\x1b" not in name
        assert "\u202e" not in name


# --- the dataset --------------------------------------------------------------------------------


def test_the_dataset_has_what_the_scans_have():
    plan, data = demo_plan(), launches_dataset(demo_plan())
    assert dict(data.sizes) == {"launch": plan.stages[0].scan.launch.size, "stage": 3, "leg": 13}
    for stage in plan.stages:
        scan = stage.scan
        here = data.sel(stage=scan.stage)
        np.testing.assert_array_equal(here["verdict"], scan.verdict)
        np.testing.assert_array_equal(here["margin"], scan.margin)
        np.testing.assert_array_equal(here["arrive"], scan.arrive)
        legs = data.sel(leg=scan.leg_numbers)
        np.testing.assert_array_equal(legs["wind_ms"], scan.wind_ms)
        np.testing.assert_array_equal(legs["leg_verdict"], scan.leg_verdict)
        assert set(legs["leg_stage"].to_numpy()) == {scan.stage}
    assert data["binding"].to_numpy()[0, 0] == str(plan.stages[0].scan.binding[0])


def test_the_dataset_has_units_and_attributes_of_the_cf_conventions():
    data = launches_dataset(demo_plan())
    assert data.attrs["Conventions"].startswith("CF-1.")
    assert data.attrs["invented"] == "yes"
    assert "GSHHG" in data.attrs["source"]
    for name, variable in data.variables.items():
        assert variable.attrs["long_name"], name
        suffix = name.rsplit("_", 1)[-1]
        units = {"ms": "m s-1", "m": "m"}.get(suffix)
        assert units is None or variable.attrs["units"] == units, name
    # CF standard name table, version 86 (from memory).
    assert data["wind_ms"].attrs["standard_name"] == "wind_speed"
    assert data["gust_ms"].attrs["standard_name"] == "wind_speed_of_gust"
    flags = dict(
        zip(
            data["verdict"].attrs["flag_meanings"].split(),
            data["verdict"].attrs["flag_values"].tolist(),
            strict=True,
        )
    )
    assert flags == {v.word: int(v) for v in Verdict}


def test_the_dataset_survives_a_file(tmp_path):
    data = launches_dataset(demo_plan())
    data.to_netcdf(tmp_path / "launches.nc")
    with xr.open_dataset(tmp_path / "launches.nc", decode_timedelta=False) as read:
        for name in ("wind_ms", "verdict", "margin"):
            np.testing.assert_array_equal(read[name], data[name])
        # A file keeps nanoseconds as whole seconds or less.
        same = np.abs(read["arrive"] - data["arrive"]) <= np.timedelta64(1, "us")
        assert (same | data["arrive"].isnull()).all()
        assert read["binding"].to_numpy().tolist() == data["binding"].to_numpy().tolist()


def test_members_are_told(straight_coast):
    wind = np.linspace(2.0, 14.0, 5)[:, None] * np.ones((5, 25))
    route = north_route(6_000.0, offshore_m=300.0)
    plan = plan_trip(
        Trip(route, coast=straight_coast, forecast=forecast(v=wind, members=5), now=MIDNIGHT)
    )
    data = launches_dataset(plan)
    share = data["share_within"].to_numpy()
    assert np.nanmin(share) >= 0.0
    assert np.nanmax(share) < 1.0  # some member is too windy for any launch
    assert data["wind_ms"].attrs["comment"] == "median of the forecast's members"


def test_a_plan_without_launches_has_no_dataset():
    plan = plan_trip(Trip(demo_plan().route, coast=demo_plan().coast))
    with pytest.raises(InputError, match="no launches: it was made without a forecast"):
        launches_dataset(plan)
