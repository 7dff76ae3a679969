"""`routeplan forecast` and `windows` on downloads and on files of strangers, end to end."""

import json
import re
import sys

import numpy as np
import pytest
import xarray as xr
from _gribservers import GribFilter
from _servers import Fault, FaultyServer

from routeplan import cli, providers
from routeplan._demo.files import demo_files
from routeplan._download.fetcher import Fetcher
from routeplan._forecast.read import read_forecast
from routeplan._plan.sources import COAST_CAUTION
from routeplan._show import cliforecast as _cliforecast
from routeplan._show import clioptions as _clioptions
from routeplan.providers import PROVIDERS

NOW = np.datetime64("2026-11-25T12:00:00", "ns")
RUN = "2026112506"
BOX = "11.0,58.5,11.4,58.7"
ROUTE = """<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1"><rte><name>short</name>
<rtept lat="58.6" lon="11.19"><name>a</name></rtept>
<rtept lat="58.606" lon="11.193"><name>b</name></rtept></rte></gpx>
"""


@pytest.fixture
def here(tmp_path, monkeypatch):
    """An empty folder with a route and a cache of its own, at noon of a known day."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("ROUTEPLAN_CACHE_DIR", str(tmp_path / "cache"))
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    monkeypatch.setenv("COLUMNS", "80")
    for provider in PROVIDERS.values():
        monkeypatch.delenv(provider.variable, raising=False)
    (tmp_path / "short.gpx").write_text(ROUTE, encoding="utf-8")

    def fetcher(folder, **settings):
        return Fetcher(folder, **{**settings, "pause_s": 0.0, "backoff_s": 0.01, "retries": 1})

    monkeypatch.setattr(providers, "Fetcher", fetcher)
    at(monkeypatch, NOW)
    return tmp_path


@pytest.fixture
def _read_here(monkeypatch):
    """Read files in this process: starting another takes most of the time of a test."""
    monkeypatch.setattr(
        "routeplan.forecast.read_guarded", lambda paths, request, *_: read_forecast(paths, request)
    )


@pytest.fixture
def server():
    with FaultyServer(find=GribFilter(RUN)) as running:
        yield running
    assert running.errors == []


def at(monkeypatch, when):
    """Set the clock of the command line."""
    for module in (cli, _cliforecast, _clioptions):
        monkeypatch.setattr(module, "now", lambda: when)


def ran(capfd, *arguments):
    code = cli.run([str(a) for a in arguments])
    out, err = capfd.readouterr()
    assert code == 0, err
    assert err == ""
    return out


def refused(capfd, *arguments):
    code = cli.run([str(a) for a in arguments])
    out, err = capfd.readouterr()
    assert (code, out) == (2, "")
    assert re.fullmatch(r"routeplan: [^\n]+\n", err)
    return err


def got(capfd, server, *arguments):
    fixed = ["--provider", "gefs", "--hours", "3", "--base-url", server.url]
    return ran(capfd, "forecast", "get", *fixed, *arguments)


# --- getting


def test_a_forecast_is_got_for_a_route_and_copied(capfd, server, here):
    document = json.loads(got(capfd, server, "--route", "short.gpx", "--out", "f.grib2", "--json"))
    found = document["download"]
    assert found["provider"] == "gefs"
    assert found["reference_time"] == "2026-11-25T06:00:00Z"
    assert (found["first"], found["last"]) == ("2026-11-25T12:00:00Z", "2026-11-25T15:00:00Z")
    assert (found["age_s"], found["old"], found["old_after_s"]) == (6 * 3600, False, 12 * 3600)
    assert found["west_deg"] <= 11.19 - 1.0
    assert found["members"] == 1
    assert "NOAA" in found["attribution"]
    assert found["licence"].startswith("public domain")
    assert found["from_cache"] is False
    assert found["bytes_received"] > 1_000
    assert document["files"] == ["f.grib2", "f.grib2.json"]
    assert document["warnings"] == []
    (kept,) = (here / "cache").rglob("*.grib2")
    assert (here / "f.grib2").read_bytes() == kept.read_bytes()
    assert sorted(p.name for p in here.iterdir()) == [
        "cache",
        "f.grib2",
        "f.grib2.json",
        "short.gpx",
    ]


@pytest.mark.usefixtures("here")
def test_what_was_got_is_told_at_80_columns(capfd, server):
    text = got(capfd, server, "--box", BOX)
    assert max(map(len, text.splitlines())) <= 80
    words = " ".join(text.split())
    assert "run of Wed 25 Nov 06:00 UTC, 6 h old" in words
    assert "Wed 25 Nov 12:00 UTC to Wed 25 Nov 15:00 UTC" in words
    assert PROVIDERS["gefs"].attribution in words
    assert "licence: public domain" in words
    assert "fetched 0.0 MB" in words
    again = got(capfd, server, "--box", BOX)
    assert "nothing fetched" in again


def test_offline_takes_what_is_there_and_flags_its_age(capfd, server, here, monkeypatch):
    asked = ["forecast", "get", "--provider", "gefs", "--box", BOX, "--hours", "3", "--offline"]
    assert "gefs" in refused(capfd, *asked)
    got(capfd, server, "--box", BOX, "--hours", "48")
    sent = len(server.requests)
    at(monkeypatch, NOW + np.timedelta64(24, "h"))
    document = json.loads(ran(capfd, *asked, "--json"))
    assert len(server.requests) == sent
    assert document["download"]["from_cache"] is True
    assert document["download"]["old"] is True
    assert document["warnings"][0].startswith("The forecast is old: its run began 30 h before now")
    assert "WARNING: The forecast is old" in ran(capfd, *asked)
    fresh = json.loads(ran(capfd, *asked, "--old-after", "2 d", "--json"))
    assert (fresh["download"]["old"], fresh["warnings"]) == (False, [])
    assert (here / "cache").is_dir()


def test_a_file_that_is_there_is_not_overwritten_and_nothing_is_fetched(capfd, server, here):
    (here / "f.grib2.json").write_text("mine")
    arguments = ["--provider", "gefs", "--base-url", server.url, "--box", BOX, "--out", "f.grib2"]
    line = refused(capfd, "forecast", "get", *arguments)
    assert "f.grib2.json" in line
    assert server.requests == []
    assert sorted(p.name for p in here.iterdir()) == ["f.grib2.json", "short.gpx"]
    got(capfd, server, "--box", BOX, "--out", "f.grib2", "--force")
    assert json.loads((here / "f.grib2.json").read_text())["provider"] == "gefs"


def test_a_server_that_fails_is_one_line_and_leaves_no_file(capfd, server, here):
    server.faults = [Fault("html")] * 30
    arguments = ["--provider", "gefs", "--base-url", server.url, "--box", BOX, "--out", "f.grib2"]
    assert "HTML page instead of data" in refused(capfd, "forecast", "get", *arguments)
    assert list(here.rglob("*.grib2")) == []


@pytest.mark.usefixtures("here")
def test_progress_goes_to_a_terminal_only(capfd, server, monkeypatch):
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    arguments = ["--provider", "gefs", "--base-url", server.url, "--box", BOX, "--hours", "3"]
    assert cli.run(["forecast", "get", *arguments, "--json"]) == 0
    out, err = capfd.readouterr()
    json.loads(out)
    assert "fetching " in err
    assert "100 %" in err
    assert err.endswith(" \r")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--box", BOX], ["--provider"]),
        (["--provider", "gfs"], ["--route", "--box"]),
        (["--provider", "none", "--box", BOX], ["none", "gfs", "gefs", "ecmwf"]),
        (["--provider", "gfs", "--box", BOX, "--members"], ["no members", "gefs"]),
        (["--provider", "gfs", "--box", BOX, "--hours", "0"], ["--hours", "1 to 384"]),
        (["--provider", "gfs", "--box", BOX, "--hours", "nan"], ["--hours", "1 to 384"]),
        (["--provider", "gfs", "--box", BOX, "--start", "noon"], ["--start", "noon", "Z"]),
        (["--provider", "gfs", "--box", BOX, "--start", "2026-11-26T06:00"], ["zone"]),
        (["--provider", "gfs", "--box", BOX, "--start", "2026-11-01T06:00Z"], ["time to come"]),
        (["--provider", "gfs", "--box", BOX, "--old-after", "12"], ["--old-after", "unit"]),
        (["--provider", "gfs", "--box", BOX, "--out", "no/f.grib2"], ["no", "does not exist"]),
        (["--provider", "gfs", "--box", BOX, "--base-url", "ftp://x"], ["http"]),
    ],
)
@pytest.mark.usefixtures("here")
def test_bad_usage_names_the_option_and_what_is_allowed(capfd, arguments, words):
    line = refused(capfd, "forecast", "get", *arguments)
    for word in words:
        assert word in line


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("2026-11-26T06:00Z", "2026-11-26T06:00"),
        ("2026-11-26T08:00+02:00", "2026-11-26T06:00"),
        ("2026-11-26T06:00:30-00:30", "2026-11-26T06:30:30"),
    ],
)
def test_times_are_read_with_their_zone(text, utc):
    assert _clioptions.moment("--start", text) == np.datetime64(utc, "ns")


# --- using what was got


@pytest.mark.usefixtures("_read_here")
def test_attribution_licence_and_run_go_with_the_file_into_every_output(capfd, server, here):
    got(capfd, server, "--route", "short.gpx", "--hours", "12", "--out", "f.grib2")
    windows = ["windows", "short.gpx", "--forecast", "f.grib2"]
    document = json.loads(ran(capfd, *windows, "--json"))
    coast, weather = document["sources"]
    assert coast["kind"] == "coastline"
    assert weather["attribution"] == PROVIDERS["gefs"].attribution
    assert weather["licence"] == PROVIDERS["gefs"].licence
    assert (weather["date"], weather["age_s"]) == ("2026-11-25T06:00:00Z", 6 * 3600)
    assert document["warnings"] == []
    assert document["forecast"]["old"] is False
    assert document["launches"][0]["launch"] == "2026-11-25T12:00:00Z"
    words = " ".join(ran(capfd, *windows).split())
    assert PROVIDERS["gefs"].attribution in words
    assert "6 h old" in words
    assert COAST_CAUTION in words
    shown = " ".join(ran(capfd, "forecast", "show", "f.grib2").split())
    assert PROVIDERS["gefs"].attribution in shown
    assert "Wed 25 Nov 06:00 UTC, 6 h old" in shown
    # A file that is not the one its sidecar tells of is not given its attribution.
    about = json.loads((here / "f.grib2.json").read_text())
    (here / "f.grib2.json").write_text(json.dumps({**about, "sha256": "0" * 64}))
    changed = json.loads(ran(capfd, "forecast", "show", "f.grib2", "--json"))
    assert changed["forecast"]["attribution"] == ""


@pytest.mark.usefixtures("_read_here")
def test_an_old_forecast_is_flagged_in_every_output(capfd, server, here, monkeypatch):
    got(capfd, server, "--route", "short.gpx", "--hours", "9", "--out", "f.grib2")
    at(monkeypatch, NOW + np.timedelta64(7, "h"))
    words = "The forecast is old: its run began 13 h before now, more than the 12 h"
    windows = ["windows", "short.gpx", "--forecast", "f.grib2"]
    document = json.loads(ran(capfd, *windows, "--out", "trip", "--json"))
    assert document["warnings"][0].startswith(words)
    assert document["forecast"]["old"] is True
    assert document["launches"][0]["launch"] == "2026-11-25T19:00:00Z"
    assert json.loads((here / "trip" / "plan.json").read_text())["warnings"] == document["warnings"]
    assert words in " ".join(ran(capfd, *windows).split())
    assert words in " ".join(ran(capfd, "forecast", "show", "f.grib2").split())
    assert "old" not in " ".join(json.loads(
        ran(capfd, *windows, "--old-after", "1 d", "--json")
    )["warnings"])  # fmt: skip


@pytest.mark.usefixtures("here")
def test_windows_gets_its_forecast_itself(capfd, server):
    arguments = ["--get", "gefs", "--base-url", server.url, "--hours", "6", "--json"]
    document = json.loads(ran(capfd, "windows", "short.gpx", *arguments))
    assert document["sources"][1]["attribution"] == PROVIDERS["gefs"].attribution
    assert document["launches"]
    offline = ["--get", "gefs", "--hours", "6", "--offline", "--json"]
    sent = len(server.requests)
    assert json.loads(ran(capfd, "windows", "short.gpx", *offline))["launches"]
    assert len(server.requests) == sent


@pytest.mark.usefixtures("here")
def test_windows_needs_one_forecast(capfd):
    line = refused(capfd, "windows", "short.gpx")
    assert "--forecast FILE or --get NAME" in line
    line = refused(capfd, "windows", "short.gpx", "--get", "gfs", "--forecast", "f.grib2")
    assert "only one of them" in line


# --- looking into files


@pytest.mark.usefixtures("here", "_read_here")
def test_show_says_what_the_file_holds(capfd):
    file = demo_files().forecast_netcdf
    document = json.loads(ran(capfd, "forecast", "show", file, "--route", "short.gpx", "--json"))
    forecast = document["forecast"]
    assert forecast["reference_time"] == "2026-07-13T06:00:00Z"
    assert forecast["age_s"] == (135 * 24 + 6) * 3600
    assert forecast["old"] is True
    assert forecast["horizon_s"] == 5 * 86_400
    assert forecast["times"] == 121
    assert (forecast["step_s"], forecast["shortest_step_s"]) == (3600, 3600)
    assert forecast["spacing_latitude_deg"] == pytest.approx(0.05)
    assert forecast["spacing_longitude_deg"] == pytest.approx(0.1)
    assert document["warnings"][0].startswith("The forecast is old")
    assert "in the past" in document["warnings"][1]
    route = {"name": "short", "points": 2, "points_off_grid": 0, "points_without_wind": 0}
    assert document["route"] == route
    text = ran(capfd, "forecast", "show", file, "--route", "short.gpx")
    words = " ".join(text.split())
    assert max(map(len, text.splitlines())) <= 80
    assert words.startswith("INVENTED DATA")
    assert "every 60 min" in words
    assert "0.050° by 0.100°" in words
    assert "none: the forecast is over" in words
    assert "There is wind at all of them" in words


@pytest.mark.usefixtures("_read_here")
def test_show_tells_a_route_off_the_grid_and_hours_without_wind(capfd, here):
    away = ROUTE.replace('lat="58.6"', 'lat="-58.6"').replace('lat="58.606"', 'lat="-58.606"')
    (here / "away.gpx").write_text(away, encoding="utf-8")
    file = demo_files().forecast_netcdf
    document = json.loads(ran(capfd, "forecast", "show", file, "--route", "away.gpx", "--json"))
    assert document["route"]["points_off_grid"] == 2
    assert document["route"]["points_without_wind"] is None
    assert "2 of 2 points of the route lie off the grid" in ran(
        capfd, "forecast", "show", file, "--route", "away.gpx"
    )
    with xr.open_dataset(file) as data:
        name = next(n for n, v in data.items() if v.attrs.get("standard_name") == "eastward_wind")
        holed = data.load()
    holed[name][5] = np.nan
    holed.to_netcdf(here / "holed.nc")
    show = ["forecast", "show", "holed.nc", "--route", "short.gpx"]
    assert json.loads(ran(capfd, *show, "--json"))["route"]["points_without_wind"] == 2
    assert "2 of its points have no wind at some hours" in " ".join(ran(capfd, *show).split())


@pytest.mark.usefixtures("_read_here")
@pytest.mark.parametrize("words", ["now", "today", "tomorrow", "NaT", "99999-01-01T00:00:00Z"])
def test_a_file_that_claims_to_be_fresh_in_words_is_of_unknown_age(capfd, here, words):
    """Regression, 2026-11-25: numpy read the word "now" as the time of reading."""
    with xr.open_dataset(demo_files().forecast_netcdf) as data:
        timeless = data.load().drop_vars("forecast_reference_time").isel(time=slice(0, 3))
    timeless.assign_attrs(reference_time=words).to_netcdf(here / "words.nc")
    document = json.loads(ran(capfd, "forecast", "show", "words.nc", "--json"))
    assert document["forecast"]["old"] is not False or words.startswith("9")
    assert document["warnings"]
    assert document["warnings"][0].startswith(
        ("The forecast does not say", "The forecast is dated")
    )


def test_files_of_strangers_are_read_in_another_process(capfd, here, monkeypatch):
    """A decoder that dies on a file takes no command with it."""
    (here / "bad.grib2").write_bytes(demo_files().forecast_grib.read_bytes())
    monkeypatch.setattr("routeplan._forecast.guard._COMMAND", "import os; os.kill(os.getpid(), 11)")
    for command in (
        ["windows", "short.gpx", "--forecast", "bad.grib2"],
        ["forecast", "show", "bad.grib2"],
        ["forecast", "show", "bad.grib2", "--route", "short.gpx"],
    ):
        line = refused(capfd, *command)
        assert "bad.grib2" in line
        assert "decoder broke down" in line


@pytest.mark.usefixtures("_read_here")
def test_a_sidecar_of_a_stranger_is_no_danger(capfd, here):
    (here / "own.nc").write_bytes(demo_files().forecast_netcdf.read_bytes())
    for content in (b"", b"[]", b"{" * 100_000, b'{"sha256": 1, "format": 1}', b"\xff" * 2_000_000):
        (here / "own.nc.json").write_bytes(content)
        document = json.loads(ran(capfd, "forecast", "show", "own.nc", "--json"))
        assert document["forecast"]["attribution"] == ""
