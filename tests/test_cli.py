"""The command line end to end: answers, files, and one line for whatever is bad."""

import io
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from routeplan import __version__, cli
from routeplan._demo.files import demo_files
from routeplan._show.outputs import check_outputs, write_outputs
from routeplan.errors import InputError

HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n'
GPX = '<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">'


def gpx(*points, name="test"):
    inner = "".join(
        f'<rtept lat="{lat}" lon="{lon}"><name>{label}</name></rtept>' for lat, lon, label in points
    )
    return f"{HEAD}{GPX}<rte><name>{name}</name>{inner}</rte></gpx>"


FILES = {
    "map.png", "launches.png", "plan.json", "report.html", "sheet.pdf", "sheet.txt", "card.pdf",
    "route.gpx",
}  # fmt: skip
GOOD = gpx((58.6, 11.19, "a"), (58.61, 11.195, "b"))


@pytest.fixture
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "good.gpx").write_text(GOOD, encoding="utf-8")
    return tmp_path


def grid(hours=24, first="2026-07-13T00:00", scale=1.0, units="m s-1", **changes):
    """A small forecast of steady wind around the route of `GOOD`, changed as asked."""
    time = np.datetime64(first, "ns") + np.arange(hours) * np.timedelta64(1, "h")
    lat, lon = np.array([58.5, 58.6, 58.7]), np.array([11.0, 11.2, 11.4])
    shape = (hours, 3, 3)
    dims = ("time", "latitude", "longitude")
    names = changes.pop("names", {"u10": "eastward_wind", "v10": "northward_wind"})
    variables = {
        short: (dims, np.full(shape, 2.0 * scale, "f4"), {"standard_name": name, "units": units})
        for short, name in names.items()
    }
    coords = {
        "time": changes.pop("time", time),
        "latitude": ("latitude", lat, {"units": "degrees_north", "standard_name": "latitude"}),
        "longitude": ("longitude", lon, {"units": "degrees_east", "standard_name": "longitude"}),
    }
    return xr.Dataset(variables, coords, {"Conventions": "CF-1.8"})


def run(*arguments, **how):
    """Run the command line in a process of its own."""
    environment = {**os.environ, "COLUMNS": "80", **how.pop("env", {})}
    return subprocess.run(
        [sys.executable, "-m", "routeplan.cli", *map(str, arguments)],
        capture_output=True, env=environment, timeout=120, check=False, **how,
    )  # fmt: skip


def refused(capfd, *arguments):
    """Run in process, expect exit status 2 and one line on standard error; return the line."""
    code = cli.run([str(a) for a in arguments])
    out, err = capfd.readouterr()
    assert code == 2, err
    assert out == ""
    assert err.startswith("routeplan: ")
    assert err.count("\n") == 1
    assert err.endswith("\n")
    assert "Traceback" not in err
    assert "\x1b" not in err
    return err


# --- what is computed ---------------------------------------------------------------------


def test_demo_as_one_document_with_pictures(tmp_path):
    out = tmp_path / "trip" / "demo"
    done = run("demo", "--out", out, "--json")
    assert done.returncode == 0, done.stderr
    assert done.stderr == b""
    document = json.loads(done.stdout)
    assert document["invented"] is True
    assert len({launch["verdict"] for launch in document["launches"]}) >= 2
    assert document["windows"]
    assert any(leg["flags"] for leg in document["legs"])
    assert {s["stage"] for s in document["stages"]} == {1, 2, 3}
    assert {p.name for p in out.iterdir()} == FILES
    assert sorted(document["files"]) == sorted(str(p) for p in out.iterdir())
    assert (out / "plan.json").read_bytes() == done.stdout


def test_demo_as_text_at_80_columns(capfd, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    assert cli.run(["demo"]) == 0
    out, err = capfd.readouterr()
    assert err == ""
    assert out.startswith("INVENTED DATA")
    assert max(len(line) for line in out.splitlines()) <= 80
    assert not any(line.endswith(" ") for line in out.splitlines())
    assert "Launch between" in out
    assert "\x1b" not in out


@pytest.mark.parametrize(
    ("points", "at_most_m"),
    [
        # Half the breadth of Lake Taupo, New Zealand, and of the Beagle Channel off Ushuaia,
        # from memory: about 33 km by 46 km, and 5 km to 14 km.
        ([(-38.74, 175.85, "jetty"), (-38.88, 175.82, "point")], 17_000.0),
        ([(-54.83, -68.25, "north"), (-54.88, -68.10, "islets")], 7_000.0),
    ],
)
def test_legs_anywhere_need_no_data(capfd, here, points, at_most_m):
    (here / "far.gpx").write_text(gpx(*points), encoding="utf-8")
    assert cli.run(["legs", "far.gpx", "--json"]) == 0
    out, err = capfd.readouterr()
    assert err == ""
    document = json.loads(out)
    leg = document["legs"][0]
    assert leg["from"] == points[0][2]
    assert 0.0 < leg["offshore_max_m"] <= at_most_m
    assert document["coast"]["nominal_error_m"] > 0


def test_legs_writes_the_map_it_is_asked_for(capfd, here):
    assert cli.run(["legs", "good.gpx", "--map", "m.png", "--json"]) == 0
    assert json.loads(capfd.readouterr().out)["files"] == ["m.png"]
    assert (here / "m.png").read_bytes()[:4] == b"\x89PNG"
    assert sorted(p.name for p in here.iterdir()) == ["good.gpx", "m.png"]


def test_every_file_of_the_demo_is_what_its_name_says(tmp_path, capfd):
    assert cli.run(["demo", "--out", str(tmp_path / "d"), "--gis", str(tmp_path / "l.gpkg")]) == 0
    text = capfd.readouterr().out
    begins = {
        "map.png": b"\x89PNG", "launches.png": b"\x89PNG", "plan.json": b"{\n",
        "report.html": b"<!doctype html>", "sheet.pdf": b"%PDF-", "card.pdf": b"%PDF-",
        "route.gpx": b"<?xml", "sheet.txt": b"",
    }  # fmt: skip
    for name, begin in begins.items():
        content = (tmp_path / "d" / name).read_bytes()
        assert content[: len(begin)].lower() == begin.lower(), name
        assert len(content) > 1_000
        assert f"wrote {tmp_path / 'd' / name}" in re.sub(r"\s+", " ", text) or name in text
    assert (tmp_path / "l.gpkg").read_bytes()[:15] == b"SQLite format 3"
    for name in ("report.html", "sheet.txt", "plan.json", "route.gpx"):
        assert b"invented" in (tmp_path / "d" / name).read_bytes().lower(), name


def test_legs_writes_layers_without_a_forecast(capfd, here):
    assert cli.run(["legs", "good.gpx", "--gis", "l.geojson", "--json"]) == 0
    assert json.loads(capfd.readouterr().out)["files"] == ["l.geojson"]
    layers = json.loads((here / "l.geojson").read_text(encoding="utf-8"))["features"]
    assert {f["properties"]["layer"] for f in layers} == {"legs", "places", "coast"}
    line = refused(capfd, "legs", "good.gpx", "--gis", "l.geojson")
    assert "l.geojson: is there already" in line
    assert cli.run(["legs", "good.gpx", "--gis", "l.geojson", "--force"]) == 0
    capfd.readouterr()
    assert "l.shp" in refused(capfd, "legs", "good.gpx", "--gis", "l.shp")


def test_layers_beside_the_document_or_of_its_name(capfd, here):
    grid(hours=6).to_netcdf(here / "wind.nc")
    windows = ["windows", "good.gpx", "--forecast", "wind.nc", "--step", "6 h"]
    for name in ("trip/plan.json", "trip/../trip/plan.json"):
        line = refused(capfd, *windows, "--out", "trip", "--gis", name)
        assert "is one of the files of --out" in line
    assert cli.run([*windows, "--out", "trip", "--gis", "plan.json"]) == 0
    capfd.readouterr()
    assert json.loads((here / "plan.json").read_text())["type"] == "FeatureCollection"
    assert json.loads((here / "trip" / "plan.json").read_text())["files"][-1] == "plan.json"
    assert cli.run([*windows, "--gis", "layers.gpkg"]) == 0
    assert "layers.gpkg" in capfd.readouterr().out
    assert (here / "layers.gpkg").stat().st_size > 50_000


def test_nothing_is_left_when_one_file_cannot_be_made(capfd, here, monkeypatch):
    """All or nothing: a fault in the last file leaves no directory behind."""
    grid().to_netcdf(here / "wind.nc")

    def fail(_):
        raise InputError("no card")  # noqa: EM101

    monkeypatch.setattr("routeplan.sheet.card_pdf", fail)
    refused(capfd, "windows", "good.gpx", "--forecast", "wind.nc", "--out", "trip")
    assert sorted(p.name for p in here.iterdir()) == ["good.gpx", "wind.nc"]


def test_windows_with_everything_said(capfd, here):
    grid().to_netcdf(here / "wind.nc")
    (here / "limits.toml").write_text('[limits]\nwind = "9 kn"\ndaylight = "none"\n')
    arguments = ["windows", "good.gpx", "--forecast", "wind.nc", "--limits", "limits.toml",
                 "--craft", "sea kayak", "--speed", "6 km/h", "--step", "2 h",
                 "--zone", "America/Vancouver", "--out", "trip", "--json"]  # fmt: skip
    assert cli.run(arguments) == 0
    document = json.loads(capfd.readouterr().out)
    assert document["craft"]["name"] == "sea kayak"
    assert document["craft"]["still_water_speed_ms"] == pytest.approx(6 / 3.6, abs=0.001)
    assert document["launch_step_s"] == 7200
    assert len(document["launches"]) == 12
    assert document["zone"] == "America/Vancouver"
    assert document["limits"]["daylight_margin_s"] is None
    assert set(document["not_judged"]) >= {"gust", "visibility"}
    assert document["invented"] is False
    assert {p.name for p in (here / "trip").iterdir()} == FILES


def test_the_rest_of_a_trip_from_where_and_when_the_group_is(capfd, here):
    """Half-way between a and b at 10 UTC: half of the way is left, and no launch before."""
    grid().to_netcdf(here / "wind.nc")
    whole = ["windows", "good.gpx", "--forecast", "wind.nc", "--json"]
    rest = [*whole, "--from", "58.605,11.1925", "--at", "2026-07-13T12:00+02:00"]
    documents = []
    for arguments in (whole, rest):
        assert cli.run(arguments) == 0
        documents.append(json.loads(capfd.readouterr().out))
    before, after = documents
    assert after["route"]["length_m"] == pytest.approx(before["route"]["length_m"] / 2, abs=2)
    assert after["stages"][0]["to"] == "b"
    assert before["stages"][0]["launch"] < "2026-07-13T10:00:00Z" <= after["stages"][0]["launch"]
    assert after["itinerary"]["depart"] == "2026-07-13T10:00:00Z"
    assert any(note.startswith("planned is the rest of the route") for note in after["notes"])


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--at", "2026-07-13T10:00Z"], ["--at", "--from LAT,LON"]),
        (["--from", "58.6"], ["--from", "'58.6'", "LAT,LON"]),
        (["--from", "nan,11.19"], ["--from", "-90..90"]),
        (["--from", "-58.6,11.19"], ["--from", "off the line", "5 km"]),
        (["--from", "58.61,11.195"], ["--from", "at the end of the route"]),
        (["--from", "58.605,11.19", "--others"], ["--others", "not with --from"]),
        (["--from", "58.605,11.19", "--at", "noon"], ["--at", "'noon'", "2026"]),
        (["--depart", "1600-07-13T06:00Z"], ["--depart", "'1600-07-13T06:00Z'", "2026"]),
        (
            ["--from", "58.605,11.19", "--depart", "2026-07-13T10:00Z"],
            ["--depart", "not with --from"],
        ),
    ],
)
@pytest.mark.usefixtures("here")
def test_bad_positions_of_the_group(capfd, arguments, words):
    forecast = demo_files().forecast_netcdf
    line = refused(capfd, "windows", "good.gpx", "--forecast", forecast, *arguments)
    for word in words:
        assert word in line


def test_other_days_and_other_ways_round(capfd, here):
    """Half of the way to b lies a camp: the length there and back is that of the way to b."""
    grid(hours=72).to_netcdf(here / "wind.nc")
    (here / "camps.csv").write_text("name,kind,latitude,longitude\nHalf,camp,58.605,11.1925\n")
    arguments = ["windows", "good.gpx", "--forecast", "wind.nc", "--places", "camps.csv"]
    found = {}
    for more in ([], ["--others"]):
        assert cli.run([*arguments, *more, "--json"]) == 0
        document = json.loads(capfd.readouterr().out)
        found[len(more)] = document["itinerary"]["others"]
    assert [other["kind"] for other in found[0]] == ["later start"]
    trips = found[1][1:]
    assert [t["kind"] for t in trips] == ["other direction", "round trip", "turn round"]
    assert [t["stages"][-1]["to"] for t in trips] == ["a", "a", "a"]
    whole = document["route"]["length_m"]
    assert [t["length_m"] for t in trips] == pytest.approx([whole, 2 * whole, whole], abs=5)
    assert all(t["complete"] and t["judged_in_full"] is False for t in trips)
    best = document["stages"][0]["launch"]
    assert found[0][0]["stages"][0]["launch"][:10] > best[:10]
    assert cli.run([*arguments, "--others"]) == 0
    text = " ".join(capfd.readouterr().out.split())
    for kind in ("Later start:", "Other direction from b:", "Round trip", "Turn round at Half:"):
        assert text.count(f"Instead, judged roughly: {kind}") == 1


def test_ways_out_of_each_stretch(capfd, here):
    """On a coast due west along 11.18 E the shore is to port of a course of about north."""
    ring = [[11.0, 58.5], [11.18, 58.5], [11.18, 58.7], [11.0, 58.7], [11.0, 58.5]]
    shape = {"type": "Polygon", "coordinates": [ring]}
    feature = {"type": "Feature", "properties": {}, "geometry": shape}
    collection = {"type": "FeatureCollection", "features": [feature]}
    (here / "coast.geojson").write_text(json.dumps(collection), encoding="utf-8")
    grid(hours=48).to_netcdf(here / "wind.nc")
    (here / "roads.csv").write_text("name,kind,latitude,longitude\nQuay,road,58.609,11.195\n")
    arguments = ["windows", "good.gpx", "--forecast", "wind.nc", "--coast", "coast.geojson",
                 "--places", "roads.csv", "--json"]  # fmt: skip
    assert cli.run(arguments) == 0
    (stage,) = json.loads(capfd.readouterr().out)["stages"]
    assert stage["bailouts"][0]["begin_m"] == 0
    assert stage["bailouts"][-1]["end_m"] == pytest.approx(stage["length_m"], abs=1)
    way = stage["bailouts"][0]
    # A degree of longitude at 58.6 N is 58.1 km (a = 6378137 m, f = 1/298.257223563).
    beside = (way["longitude_deg"] - 11.18) * 58_130.0
    assert way["port"]["distance_m"] == pytest.approx(beside, rel=0.02)
    assert way["port"]["bearing_deg"] == pytest.approx(270.0, abs=10.0)
    assert way["starboard"]["distance_m"] is None
    assert way["starboard"]["known"] is True
    assert way["ahead"]["name"] == "Quay"
    assert way["behind"] is None
    assert way["commits"] is (way["port"]["time_s"] > 1_800)
    assert stage["launch"] < way["when"] < stage["arrive"]


def test_no_other_way_round_is_said(capfd, here):
    """A gale all the time: there is no plan, nor one the other way round."""
    grid(scale=10.0).to_netcdf(here / "wind.nc")
    arguments = ["windows", "good.gpx", "--forecast", "wind.nc", "--others"]
    assert cli.run([*arguments, "--json"]) == 0
    assert json.loads(capfd.readouterr().out)["itinerary"]["others"] == []
    assert cli.run(arguments) == 0
    assert "No other way round begins with a good launch" in capfd.readouterr().out


def test_past_the_end_of_the_forecast_is_unknown(capfd, here):
    grid(hours=3).to_netcdf(here / "short.nc")
    assert cli.run(["windows", "good.gpx", "--forecast", "short.nc", "--json"]) == 0
    launches = json.loads(capfd.readouterr().out)["launches"]
    assert launches[-1]["verdict"] == "unknown"
    assert launches[-1]["arrive"] is None


@pytest.mark.usefixtures("here")
def test_forecast_show(capfd):
    files = demo_files()
    assert cli.run(["forecast", "show", str(files.forecast_grib), "--route", "good.gpx"]) == 0
    text = capfd.readouterr().out
    assert "13 Jul 06:00 UTC" in text
    assert "lie on the grid" in text
    assert cli.run(["forecast", "show", str(files.forecast_netcdf), "--json"]) == 0
    document = json.loads(capfd.readouterr().out)
    assert document["invented"] is True
    assert document["forecast"]["first"] == "2026-07-13T06:00:00Z"


def test_a_coastline_of_ones_own(capfd, here):
    island = [[[11.0, 58.5], [11.18, 58.5], [11.18, 58.7], [11.0, 58.7], [11.0, 58.5]]]
    shape = {"type": "Polygon", "coordinates": island}
    feature = {"type": "Feature", "properties": {}, "geometry": shape}
    collection = {"type": "FeatureCollection", "features": [feature]}
    (here / "coast.geojson").write_text(json.dumps(collection), encoding="utf-8")
    legs = ["legs", "good.gpx", "--json", "--coast", "coast.geojson"]
    assert cli.run([*legs, "--coast-error", "30", "--map", "m.png"]) == 0
    document = json.loads(capfd.readouterr().out)
    assert document["coast"]["nominal_error_m"] == 30
    assert "coast.geojson" in document["coast"]["source"]
    # 0.015 degrees of longitude east of the shore at 58.61 N: the parallel is 871 m there.
    assert document["legs"][0]["offshore_max_m"] == pytest.approx(871, abs=5)
    assert cli.run(legs) == 0
    assert json.loads(capfd.readouterr().out)["coast"]["nominal_error_m"] is None
    assert "missing.shp" in refused(capfd, "legs", "good.gpx", "--coast", "missing.shp")


def test_version_and_help(capfd):
    assert cli.run(["--version"]) == 0
    assert capfd.readouterr().out == f"routeplan {__version__}\n"
    for arguments in (["--help"], ["windows", "--help"], ["forecast", "show", "--help"]):
        assert cli.run(arguments) == 0
        out, err = capfd.readouterr()
        assert out.startswith("Usage: routeplan")
        assert err == ""


def test_hostile_names_are_text_in_the_terminal(capfd, here):
    points = ((58.6, 11.19, "[red]a[/red]"), (58.61, 11.195, "b&#10;c&#x202E;d"))
    (here / "odd.gpx").write_text(gpx(*points, name="[bold]&lt;x&gt;"), encoding="utf-8")
    assert cli.run(["legs", "odd.gpx"]) == 0
    out = capfd.readouterr().out
    assert "[red]a[/red]" in out
    assert "b cd" in out
    assert "[bold]<x>" in out


# --- bad input ----------------------------------------------------------------------------

BOMB = (
    f'{HEAD}<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]>'
    f'{GPX}<rte><rtept lat="1" lon="1"><name>&b;</name></rtept></rte></gpx>'
)
BAD_ROUTES = {
    "notxml.gpx": ("hello", "not XML"),
    "bomb.gpx": (BOMB, "entities"),
    "empty.gpx": ("", "empty"),
    "one.gpx": (gpx((58.6, 11.2, "a")), "one point"),
    "north.gpx": (gpx((98.6, 11.2, "a"), (58.6, 11.2, "b")), "-90..90"),
    "east.gpx": (gpx((58.6, 211.2, "a"), (58.6, 11.2, "b")), "-180..180"),
    "nan.gpx": (gpx(("nan", 11.2, "a"), (58.6, 11.2, "b")), "nan"),
    "same.gpx": (gpx((58.6, 11.2, "a"), (58.6, 11.2, "b")), "no length"),
    "land.gpx": (gpx((58.60, 11.36, "a"), (58.61, 11.37, "b")), "lies on land"),
    "two.gpx": (GOOD.replace("</gpx>", "") + GOOD[GOOD.index("<rte>") :], "choose"),
    "cut.gpx": (GOOD[: len(GOOD) // 2], "ends too early"),
}


@pytest.mark.parametrize("name", BAD_ROUTES)
@pytest.mark.parametrize("command", ["legs", "windows"])
def test_bad_routes(capfd, here, name, command):
    content, why = BAD_ROUTES[name]
    (here / name).write_text(content, encoding="utf-8")
    arguments = [command, name, "--out" if command == "windows" else "--map"]
    arguments += ["out"] if command == "windows" else ["out.png"]
    if command == "windows":
        arguments += ["--forecast", str(demo_files().forecast_netcdf)]
    line = refused(capfd, *arguments)
    assert name in line
    assert why in line
    assert sorted(p.name for p in here.iterdir()) == sorted(["good.gpx", name])


def test_missing_files_and_directories(capfd, here):
    (here / "dir").mkdir()
    for name in ("missing.gpx", "dir"):
        assert name in refused(capfd, "legs", name)
        assert name in refused(capfd, "windows", "good.gpx", "--forecast", name)
        assert name in refused(capfd, "legs", "good.gpx", "--limits", name)
        assert name in refused(capfd, "forecast", "show", name)


def _shuffled(ds):
    return ds.isel(time=[2, 0, 1, *range(3, ds.sizes["time"])])


def _repeated(ds):
    return ds.isel(time=[0, 0, *range(1, ds.sizes["time"])])


BAD_FORECASTS = {
    "nowind.nc": lambda: grid(names={"t2m": "air_temperature"}, units="K", scale=140),
    "units.nc": lambda: grid(units="K"),
    "nounits.nc": lambda: grid(units=""),
    "unsorted.nc": lambda: _shuffled(grid()),
    "repeated.nc": lambda: _repeated(grid()),
}


@pytest.mark.parametrize("name", BAD_FORECASTS)
def test_bad_forecasts(capfd, here, name):
    BAD_FORECASTS[name]().to_netcdf(here / name)
    line = refused(capfd, "windows", "good.gpx", "--forecast", name, "--out", "out", "--json")
    assert name in line
    assert not (here / "out").exists()


@pytest.mark.parametrize(("source", "share"), [("forecast_grib", 0.01), ("forecast_netcdf", 0.01),
                                               ("forecast_netcdf", 0.4)])  # fmt: skip
def test_truncated_forecasts(capfd, here, source, share):
    whole = getattr(demo_files(), source)
    content = whole.read_bytes()
    cut = here / f"cut{whole.suffix}"
    cut.write_bytes(content[: int(len(content) * share)])
    line = refused(capfd, "windows", "good.gpx", "--forecast", cut.name, "--out", "out")
    assert cut.name in line
    assert not (here / "out").exists()


def test_a_forecast_elsewhere_does_not_cover(capfd, here):
    (here / "far.gpx").write_text(gpx((-45.05, 168.60, "a"), (-45.10, 168.50, "b")))
    line = refused(
        capfd, "windows", "far.gpx", "--forecast", demo_files().forecast_netcdf, "--out", "out"
    )
    assert "cover" in line
    assert not (here / "out").exists()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], ["Missing command", "demo, forecast, legs, page, trip, windows"]),
        (["sail"], ["sail", "demo, forecast, legs, page, trip, windows"]),
        (["forecast"], ["show"]),
        (["legs"], ["ROUTE.gpx"]),
        (["legs", "good.gpx", "--speed", "3"], ["--speed", "--select", "--map"]),
        (["legs", "good.gpx", "extra"], ["extra"]),
        (["legs", "good.gpx", "--map"], ["--map"]),
        (["windows", "good.gpx"], ["--forecast"]),
        (["legs", "good.gpx", "--coast", "x.shp", "--coast-error", "few"], ["--coast-error"]),
        (
            ["legs", "good.gpx", "--coast", "x.shp", "--coast-error", "nan"],
            ["--coast-error", "0 to"],
        ),
        (["legs", "good.gpx", "--coast-error", "5"], ["--coast-error", "--coast FILE"]),
        (["legs", "good.gpx", "--select", "7"], ["good.gpx", "'7'"]),
        (["legs", "good.gpx", "--map", "m.jpg"], ["--map", "m.jpg", ".png"]),
        (["legs", "good.gpx", "--map", "no/m.png"], ["no", "does not exist"]),
    ],
)
def test_usage_errors_name_the_option_and_what_is_allowed(capfd, here, arguments, words):
    line = refused(capfd, *arguments)
    for word in words:
        assert word in line
    assert [p.name for p in here.iterdir()] == ["good.gpx"]


@pytest.mark.parametrize(
    ("option", "value", "word"),
    [
        ("--step", "30", "min"),
        ("--step", "1 s", "'1 s' is out of range; allowed is 1 min to 1 d"),
        ("--step", "-5 min", "allowed is 1 min to 1 d"),
        ("--speed", "fast", "km/h"),
        ("--speed", "600 km/h", "a speed in still water of 167 m/s; allowed is 0.2 to 5 m/s"),
        ("--speed", "17 km/h", "do not reach 4.72 m/s against still air alone"),
        ("--craft", "tank", "touring board"),
        ("--zone", "Mars", "Europe/Stockholm"),
        ("--old-after", "-1 h", "'-1 h' is out of range; allowed is 0 s or more"),
        ("--reach", "50 m", "a longest stage of 50 m is not allowed; allowed is 100 m to 1,000 km"),
        ("--party", "0", "a party of 0 is not allowed; allowed is 1 to 10,000"),
    ],
)
@pytest.mark.usefixtures("here")
def test_bad_values_of_windows(capfd, option, value, word):
    forecast = demo_files().forecast_netcdf
    line = refused(capfd, "windows", "good.gpx", "--forecast", forecast, option, value)
    assert line.startswith(f"routeplan: {option}: ")
    assert word in line
    assert "_ms" not in line
    assert "_m " not in line


def test_message_of_a_hostile_file_name_is_one_clean_line(capfd):
    assert "evil" in refused(capfd, "legs", "evil\x1b[31m\nname.gpx")


# --- files --------------------------------------------------------------------------------


@pytest.mark.parametrize("there", ["map.png", "launches.png", "plan.json"])
def test_nothing_is_written_or_worked_out_when_one_file_is_there(capfd, here, monkeypatch, there):
    (here / "out").mkdir()
    (here / "out" / there).write_text("mine")

    def work(*_, **__):
        pytest.fail("the work began before the files were looked at")

    monkeypatch.setattr("routeplan.plan.plan_trip", work)
    line = refused(capfd, "demo", "--out", "out")
    assert there in line
    assert "--force" in line
    assert [p.name for p in (here / "out").iterdir()] == [there]
    assert (here / "out" / there).read_text() == "mine"


def test_force_overwrites(capfd, here):
    (here / "m.png").write_text("mine")
    assert "m.png" in refused(capfd, "legs", "good.gpx", "--map", "m.png")
    assert (here / "m.png").read_text() == "mine"
    assert cli.run(["legs", "good.gpx", "--map", "m.png", "--force"]) == 0
    assert (here / "m.png").read_bytes()[:4] == b"\x89PNG"


def test_out_that_is_a_file_is_refused(capfd, here):
    (here / "out").write_text("mine")
    assert "out: is a file" in refused(capfd, "demo", "--out", "out", "--force")
    assert (here / "out").read_text() == "mine"


def test_a_failure_half_way_leaves_nothing(tmp_path, monkeypatch):
    target = tmp_path / "new"
    files = {target / "a": b"1", target / "b": b"2"}
    real = Path.open

    def full(self, *arguments, **named):
        if ".b." in self.name:
            raise OSError(28, "No space left on device", str(self))
        return real(self, *arguments, **named)

    monkeypatch.setattr(Path, "open", full)
    with pytest.raises(InputError, match="No space left on device"):
        write_outputs(files, overwrite=False, directory=target)
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_appears_meanwhile_is_not_overwritten(tmp_path, monkeypatch):
    target = tmp_path / "a"
    monkeypatch.setattr("routeplan._show.outputs.check_outputs", lambda *_, **__: None)
    target.write_bytes(b"mine")
    with pytest.raises(InputError, match="a: cannot be written: File exists"):
        write_outputs({target: b"ours"}, overwrite=False)
    assert target.read_bytes() == b"mine"
    assert [p.name for p in tmp_path.iterdir()] == ["a"]


def test_links_to_nowhere_count_as_files(tmp_path):
    (tmp_path / "link").symlink_to(tmp_path / "nowhere")
    with pytest.raises(InputError, match="is there already"):
        check_outputs([tmp_path / "link"], overwrite=False)


# --- terminals, pipes, bugs ---------------------------------------------------------------


def test_a_reader_who_leaves_is_no_error(here):
    command_of_legs = f'"{sys.executable}" -m routeplan.cli legs good.gpx'
    command = f"{command_of_legs} | head -c 10; exit ${{PIPESTATUS[0]}}"
    done = subprocess.run(["bash", "-c", command], capture_output=True, cwd=here, check=False)
    assert done.stderr == b""
    assert done.returncode == 0
    closed = subprocess.run(
        ["bash", "-c", f"{command_of_legs} --json >&-"],
        capture_output=True, cwd=here, check=False,
    )  # fmt: skip
    assert closed.stderr == b""
    assert closed.returncode == 0


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_a_full_disk_is_one_line(here):
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "routeplan.cli", "legs", "good.gpx"],
            stdout=full, stderr=subprocess.PIPE, cwd=here, check=False,
        )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr.decode().count("\n") == 1
    assert b"standard output cannot be written" in done.stderr


def printed(monkeypatch, encoding, *arguments):
    """What a command writes to a standard output of an encoding, as bytes."""
    out = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
    with monkeypatch.context() as patch:
        patch.setattr(sys, "stdout", out)
        assert cli.run(arguments) == 0
        out.flush()
    return out.buffer.getvalue()


@pytest.mark.parametrize(
    ("encoding", "shown"), [("ascii", "Vader-?"), ("latin-1", "Väder-?"), ("utf-8", "Väder–北")]
)
def test_terminals_of_other_encodings(here, monkeypatch, encoding, shown):
    (here / "name.gpx").write_text(GOOD.replace(">a<", ">Väder–北<"), encoding="utf-8")
    assert shown in printed(monkeypatch, encoding, "legs", "name.gpx").decode(encoding)
    document = json.loads(printed(monkeypatch, encoding, "legs", "name.gpx", "--json").decode())
    assert document["legs"][0]["from"] == "Väder–北"


@pytest.mark.usefixtures("here")
def test_no_colour_when_it_is_not_wanted(monkeypatch):
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("NO_COLOR", "1")
    text = printed(monkeypatch, "utf-8", "legs", "good.gpx").decode()
    assert set(re.findall(r"\x1b\[([\d;]*)m", text)) <= {"0", "1", "2", "4", "1;7"}


@pytest.mark.usefixtures("here")
def test_a_bug_is_called_a_bug(capfd, monkeypatch):
    def broken(*_, **__):
        return 1 / 0

    monkeypatch.setattr("routeplan.plan.plan_trip", broken)
    assert cli.run(["legs", "good.gpx"]) == 1
    out, err = capfd.readouterr()
    assert out == ""
    assert err.splitlines()[0].startswith("routeplan: this is a bug in routeplan")
    assert "ZeroDivisionError" in err


@pytest.mark.usefixtures("here")
def test_an_interrupt_is_quiet(capfd, monkeypatch):
    def interrupted(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr("routeplan.plan.plan_trip", interrupted)
    assert cli.run(["legs", "good.gpx"]) == 130
    assert capfd.readouterr().out == ""


@pytest.mark.usefixtures("here")
def test_progress_goes_to_a_terminal_only(capfd, monkeypatch):
    assert cli.run(["legs", "good.gpx", "--json"]) == 0
    assert capfd.readouterr().err == ""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    assert cli.run(["legs", "good.gpx", "--json"]) == 0
    out, err = capfd.readouterr()
    assert "measuring the legs" in err
    assert err.endswith("\r")
    json.loads(out)


def test_legs_loads_nothing_heavy(here):
    code = (
        "import sys; from routeplan.cli import run; run(['legs', 'good.gpx']); "
        "print('LOADED', *sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=here, check=True
    )
    loaded = set(done.stdout.rsplit("LOADED", 1)[1].split())
    heavy = {
        "xarray",
        "pandas",
        "geopandas",
        "matplotlib",
        "cfgrib",
        "netCDF4",
        "eccodes",
        "pyogrio",
    }
    assert heavy & loaded == set()
