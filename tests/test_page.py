"""The local page as people use it, without a browser: by its forms and addresses."""

import json
import re
import signal
import sqlite3
import threading
import time
from dataclasses import fields as fields_of
from pathlib import Path

import httpx
import pytest
from _gribservers import GribFilter
from _pageserver import Elements, Server, gpx
from _servers import FaultyServer

from routeplan._demo.files import demo_files, demo_group_file
from routeplan._download.cache import cache_dir
from routeplan._page.form import CRAFT_NAMES, LIMIT_ROWS, UNIT_CHOICES, Settings, split_quantity
from routeplan._page.outputs import OUTPUTS
from routeplan._page.quantity import limits_of, quantity
from routeplan.errors import InputError
from routeplan.limits import LIMIT_FIELDS, Limits
from routeplan.page import PageConfig, make_app, serve
from routeplan.propulsion import CRAFTS


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    with Server(tmp_path_factory.mktemp("page")) as one:
        yield one
    assert "Traceback" not in one.errors()
    assert not [p for p in one.tmp.iterdir() if p.name.startswith("routeplan-page-")]


@pytest.fixture
def browser(server):
    with server.browser() as one:
        yield one


FORECAST = ("forecast", ("wind.nc", demo_files().forecast_netcdf.read_bytes()))


@pytest.fixture(scope="module")
def hop(server):
    """Return a short trip in the demo's weather, opened and planned."""
    with server.browser() as one:
        trip = one.open_route(gpx(), files=[FORECAST])
        assert one.wait(trip, 120)["error"] == ""
        return trip


# --- the form and the limits


def test_every_limit_has_its_field_and_default():
    assert sorted(row.name for row in LIMIT_ROWS) == sorted(LIMIT_FIELDS)
    texts = {row.name: row.default for row in LIMIT_ROWS}
    shown = limits_of(Settings(limits=texts))
    for field in fields_of(Limits):
        if field.name != "explicit":
            assert getattr(shown, field.name) == pytest.approx(getattr(Limits(), field.name))
    assert set(CRAFT_NAMES) == set(CRAFTS)


@pytest.mark.parametrize("kind", UNIT_CHOICES)
def test_every_unit_offered_is_read(kind):
    for unit in UNIT_CHOICES[kind]:
        assert quantity("x", f"3 {unit}", kind) != 0.0


def test_a_changed_limit_is_set_by_the_user_and_others_are_not():
    before = Settings(limits={row.name: row.default for row in LIMIT_ROWS})
    after = before.changed(
        {"limit_wind": "4", "limit_wind_unit": "Bft", "limit_gust": "17", "limit_gust_unit": "kn"}
    )
    assert after.explicit == {"wind"}
    assert limits_of(after).wind_ms == 7.9  # top of force 4, WMO-No. 306 table 1100
    assert limits_of(after.changed({"limit_wave_height": " "})).wave_height_m is None


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"craft": "raft"}, "craft 'raft' is unknown; allowed are touring board"),
        ({"select": "1; rm"}, "is not one of the list"),
        ({"launch_1": "soon"}, "is no time"),
        ({"launch_1": "2026-02-30T10:00Z"}, "is no time"),
        ({"launch_1": "2026-07-13T24:00Z"}, "is no time"),
        ({"launch_1": "2262-12-01T00:00Z"}, "is no time"),  # nanoseconds end in April
        ({"limit_wind": "9" * 61}, "too long"),
        ({"limit_delay": ""}, "cannot be left empty; the default is 30 min"),
    ],
)
def test_fields_that_cannot_be_used(fields, words):
    settings = Settings(limits={row.name: row.default for row in LIMIT_ROWS})
    with pytest.raises(InputError, match=words):
        settings.changed(fields)


def test_number_and_unit_are_told_apart():
    assert split_quantity(" 12.5 km/h") == ("12.5", "km/h")
    assert split_quantity("") == ("", "")
    assert split_quantity("  ") == ("", "")
    assert split_quantity("plenty kn") == ("plenty", "kn")  # not an empty field, which is no limit
    assert split_quantity("plenty") == ("plenty", "")


# --- where it listens


@pytest.mark.parametrize("address", ["0.0.0.0", "192.0.2.1", "::", "localhost", "example.org"])
def test_only_loopback(address):
    with pytest.raises(InputError, match=r"allowed are 127\.0\.0\.1 and ::1"):
        serve(PageConfig(address=address, port=0))


def test_a_port_that_is_taken(server):
    with pytest.raises(InputError, match=f"--port: {server.port} cannot be used"):
        serve(PageConfig(port=server.port))
    with pytest.raises(InputError, match="allowed is a free port"):
        serve(PageConfig(port=70_000))


def test_the_application_is_made_without_heavy_libraries():
    import subprocess
    import sys

    code = "import sys; from routeplan.page import make_app; make_app(); print(*sys.modules)"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    heavy = {"numba", "xarray", "scipy", "eccodes", "netCDF4", "shapely", "pyproj", "matplotlib"}
    assert not heavy & set(run.stdout.split())
    assert callable(make_app)


# --- the built-in trip


def test_start_offers_three_ways_and_says_when_files_go(browser):
    page = Elements(browser.get("/").text)
    for name in ("open-files", "open-get", "open-demo", "route-file", "forecast-file", "provider"):
        assert page.by_id(name)
    assert "nobody has looked at for 4 h" in page.text


def test_demo_shows_its_limits_and_launches(browser):
    trip = browser.open("demo")
    working = browser.get(trip).text
    seen = browser.wait(trip, 120)["seen"]
    assert 'id="progress-words"' in working
    assert any("stage" in words for words in seen)
    page = Elements(browser.get(trip).text)
    assert page.by_id("limit_wind")["value"] == "14"
    assert page.by_id("limit_time_on_water")["value"] == ""
    assert page.by_id("launch_3")
    assert re.search(r"Launch between 0\d:\d\d and", page.text)
    assert "INVENTED" in page.text.upper()


def test_a_changed_limit_changes_the_windows_and_survives_a_reload(browser):
    trip = browser.open_route(gpx(), files=[FORECAST])
    browser.wait(trip)
    before = browser.get(f"{trip}/file/plan.json").json()
    assert browser.change(trip, [("limit_wind", "1"), ("limit_wind_unit", "kn")])["error"] == ""
    after = browser.get(f"{trip}/file/plan.json").json()
    assert before["windows"]
    assert not after["windows"]
    assert after["limits"]["wind_ms"] == pytest.approx(1852 / 3600, abs=0.01)
    again = Elements(browser.get(trip).text)
    assert again.by_id("limit_wind")["value"] == "1"


def test_a_plain_form_waits_for_the_answer(browser, hop):
    reply = browser.post(f"{hop}/change", browser.token(hop), [("limit_wind", "11.5")])
    assert reply.headers["location"] == f"{hop}?wait"
    page = Elements(browser.get(f"{hop}?wait").text)
    assert page.by_id("controls")["data-busy"] == "no"
    assert page.by_id("limit_wind")["value"] == "11.5"
    browser.change(hop, [("limit_wind", "12"), ("limit_wind_unit", "kn")])


def test_a_bad_limit_is_told_and_the_answer_stays(browser, hop):
    version = browser.state(hop)["answer"]
    bad = browser.change(hop, [("limit_wind", "much"), ("limit_wind_unit", "kn")])
    assert bad["error"].startswith("Wind, at most: 'much kn' is not a number")
    assert bad["answer"] == version
    assert "is not a number" in Elements(browser.get(hop).text).text
    good = browser.change(hop, [("limit_wind", "12"), ("limit_wind_unit", "kn")])
    assert good["error"] == ""


def test_a_launch_can_be_picked_and_given_back(browser, hop):
    document = browser.get(f"{hop}/file/plan.json").json()
    beyond = [one for one in document["launches"] if one["verdict"] == "beyond"]
    wanted = next(one["launch"] for one in beyond if one["stage"] == 1)
    state = browser.change(hop, [("launch_1", wanted)])
    assert state["error"] == ""
    assert f'value="{wanted}" selected' in state["launches"]
    picked = browser.get(f"{hop}/file/plan.json").json()
    assert picked["stages"][0]["launch"] == wanted
    assert picked["stages"][0]["verdict"] == "beyond"
    assert "selected" not in browser.change(hop, [("launch_1", "")])["launches"]


def test_craft_and_speed(browser, hop):
    browser.change(hop, [("craft", "sea kayak"), ("speed", "7"), ("speed_unit", "km/h")])
    document = browser.get(f"{hop}/file/plan.json").json()
    assert document["craft"]["name"] == "sea kayak"
    assert document["craft"]["still_water_speed_ms"] == pytest.approx(7 / 3.6, abs=0.01)
    browser.change(hop, [("craft", "touring board"), ("speed", ""), ("speed_unit", "kn")])


@pytest.mark.parametrize("name", OUTPUTS)
def test_files_to_take_away(browser, hop, name, tmp_path):
    reply = browser.get(f"{hop}/file/{name}")
    assert reply.status_code == 200
    assert reply.headers["content-disposition"] == f'attachment; filename="{name}"'
    assert "sandbox" in reply.headers["content-security-policy"]
    assert reply.headers["content-type"].split(";")[0] == OUTPUTS[name].media_type.split(";")[0]
    starts = {".pdf": b"%PDF-", ".png": b"\x89PNG", ".gpx": b"<?xml", ".json": b"{"}
    if name.endswith(".gpkg"):
        path = tmp_path / name
        path.write_bytes(reply.content)
        with sqlite3.connect(path) as database:
            tables = database.execute("select table_name from gpkg_contents").fetchall()
        database.close()
        assert ("legs",) in tables
    else:
        assert reply.content.startswith(starts.get(Path(name).suffix, b""))
        assert len(reply.content) > 1000
    here = str(Path(__file__).parent.parent)
    assert here.encode() not in reply.content


# --- files of one's own


def test_route_and_forecast_files(browser):
    files = demo_files()
    trip = browser.open_route(
        files.route.read_bytes(),
        "Höfn & back <1>.gpx",
        files=[
            ("forecast", ("wind.nc", files.forecast_netcdf.read_bytes())),
            ("limits", ("mine.toml", files.limits.read_bytes())),
            ("group", ("us.toml", demo_group_file().read_bytes())),
        ],
    )
    state = browser.wait(trip)
    assert (state["state"], state["error"]) == ("ready", "")
    page = Elements(browser.get(trip).text)
    assert page.by_id("limit_offshore")["value"] == "4000"
    document = browser.get(f"{trip}/file/plan.json").json()
    assert document["route"]["source"] == "Höfn & back <1>.gpx"
    assert document["kit"]


def test_a_grib_forecast_gives_the_same_windows(browser):
    files = demo_files()
    answers = []
    for path in (files.forecast_netcdf, files.forecast_grib):
        trip = browser.open_route(gpx(), files=[("forecast", (path.name, path.read_bytes()))])
        assert browser.wait(trip)["error"] == ""
        windows = browser.get(f"{trip}/file/plan.json").json()["windows"]
        answers.append([(one["stage"], one["first_launch"]) for one in windows])
    assert answers[0] == answers[1]
    assert answers[0]


def test_a_route_alone_gives_its_legs(browser):
    trip = browser.open_route(gpx(name="Alone"))
    assert browser.wait(trip)["state"] == "ready"
    page = browser.get(trip).text
    assert "Alone" in page
    assert "sheet.pdf" not in page
    document = browser.get(f"{trip}/file/plan.json").json()
    assert len(document["legs"]) == 1
    assert browser.get(f"{trip}/file/sheet.pdf").status_code == 422


def test_who_is_told_ashore_stands_on_the_sheet(browser, hop):
    said = [
        ("ashore_contact", "Åsa  Öberg"),
        ("ashore_contact_phone", "+46 70 000 00 00"),
        ("ashore_alarm", "90 min"),
    ]
    assert browser.change(hop, said)["error"] == ""
    sheet = browser.get(f"{hop}/file/sheet.txt").text
    assert "Åsa Öberg" in sheet
    assert "+46 70 000 00 00" in sheet
    assert Elements(browser.get(hop).text).by_id("ashore_alarm")["value"] == "90 min"
    bad = browser.change(hop, [("ashore_mmsi", "12")])
    assert "allowed are nine figures" in bad["error"]
    assert browser.change(hop, [("ashore_mmsi", "")])["error"] == ""


def test_a_nameless_route_is_called_as_its_file(browser):
    content = gpx().replace(b"<name>Short hop</name>", b"")
    trip = browser.open_route(content, "round the point.gpx")
    browser.wait(trip)
    assert browser.get(f"{trip}/file/plan.json").json()["route"]["name"] == "round the point"


def test_several_routes_in_a_file(browser):
    one, two = gpx(name="North about"), gpx(name="South about")
    second = two[two.index(b"<rte>") : two.index(b"</gpx>")]
    trip = browser.open_route(one.replace(b"</gpx>", second + b"</gpx>"))
    assert browser.wait(trip)["state"] == "choose"
    page = Elements(browser.get(trip).text)
    assert page.by_id("select_2")["value"] == "2"
    assert "North about" in page.text
    assert browser.change(trip, [("select", "2")])["state"] == "ready"
    assert browser.get(f"{trip}/file/plan.json").json()["route"]["name"] == "South about"


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("trip.gpx", b"", "a GPX file with the route is needed"),
        ("trip.gpx", b"not xml", "trip.gpx is not XML (line 1: syntax error)"),
        ("trip.gpx", gpx().replace(b"58.59553", b"98"), "trip.gpx, line"),
        ("inland.gpx", gpx().replace(b"58.59", b"47.59"), "whole route lies on land"),
    ],
)
def test_a_route_that_cannot_be_used_is_told_in_one_line(browser, name, content, words):
    trip = browser.open_route(content, name)
    if isinstance(trip, httpx.Response):
        assert trip.status_code == 422
        error = Elements(trip.text).text
    else:
        state = browser.wait(trip)
        assert state["state"] == "failed"
        error = state["error"]
        assert "\n" not in error
        assert error in Elements(browser.get(trip).text).text
    assert words in error


@pytest.mark.parametrize(
    ("kind", "content", "words"),
    [
        ("forecast", b"hello", "my file.x: is not a forecast"),
        ("limits", b"[limits]\nwind = 12", "my file.x: [limits] wind: 12 has no unit"),
        ("group", b"[[person]]\nname = 3", "my file.x"),
        ("rules", b"[[rule]]", "send the file of the group as well"),
    ],
)
def test_other_files_that_cannot_be_used(browser, kind, content, words):
    trip = browser.open_route(gpx(), files=[(kind, ("my file.x", content))])
    error = browser.wait(trip)["error"]
    assert words in error
    assert "/" not in error.replace("km/h", "").replace("m/s", "")


# --- a forecast that is fetched


def test_a_fetched_forecast(tmp_path, monkeypatch):
    now = time.gmtime(time.time() - 6 * 3600)
    run = time.strftime("%Y%m%d", now) + f"{now.tm_hour // 6 * 6:02d}"
    (tmp_path / "cache").mkdir()
    for path in cache_dir().iterdir():  # the coastline's index takes minutes to build
        if path.name.startswith(("coastline-", "seen-", "march-")):
            (tmp_path / "cache" / path.name).symlink_to(path)
    monkeypatch.setenv("ROUTEPLAN_CACHE_DIR", str(tmp_path / "cache"))
    with FaultyServer(find=GribFilter(run)) as service:
        monkeypatch.setenv("ROUTEPLAN_GFS_URL", service.url)
        with Server(tmp_path) as server, server.browser() as browser:
            trip = browser.open(
                "get", [("provider", "gfs"), ("hours", "6")], [("route", ("a.gpx", gpx()))]
            )
            state = browser.wait(trip, 120)
            assert (state["state"], state["error"]) == ("ready", "")
            assert any(words.startswith("fetching") for words in state["seen"])
            document = browser.get(f"{trip}/file/plan.json").json()
            assert document["launches"]
            assert "GFS" in json.dumps(document["sources"])
            service.resources, service.find = {}, None  # and now it has nothing
            other = browser.open(
                "get", [("provider", "gfs"), ("hours", "48")], [("route", ("a.gpx", gpx()))]
            )
            failed = browser.wait(other, 60)
            assert failed["state"] == "failed"
            assert failed["error"]


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ([("provider", "https://evil.example"), ("hours", "6")], "choose a forecast service"),
        ([("provider", "gfs"), ("hours", "many")], "Hours of forecast"),
        ([("provider", "gfs"), ("hours", "1000")], "allowed are 1 to 384"),
    ],
)
def test_what_cannot_be_fetched(browser, fields, words):
    trip = browser.open("get", fields, [("route", ("a.gpx", gpx()))])
    if isinstance(trip, httpx.Response):
        assert words in Elements(trip.text).text
    else:
        assert words in browser.wait(trip)["error"]


# --- cancelling, several at once, the end


def test_work_can_be_stopped(browser):
    trip = browser.open("demo")
    token = browser.token(trip)
    reply = browser.post(f"{trip}/cancel", token)
    assert reply.status_code == 303
    state = browser.state(trip)
    assert (state["state"], state["error"]) == ("failed", "stopped")
    assert browser.change(trip, [])["state"] == "ready"  # and begun again


def test_the_last_of_quick_changes_is_answered(browser):
    trip = browser.open_route(gpx(), files=[FORECAST])
    browser.wait(trip)
    token = browser.token(trip)
    for wind in ("3", "5", "7", "11"):
        fields = [("limit_wind", wind), ("limit_wind_unit", "kn")]
        browser.post(f"{trip}/change", token, fields)
    assert browser.wait(trip)["error"] == ""
    limits = browser.get(f"{trip}/file/plan.json").json()["limits"]
    assert limits["wind_ms"] == pytest.approx(11 * 1852 / 3600, abs=0.01)


def test_a_dozen_at_once_do_not_mix(server):
    found, faults = {}, []

    def one(number):
        try:
            with server.browser() as browser:
                trip = browser.open_route(gpx(name=f"Trip {number}"), f"{number}.gpx")
                assert browser.wait(trip, 150)["state"] == "ready"
                wind = [("limit_wind", str(number + 2)), ("limit_wind_unit", "kn")]
                assert browser.change(trip, wind)["error"] == ""
                found[number] = browser.get(f"{trip}/file/plan.json").json()
        except Exception as error:
            faults.append(error)

    threads = [threading.Thread(target=one, args=(number,)) for number in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(150)
    assert not faults
    assert len(found) == 12
    for number, document in found.items():
        assert document["route"]["name"] == f"Trip {number}"
        assert document["route"]["source"] == f"{number}.gpx"
        expected = (number + 2) * 1852 / 3600
        assert document["limits"]["wind_ms"] == pytest.approx(expected, abs=0.01)


def test_a_trip_can_be_removed_at_once(server, browser):
    trip = browser.open_route(gpx())
    browser.wait(trip)
    base = next(p for p in server.tmp.iterdir() if p.name.startswith("routeplan-page-"))
    before = sum(1 for p in base.iterdir() if p.is_dir())
    assert oct(base.stat().st_mode & 0o777) == "0o700"
    assert browser.post(f"{trip}/remove", browser.token(trip)).headers["location"] == "/"
    assert browser.get(trip).status_code == 404
    assert sum(1 for p in base.iterdir() if p.is_dir()) == before - 1


def test_trips_go_when_their_time_is_over_and_at_the_end(tmp_path):
    with Server(tmp_path, keep_s=1.0) as server:
        with server.browser() as browser:
            trip = browser.open_route(gpx())
            base = next(p for p in tmp_path.iterdir() if p.name.startswith("routeplan-page-"))
            assert [p for p in base.iterdir() if p.is_dir()]
            browser.wait(trip)
            end = time.monotonic() + 20
            while [p for p in base.iterdir() if p.is_dir()] and time.monotonic() < end:
                time.sleep(0.1)
            assert not [p for p in base.iterdir() if p.is_dir()]
            assert browser.get(trip).status_code == 404
        workers = _children(server.process.pid)
        assert workers
    assert not [p for p in tmp_path.iterdir() if p.name.startswith("routeplan-page-")]
    end = time.monotonic() + 5
    while any(Path(f"/proc/{pid}").exists() for pid in workers) and time.monotonic() < end:
        time.sleep(0.05)
    assert not [pid for pid in workers if Path(f"/proc/{pid}").exists()]


def _children(pid):
    """Processes that a process has started, and those that they have."""
    found = []
    for task in Path(f"/proc/{pid}/task").iterdir():
        for child in (task / "children").read_text().split():
            found += [int(child), *_children(int(child))]
    return found


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGHUP])
def test_files_go_however_the_page_is_ended(tmp_path, how):
    with Server(tmp_path) as server:
        assert _folders(tmp_path)
        server.process.send_signal(how)
        server.process.wait(10)
    assert not _folders(tmp_path)


def test_what_a_killed_page_left_is_removed_by_the_next(tmp_path):
    with Server(tmp_path) as server:
        with server.browser() as browser:
            assert isinstance(browser.open_route(gpx()), str)
        server.process.kill()
        server.process.wait(10)
    left = _folders(tmp_path)
    assert len(left) == 1
    with Server(tmp_path), Server(tmp_path):  # and a page leaves that of another alone
        assert len(_folders(tmp_path)) == 2
        assert left[0] not in _folders(tmp_path)


def _folders(folder):
    return [p for p in folder.iterdir() if p.name.startswith("routeplan-page-")]


def test_more_trips_than_warm_workers(tmp_path):
    with Server(tmp_path, warm_workers=1) as server, server.browser() as browser:
        trips = [browser.open_route(gpx(name=f"Trip {n}"), files=[FORECAST]) for n in range(3)]
        for trip in trips:
            assert browser.wait(trip, 120)["error"] == ""
        for n, trip in enumerate(trips):  # each has lost its worker to the next one
            fields = [("limit_wind", str(5 + n)), ("limit_wind_unit", "kn")]
            assert browser.change(trip, fields)["error"] == ""
            document = browser.get(f"{trip}/file/plan.json").json()
            assert document["route"]["name"] == f"Trip {n}"
            assert document["limits"]["wind_ms"] == pytest.approx((5 + n) * 1852 / 3600, abs=0.01)


def test_the_process_that_forks_has_one_thread(server, hop):
    assert hop
    own = [pid for pid in _children(server.process.pid) if _parent(pid) == server.process.pid]
    assert len(own) == 1
    assert b"nursery" in Path(f"/proc/{own[0]}/cmdline").read_bytes()
    assert len(list(Path(f"/proc/{own[0]}/task").iterdir())) == 1


def _parent(pid):
    return int(Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[1])
