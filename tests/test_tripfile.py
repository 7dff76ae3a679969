"""A trip from its file: everything in it counts, and what is wrong is told in one line."""

import json
import re
import shutil
import time
import tomllib
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
from _gribservers import GribFilter
from _servers import FaultyServer
from planmaker import demo_plan

from routeplan import cli, providers
from routeplan._demo.files import demo_files, demo_group_file
from routeplan._download.fetcher import Fetcher
from routeplan._forecast.read import read_forecast
from routeplan.errors import GPXError, InputError
from routeplan.gis import coast_frame
from routeplan.limits import Limits
from routeplan.plan import Trip
from routeplan.providers import PROVIDERS
from routeplan.tripfile import read_trip

DOCS = Path(__file__).parent.parent / "docs" / "trip.md"
LEAST = '[route]\nfile = "route.gpx"\n[forecast]\nfile = "forecast.nc"\n'


def blocks():
    """Trip, places and rules of the example in the documentation."""
    text = DOCS.read_text(encoding="utf-8")
    return [body for _, body in re.findall(r"```(toml|csv)\n(.*?)```", text, re.DOTALL)]


@pytest.fixture
def _read_here(monkeypatch):
    """Read files in this process: starting another takes most of the time of a test."""
    monkeypatch.setattr(
        "routeplan.forecast.read_guarded", lambda paths, request, *_: read_forecast(paths, request)
    )


@pytest.fixture
def here(tmp_path, monkeypatch):
    """A folder with the demo's route and forecast under the names of the example."""
    monkeypatch.chdir(tmp_path)
    shutil.copy(demo_files().route, "route.gpx")
    shutil.copy(demo_files().forecast_netcdf, "forecast.nc")
    return tmp_path


@pytest.fixture
def example(here):
    """The example of the documentation with all its files."""
    trip, places, rules = blocks()
    for name, text in (("trip.toml", trip), ("places.csv", places), ("rules.toml", rules)):
        (here / name).write_text(text, encoding="utf-8")
    (here / "coast.geojson").write_text(coast_frame(demo_plan())[["geometry"]].to_json())
    return here / "trip.toml"


def written(folder, text):
    path = folder / "trip.toml"
    path.write_text(text, encoding="utf-8")
    return path


# --- what is read -------------------------------------------------------------------------------


@pytest.mark.usefixtures("_read_here")
def test_the_example_of_the_documentation_is_read_whole(example):
    trip = read_trip(example, now=np.datetime64("2026-07-13T05:00", "ns"))
    assert trip.title == "Three days between the skerries"
    assert trip.zone == "Europe/Stockholm"
    assert (trip.launch_step_s, trip.old_after_s) == (3_600.0, 43_200.0)
    assert trip.route.source.endswith("route.gpx")
    assert len(trip.route.legs) == 13
    assert trip.coast.nominal_error_m == 60.0
    assert trip.limits.offshore_m == 4_000.0
    assert trip.limits.explicit == {
        "wind", "gust", "headwind", "wave_height", "offshore", "daylight",
    }  # fmt: skip
    board, kayak = trip.crafts
    assert (board.posture, board.still_water_speed_ms) == ("kneeling", pytest.approx(5 / 3.6))
    assert kayak.name == "sea kayak"
    pace = trip.pace
    assert (pace.factor, pace.decay_per_h) == pytest.approx((0.95, 0.02))
    assert pace.fresh_s == 10_800.0
    assert (pace.rest_every_s, pace.rest_s) == (5_400.0, 600.0)
    wishes = trip.wishes
    assert wishes.depart == np.datetime64("2026-07-13T06:00")
    assert wishes.home_by == np.datetime64("2026-07-18T18:00")  # 20:00 at +02:00
    assert (wishes.reach_m, wishes.night_s, wishes.break_camp_s) == (25_000.0, 32_400.0, 3_600.0)
    assert (wishes.party, wishes.landing_wave_m, wishes.landing_wind_ms) == (2, 0.5, 6.0)
    assert (wishes.off_line_m, wishes.other_trips) == (2_000.0, False)
    assert [(p.called, p.kind) for p in trip.places] == [
        ("Camp 1", "camp"), ("Camp 2", "camp"), ("P north quay", "landing"), ("Village", "road"),
    ]  # fmt: skip
    assert [person.name for person in trip.group.people] == ["Ada", "Bo"]
    assert trip.group.bags[0].volume_m3 == pytest.approx(0.06)
    assert trip.kit_rules is not None
    assert (trip.ashore.contact, trip.ashore.emergency_phone) == ("Cleo", "112")
    assert trip.picked == {1: np.datetime64("2026-07-13T06:00")}
    assert trip.forecast.sizes["time"] == 121
    assert trip.now == np.datetime64("2026-07-13T05:00")
    assert trip.invented is False


def test_the_example_uses_every_table_and_every_key():
    """So that no key is there which the example does not show."""
    used = {
        f"{name}.{key}"
        for name, table in tomllib.loads(blocks()[0]).items()
        for key in (table[0] if isinstance(table, list) else table)
    }
    text = DOCS.read_text(encoding="utf-8")
    told = {"forecast.get", "forecast.hours", "forecast.members", "limits.file", "group.file",
            "places.kind", "places.layer", "route.from", "route.at"}  # fmt: skip
    for key in told:
        assert re.search(rf"\b{key.split('.')[1]} = ", text), key
    source = (Path(__file__).parent.parent / "routeplan").glob("_trip/parts.py")
    known = set()
    for path in [*source, Path(__file__).parent.parent / "routeplan" / "tripfile.py"]:
        for keys in re.findall(r"check_keys\(\s*\((.*?)\)\s*\)", path.read_text(), re.DOTALL):
            known |= set(re.findall(r'"(\w+)"', keys))
    assert len(known) > 30
    assert known <= {name.split(".")[1] for name in used | told}


@pytest.mark.usefixtures("_read_here")
def test_the_least_trip_is_the_defaults(here):
    trip, usual = read_trip(written(here, LEAST)), Trip(demo_plan().route)
    left = {"route", "forecast", "craft"}
    for field in fields(Trip):
        if field.name not in left:
            assert getattr(trip, field.name) == getattr(usual, field.name), field.name
    assert [craft.name for craft in trip.crafts] == ["touring board"]


@pytest.mark.usefixtures("_read_here")
def test_limits_group_and_contact_of_files_of_their_own(here):
    shutil.copy(demo_files().limits, here / "limits.toml")
    (here / "sub").mkdir()
    shutil.copy(demo_group_file(), here / "sub" / "group.toml")
    more = '[limits]\nfile = "limits.toml"\n[group]\nfile = "sub/group.toml"\n'
    trip = read_trip(written(here, LEAST + more))
    assert trip.limits.offshore_m == 4_000.0
    assert len(trip.group.people) == 4
    assert trip.ashore.contact == "somebody ashore"
    own = LEAST + more + '[ashore]\ncontact = "Eve"\n'
    assert read_trip(written(here, own)).ashore.contact == "Eve"


@pytest.mark.usefixtures("_read_here")
def test_the_rest_of_a_trip(here):
    start = 'from = "58.59553, 11.2038"\nat = 2026-07-14T05:00:00Z\n'
    trip = read_trip(written(here, LEAST.replace("[forecast]", start + "[forecast]")))
    whole = demo_plan().route
    first = sum(leg.length_m for leg in whole.stages[0])
    assert trip.route.length_m == pytest.approx(whole.length_m - first, abs=50.0)
    assert trip.wishes.depart == np.datetime64("2026-07-14T05:00")


@pytest.mark.usefixtures("_read_here")
def test_a_forecast_is_got(here, monkeypatch):
    monkeypatch.setenv("ROUTEPLAN_CACHE_DIR", str(here / "cache"))
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    monkeypatch.delenv(PROVIDERS["gefs"].variable, raising=False)
    monkeypatch.setattr(
        providers,
        "Fetcher",
        lambda folder, **how: Fetcher(folder, **{**how, "pause_s": 0.0, "backoff_s": 0.01}),
    )
    text = '[route]\nfile = "route.gpx"\n[forecast]\nget = "gefs"\nhours = "6 h"\n'
    told = []
    with FaultyServer(find=GribFilter("2026112506")) as server:
        trip = read_trip(
            written(here, text),
            now=np.datetime64("2026-11-25T12:00", "ns"),
            base_url=server.url,
            progress=lambda *what: told.append(what),
        )
    assert server.errors == []
    assert told
    assert trip.forecast.attrs["attribution"] == PROVIDERS["gefs"].attribution
    again = read_trip(
        written(here, text), now=np.datetime64("2026-11-25T12:00", "ns"), offline=True
    )
    assert again.forecast.sizes == trip.forecast.sizes


# --- from the command line ----------------------------------------------------------------------

FILES = {
    "map.png",
    "launches.png",
    "plan.json",
    "report.html",
    "sheet.pdf",
    "sheet.txt",
    "card.pdf",
    "route.gpx",
}


def test_the_example_from_the_command_line(example, capfd):
    arguments = ["trip", str(example), "--out", "out", "--gis", "trip.gpkg", "--json"]
    assert cli.run(arguments) == 0
    out, err = capfd.readouterr()
    assert err == ""
    document = json.loads(out)
    folder = example.parent / "out"
    assert {path.name for path in folder.iterdir()} == FILES
    assert document["files"] == [*(f"out/{path}" for path in document_order()), "trip.gpkg"]
    assert (folder / "plan.json").read_text() == out
    assert document["title"] == "Three days between the skerries"
    assert [craft["name"] for craft in document["crafts"]] == ["touring board", "sea kayak"]
    assert document["pace"]["rest_s"] == 600
    assert document["stages"][0]["launch"] == "2026-07-13T06:00:00Z"
    assert document["sheet"]["contact"] == "Cleo"
    assert any(thing["item"] == "camera" for thing in document["kit"])
    assert {s["to"] for s in document["stages"]} >= {"Camp 1"}
    text = (folder / "sheet.txt").read_text(encoding="utf-8")
    assert "Cleo" in text
    assert (folder / "sheet.pdf").read_bytes()[:5] == b"%PDF-"
    assert (folder / "card.pdf").read_bytes()[:5] == b"%PDF-"


def document_order():
    from routeplan._show.delivery import _FILES

    return list(_FILES)


def test_files_that_are_there_are_looked_at_before_the_work(example, capfd):
    Path("out").mkdir()
    Path("out/route.gpx").write_text("mine")
    begin = time.perf_counter()
    assert cli.run(["trip", str(example), "--out", "out"]) == 2
    assert time.perf_counter() - begin < 5.0
    err = capfd.readouterr().err
    assert "out/route.gpx: is there already" in err
    assert err.count("\n") == 1
    assert [path.name for path in Path("out").iterdir()] == ["route.gpx"]
    assert cli.run(["trip", str(example), "--gis", "trip.kml"]) == 2
    assert "allowed are .gpkg and .geojson" in capfd.readouterr().err


# --- what is refused ----------------------------------------------------------------------------

BAD = [
    ("", ["no table [route]", 'file = "route.gpx"']),
    ('[route]\nfile = "route.gpx"\n', ["no table [forecast]", 'get = "gfs"']),
    ("[route\n", ["not a TOML file", "line 1"]),
    ("[rout]\n", ["'rout' is not known", "allowed are tables trip, route"]),
    ('[route]\nfiel = "x"\n', [":2: route: fiel is not known", "allowed are file, select"]),
    ("[route]\n", [":1: route: file must be a text"]),
    ("[route]\nfile = 3\n", [":2: route: file must be a text"]),
    ('[[route]]\nfile = "a"\n[[route]]\nfile = "b"\n', [":3: route", "twice"]),
    ("route = 3\n", ["route must be tables"]),
    (
        LEAST.replace('"route.gpx"', '"../route.gpx"'),
        [":2: route: file is '../route.gpx'", "below"],
    ),
    (LEAST.replace('"route.gpx"', '"/etc/passwd"'), [":2: route: file is '/etc/passwd'"]),
    (LEAST.replace('"route.gpx"', "'C:\\x.gpx'"), [":2: route: file is", "below"]),
    (LEAST.replace('"route.gpx"', "'a\\..\\..\\x'"), [":2: route: file is", "below"]),
    (LEAST.replace('"forecast.nc"', '"//host/share/f.nc"'), [":4: forecast: file is", "below"]),
    (LEAST + '[coast]\nfile = "/vsicurl/http://x/y.shp"\n', [":6: coast: file is", "below"]),
    (LEAST.replace('"route.gpx"', '"a\\u0000b"'), [":2: route: file is 'a\\x00b'"]),
    (LEAST.replace('"route.gpx"', '"none.gpx"'), ["none.gpx does not exist"]),
    (LEAST.replace("[forecast]", "select = 1.5\n[forecast]"), [":3: route: select must be"]),
    (LEAST.replace("[forecast]", "select = 9\n[forecast]"), ["holds no route or track '9'"]),
    (LEAST.replace("[forecast]", 'at = "x"\n[forecast]'), [":3: route: at needs from"]),
    (LEAST.replace("[forecast]", 'from = "58.6, 11.2"\n[forecast]'), ["route: at is missing"]),
    (
        LEAST.replace("[forecast]", 'from = "x"\nat = 2026-07-14T05:00:00Z\n[forecast]'),
        [":3: route: from is 'x'", "LAT, LON"],
    ),
    (
        LEAST.replace("[forecast]", 'from = "nan, 11"\nat = 2026-07-14T05:00:00Z\n[forecast]'),
        [":3: route: from is 'nan, 11'"],
    ),
    (
        LEAST.replace("[forecast]", 'from = "1.0, 2.0"\nat = 2026-07-14T05:00:00Z\n[forecast]'),
        [":3: route: from cannot be used", "off the line"],
    ),
    (LEAST + 'get = "gfs"\n', [":4: forecast: file or get is needed, and only one"]),
    (LEAST + "members = true\n", [":5: forecast: members goes with get"]),
    (
        '[route]\nfile = "route.gpx"\n[forecast]\nget = "metoffice"\n',
        [":4: forecast: get is 'metoffice'", "allowed are"],
    ),
    (
        '[route]\nfile = "route.gpx"\n[forecast]\nget = "gfs"\nhours = "900 h"\n',
        [":5: forecast: hours is '900 h'"],
    ),
    (LEAST + "[trip]\ntitle = 5\n", [":6: trip: title must be a text"]),
    (LEAST + '[trip]\nzone = "Mars/Base"\n', [":6: trip: zone is 'Mars/Base'", "Europe/Stockholm"]),
    (LEAST + '[trip]\nzone = "../../etc/passwd"\n', [":6: trip: zone is"]),
    (LEAST + '[trip]\nlaunch_step = "1 s"\n', [":6: trip: launch_step is '1 s'"]),
    (LEAST + "[trip]\nlaunch_step = 30\n", [":6: trip: launch_step"]),
    (LEAST + "[limits]\nwind = 12\n", [":6: [limits] wind"]),
    (LEAST + '[limits]\nwnd = "12 kn"\n', [":6: [limits] 'wnd' is no limit", "wind"]),
    (
        LEAST + '[limits]\nfile = "l.toml"\nwind = "3 kn"\n',
        [":7: limits: wind cannot stand beside file"],
    ),
    (LEAST + '[[craft]]\nname = "raft"\n', [":6: craft 'raft': name is 'raft'", "sea kayak"]),
    (LEAST + '[[craft]]\nname = "sea kayak"\nspeed = "90 km/h"\n', [":7: craft", "speed is"]),
    (LEAST + '[[craft]]\nname = "sea kayak"\nposture = "lying"\n', [":7: craft", "kneeling"]),
    (LEAST + '[[craft]]\nname = "sea kayak"\n' * 21, ["craft is one too many; allowed are 20"]),
    (LEAST + '[pace]\nfactor = "900 %"\n', [":6: pace: factor is '900 %'"]),
    (LEAST + "[wishes]\ndepart = 2026-07-13T06:00:00\n", [":6: wishes: depart", "with a zone"]),
    (LEAST + "[wishes]\ndepart = 2026-07-13\n", [":6: wishes: depart", "with a zone"]),
    (LEAST + "[wishes]\ndepart = 1600-07-13T06:00:00Z\n", [":6: wishes: depart is '1600"]),
    (LEAST + "[wishes]\ndepart = 9999-12-31T23:59:59-23:00\n", [":6: wishes: depart is '9999"]),
    (LEAST + '[wishes]\nhome_by = "noon"\n', [":6: wishes: home_by is 'noon'"]),
    (LEAST + "[wishes]\nparty = 2.5\n", [":6: wishes: party is 2.5", "whole number"]),
    (LEAST + '[wishes]\nreach = "1 m"\n', [":6: wishes: reach is '1 m'"]),
    (LEAST + '[wishes]\nothers = "yes"\n', [":6: wishes: others is 'yes'", "true and false"]),
    (LEAST + '[places]\nfile = "p.csv"\nprefixes = { "C" = "pub" }\n', [":7: places: prefixes"]),
    (LEAST + '[places]\nfile = "none.csv"\n', ["none.csv"]),
    (LEAST + '[rules]\nfile = "r.toml"\n', [":6: rules: file needs a table [group]"]),
    (LEAST + '[[person]]\nnam = "A"\n', [":6: person: nam is not known"]),
    (LEAST + "[group]\nled = true\n", ["0 people"]),
    (
        LEAST + '[group]\nfile = "g.toml"\n[[person]]\nname = "A"\n',
        [":6: group: file cannot stand beside person"],
    ),
    (LEAST + "[ashore]\ncontakt = 1\n", [":6: ashore: contakt is not known"]),
    (LEAST + "[picked]\nx = 2026-07-13T06:00:00Z\n", [":6: picked: x is no number of a stage"]),
    (LEAST + "[picked]\n0 = 2026-07-13T06:00:00Z\n", [":6: picked: 0 is no number of a stage"]),
    (LEAST + "[picked]\n1 = 2026-07-13T06:00:00\n", [":6: picked: 1 is", "with a zone"]),
    (LEAST + "[picked]\n1 = 3\n", [":6: picked: 1 is '3'"]),
]


@pytest.mark.usefixtures("_read_here")
@pytest.mark.parametrize(("text", "words"), BAD)
def test_what_is_wrong_is_told_in_one_line(here, text, words):
    with pytest.raises(InputError, match=r".") as caught:
        read_trip(written(here, text))
    message = str(caught.value)
    for word in words:
        assert word in message
    assert "\n" not in message
    assert len(message) < 1_000


@pytest.mark.usefixtures("here")
def test_one_line_and_exit_status_2(capfd):
    Path("trip.toml").write_text("[rout]\n")
    assert cli.run(["trip", "trip.toml", "--json"]) == 2
    out, err = capfd.readouterr()
    assert out == ""
    assert err.startswith("routeplan: trip.toml: 'rout' is not known")
    assert err.count("\n") == 1
    assert cli.run(["trip", "none.toml"]) == 2
    assert "none.toml: no such file" in capfd.readouterr().err


def test_a_file_outside_is_not_even_looked_at(here):
    secret = here.parent / "secret.gpx"
    secret.write_text("not to be read")
    inside = here / "deep"
    inside.mkdir()
    path = inside / "trip.toml"
    path.write_text(LEAST.replace("route.gpx", "../../secret.gpx"))
    with pytest.raises(InputError, match="in the folder of the trip's file or below it"):
        read_trip(path)
    path.write_text(LEAST.replace("route.gpx", "./x/.././../route.gpx"))
    with pytest.raises(InputError, match="in the folder of the trip's file or below it"):
        read_trip(path)
    with pytest.raises(GPXError, match="does not exist"):
        read_trip(written(here, LEAST.replace("route.gpx", "deep/none.gpx")))


@pytest.mark.parametrize(
    "text",
    [
        "x = " + "[" * 50_000,
        "x = " + "{a = " * 20_000,
        ".".join(["a"] * 60_000) + " = 1",
        "[" + ".".join(["a"] * 60_000) + "]",
        "".join(f"[a{i}]\n" for i in range(20_000)),
        "x = " + "9" * 200_000,
        "[picked]\n" + "".join(f"{i} = 2026-07-13T06:00:00Z\n" for i in range(8_000)),
        '[trip]\ntitle = "' + "\u202e" * 60_000 + '"',
        "a" * 300_000,
        "\x00\x01",
    ],
    ids=["deep", "tables", "dotted", "header", "many", "long", "picked", "text", "large", "codes"],
)
def test_hostile_files_are_refused_fast(here, text):
    begin = time.perf_counter()
    with pytest.raises(InputError, match=r"trip\.toml") as caught:
        read_trip(written(here, text))
    assert time.perf_counter() - begin < 10.0
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 1_000


def test_limits_are_the_defaults_without_a_table():
    assert Limits() == Limits(explicit=frozenset())
