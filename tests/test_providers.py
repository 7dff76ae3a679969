"""Forecasts from services that are played by a local server, good ones and bad ones."""

import datetime
import hashlib
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from _gribservers import CODES, GribFilter, OpenData, decoded, value
from _servers import Fault, FaultyServer

from routeplan import providers
from routeplan._download.fetcher import Fetcher
from routeplan._provider import base
from routeplan._provider import ecmwf as _provider_ecmwf
from routeplan._provider.crop import crop_file
from routeplan._provider.ecmwf import ecmwf_ensemble_steps, ecmwf_steps
from routeplan._provider.grib import read_messages
from routeplan._provider.nomads import gefs_steps, gfs_steps
from routeplan.errors import CoverageError, DownloadError, InputError
from routeplan.providers import PROVIDERS, get_forecast

BOUNDS = (-5.0, 58.0, -3.0, 59.0)
NOW = np.datetime64("2026-11-25T12:00:00", "s")
RUN = "2026112506"
AIR = ("UGRD", "VGRD", "GUST", "TMP", "VIS", "CAPE", "PRATE")
SEA = ("HTSGW", "PERPW", "DIRPW")


def hours(n):
    return np.timedelta64(n, "h")


@pytest.fixture(autouse=True)
def _direct(monkeypatch):
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    for provider in PROVIDERS.values():
        monkeypatch.delenv(provider.variable, raising=False)


@pytest.fixture
def ask(tmp_path):
    """Return a function that gets a forecast from a server, for eight hours from now."""

    def get(provider, server, *, ahead=8, **changed):
        settings = {"pause_s": 0.0, "backoff_s": 0.01, "timeout_s": (5.0, 1.5), "retries": 2}
        settings |= changed.pop("fetch", {})
        wanted = {"bounds": BOUNDS, "start": NOW, "end": NOW + hours(ahead), "now": NOW}
        with Fetcher(tmp_path, **settings) as fetcher:
            wanted |= {"base_url": server.url, "fetcher": fetcher}
            return get_forecast(provider, **(wanted | changed))

    return get


@pytest.fixture
def _crop_here(monkeypatch):
    """Cut boxes out in this process: starting another takes most of the time of a test."""

    def finish(_self, asked, joined):
        cropped = joined.with_name("cropped")
        crop_file(joined, cropped, asked.box)
        cropped.replace(joined)

    monkeypatch.setattr(_provider_ecmwf.EcmwfService, "finish", finish)


def whole(root):
    """Check that the cache holds forecasts and their sidecars and nothing else."""
    files = [p for p in root.rglob("*") if p.is_file()]
    gribs = sorted(p for p in files if p.suffix == ".grib2")
    assert sorted(files) == sorted([*gribs, *(p.with_name(p.name + ".json") for p in gribs)])
    return gribs


def compare(path, names, tolerance):
    """Check each field against what the server's weather is, and return (name, step, member)."""
    codes = {CODES[name][:4]: name for name in reversed(CODES) if name in names}
    seen = []
    for code, run, step, member, lon, lat, values in decoded(path):
        name = codes[code]
        assert run == RUN
        exact = value(name, lon, lat, step, member)
        assert np.abs(values - exact).max() <= tolerance(name, values), (name, step)
        seen.append((name, step, member))
    assert len(seen) == len(set(seen))
    return set(seen)


def packing(_name, values):
    """Return the error of 16 bits over the range of the values, twice packed at most."""
    return max(1e-6, 2.0 * (values.max() - values.min()) / 2**16 + 1e-6 * abs(values.max()))


# --- what comes


def test_gfs_brings_wind_and_waves_of_the_box_and_hours(ask, tmp_path):
    with FaultyServer(find=GribFilter(RUN)) as server:
        got = ask("gfs", server)
        assert server.errors == []
    seen = compare(got.paths[0], AIR + SEA, packing)
    assert seen == {(name, step, None) for name in AIR + SEA for step in range(6, 15)}
    assert len(server.requests) == 18  # one for each hour and kind, the probed ones among them
    assert str(got.run) == "2026-11-25T06:00:00"
    assert (got.first, got.last) == (NOW, NOW + hours(8))
    assert got.box == (-6.0, 57.0, -2.0, 60.0)
    assert got.missing == {}
    assert got.notes == ()
    assert got.fetched
    assert whole(tmp_path) == list(got.paths)


def test_what_the_filter_adds_is_left_out(ask):
    """Temperature at the surface comes with that at 2 m, for the filter crosses both lists."""
    server = GribFilter(RUN)
    with FaultyServer(find=server) as running:
        got = ask("gfs", running, ahead=1)
    sent = {m.fields[0].level_type for m in read_messages(got.paths[0])}
    codes = [code for code, *_ in decoded(got.paths[0])]
    assert (0, 0, 0, 103) in codes
    assert (0, 0, 0, 1) not in codes
    assert sent == {1, 103}


def test_gefs_brings_all_members(ask):
    with FaultyServer(find=GribFilter(RUN, spacing=1.0)) as server:
        got = ask("gefs", server, ahead=3, members=True)
    seen = compare(got.paths[0], AIR + SEA, packing)
    assert seen == {(n, s, m) for n in AIR + SEA for s in (6, 9) for m in range(31)}
    assert got.members == tuple(range(31))


def test_gefs_without_members_is_the_control(ask):
    with FaultyServer(find=GribFilter(RUN)) as server:
        got = ask("gefs", server, ahead=3)
    assert {m for _, _, m in compare(got.paths[0], AIR + SEA, packing)} == {0}
    assert len(server.requests) == 4


ECMWF = ("10u", "10v", "10fg", "2t", "swh", "mwp", "mwd", "pp1d")


def global_packing(name, _values):
    """Fields are packed over the whole globe, and again over the box."""
    return 2e-4 if name not in ("mwd",) else 4e-3


def test_ecmwf_brings_the_fields_and_cuts_the_box_out(ask, tmp_path):
    with FaultyServer(find=OpenData(RUN, spacing=1.0)) as server:
        got = ask("ecmwf", server)
        assert server.errors == []
    seen = compare(got.paths[0], ECMWF, global_packing)
    assert seen == {(name, step, None) for name in ECMWF for step in (6, 9, 12, 15)}
    boxes = {m.fields[0].box for m in read_messages(got.paths[0])}
    assert boxes == {(354.0, 57.0, 358.0, 60.0)}
    ranged = [r for r in server.requests if "range" in r.headers]
    assert all(r.status == 206 for r in ranged)
    assert len(ranged) == 8  # what stands together comes together: one range a file
    whole_files = sum(
        len(OpenData(RUN, spacing=1.0).file(RUN, s, "oper")[1]) for s in (6, 9, 12, 15)
    )
    assert 0 < sum(r.sent for r in ranged if "oper" in r.path) < 0.85 * whole_files
    assert whole(tmp_path) == list(got.paths)


@pytest.mark.usefixtures("_crop_here")
def test_ecmwf_members(ask):
    left_out = {"2t", "mwp", "mwd", "pp1d"}
    service = OpenData(RUN, spacing=15.0, members=tuple(range(1, 51)), hide=left_out)
    for step in (6, 9):  # so that no answer waits for it
        service.file(RUN, step, "enfo")
        service.file(RUN, step, "waef")
    with FaultyServer(find=service) as server:
        got = ask("ecmwf", server, ahead=3, members=True, bounds=(-40.0, 30.0, 0.0, 70.0))
    names = set(ECMWF) - left_out
    seen = compare(got.paths[0], names, global_packing)
    assert seen == {(n, s, m) for n in names for s in (6, 9) for m in range(1, 51)}
    assert set(got.missing.values()) == {100}
    assert {r.path.split("/")[5] for r in server.requests} == {"enfo", "waef"}


@pytest.mark.usefixtures("_crop_here")
@pytest.mark.parametrize(
    ("bounds", "first", "last"),
    [
        ((178.0, -40.0, -178.0, -38.0), 177.0, 183.0),
        ((-1.0, 50.0, 1.0, 51.0), 358.0, 362.0),
        ((359.0, 50.0, 1.0, 51.0), 358.0, 362.0),
    ],
)
@pytest.mark.parametrize("provider", ["gfs", "ecmwf"])
def test_boxes_across_the_ends_of_the_longitudes(ask, provider, bounds, first, last):
    service = GribFilter(RUN) if provider == "gfs" else OpenData(RUN, spacing=1.0)
    names = AIR + SEA if provider == "gfs" else ECMWF
    with FaultyServer(find=service) as server:
        got = ask(provider, server, ahead=1, bounds=bounds)
    assert compare(got.paths[0], names, packing if provider == "gfs" else global_packing)
    west, _, east, _ = read_messages(got.paths[0])[0].fields[0].box
    assert (west, east) == (first, last)


# --- beside the file


@pytest.mark.usefixtures("_crop_here")
def test_the_sidecar_says_where_it_is_from_and_under_which_licence(ask):
    with FaultyServer(find=OpenData(RUN, spacing=1.0)) as server:
        got = ask("ecmwf", server, ahead=1)
    about = json.loads(got.sidecar.read_text())
    assert got.sidecar.name == got.paths[0].name + ".json"
    assert about["sha256"] == hashlib.sha256(got.paths[0].read_bytes()).hexdigest()
    assert about["bytes"] == got.paths[0].stat().st_size
    assert about["run"] == "2026-11-25T06:00:00Z"
    assert (about["first"], about["last"]) == ("2026-11-25T12:00:00Z", "2026-11-25T15:00:00Z")
    assert about["request"]["base_url"] == server.url
    assert about["request"]["steps_h"] == [6, 9]
    # Source: ECMWF, open data, "Attribution", confluence.ecmwf.int/display/DAC
    # (accessed 2026-11-25): copyright with the year, source, licence, disclaimer, and a word that
    # the material has been modified.
    for words in (
        "© 2026 European Centre for Medium-Range Weather Forecasts (ECMWF)",
        "www.ecmwf.int",
        "CC BY 4.0",
        "https://creativecommons.org/licenses/by/4.0/",
        "does not accept any liability",
        "Modified",
    ):
        assert words in about["attribution"]
    assert about["licence"] == "CC BY 4.0"
    # Source: National Weather Service, www.weather.gov/disclaimer (accessed 2026-11-25).
    assert PROVIDERS["gfs"].licence.startswith("public domain")
    assert "NOAA" in PROVIDERS["gefs"].attribution


def test_a_variable_that_is_not_there_is_named(ask):
    with FaultyServer(find=GribFilter(RUN, hide=("GUST", "CAPE"))) as server:
        got = ask("gfs", server, ahead=2)
    missing = {"wind_speed_of_gust": 3, "atmosphere_convective_available_potential_energy": 3}
    assert got.missing == missing
    assert "wind_speed_of_gust: 3 fields missing" in got.notes


def test_without_wind_there_is_no_forecast(ask, tmp_path):
    with (
        FaultyServer(find=GribFilter(RUN, hide=("VGRD",))) as server,
        pytest.raises(DownloadError, match="no northward_wind in it"),
    ):
        ask("gfs", server)
    assert list(tmp_path.rglob("*.grib2")) == []


# --- which run


def test_the_run_before_is_taken_when_the_newest_is_not_out(ask):
    with FaultyServer(find=GribFilter("2026112500")) as server:
        got = ask("gfs", server)
    assert str(got.run) == "2026-11-25T00:00:00"
    assert got.notes == ("the run of 2026-11-25T06:00:00Z is not there, or not all of it",)
    assert server.requests[0].query["file"] == "gfs.t06z.pgrb2.0p25.f014"  # the last one needed
    assert [r.status for r in server.requests].count(404) == 1


@pytest.mark.usefixtures("_crop_here")
def test_the_run_before_is_taken_when_the_newest_is_half_out(ask):
    with FaultyServer(find=OpenData(RUN, until_h=12, spacing=1.0)) as server:
        got = ask("ecmwf", server)
    assert str(got.run) == "2026-11-25T00:00:00"


def test_the_run_before_is_taken_when_a_page_says_that_the_file_is_not_present(ask):
    with FaultyServer(find=GribFilter(RUN), faults=[Fault("absent-page")] * 2) as server:
        got = ask("gfs", server)
    assert str(got.run) == "2026-11-25T00:00:00"


def test_the_run_before_is_taken_when_a_file_in_the_middle_is_gone(ask):
    service = GribFilter(RUN)

    def hole(request):
        gone = request.query["file"] == "gfs.t06z.pgrb2.0p25.f009"
        return None if gone else service(request)

    with FaultyServer(find=hole) as server:
        got = ask("gfs", server)
    assert str(got.run) == "2026-11-25T00:00:00"


def test_no_run_at_all_is_one_line(ask, tmp_path):
    with (
        FaultyServer(find=GribFilter("2026110100")) as server,
        pytest.raises(DownloadError, match="HTTP status 404") as caught,
    ):
        ask("gfs", server)
    assert caught.value.status == 404
    assert "\n" not in str(caught.value)
    assert len(server.requests) == 8  # four runs, twice: with waves and without
    assert list(tmp_path.rglob("*.*")) == []


def test_wind_without_waves_is_better_than_nothing_and_said(ask):
    with FaultyServer(find=GribFilter(RUN, sea=False)) as server:
        got = ask("gfs", server, ahead=1)
    assert str(got.run) == "2026-11-25T06:00:00"
    assert "no waves are there" in got.notes


def test_steps_are_those_of_the_services():
    # Source: NCEP products inventory, www.nco.ncep.noaa.gov/pmb/products/gfs (accessed
    # 2026-11-25): hourly to 120, 3-hourly to 384; gens: 0.25 degrees 3-hourly to 240.
    assert gfs_steps(6)[118:124] == (118, 119, 120, 123, 126, 129)
    assert gfs_steps(0)[-1] == 384
    assert (gefs_steps(0)[1], gefs_steps(18)[-1]) == (3, 240)
    # Source: ECMWF, README of its open-data client, "Time steps" (accessed 2026-11-25).
    assert ecmwf_steps(0) == (*range(0, 144, 3), *range(144, 241, 6))
    assert ecmwf_steps(18) == tuple(range(0, 91, 3))
    assert ecmwf_ensemble_steps(12) == (*range(0, 144, 3), *range(144, 361, 6))
    assert ecmwf_ensemble_steps(6) == tuple(range(0, 145, 3))


def test_a_run_that_reaches_the_end_stands_before_a_newer_one():
    def first(ahead, steps=ecmwf_steps):
        return str(base.rank_runs(steps, 3600.0 * 5, end=NOW + hours(ahead), now=NOW)[0])

    assert first(8) == "2026-11-25T06:00:00"
    assert first(84) == "2026-11-25T06:00:00"  # its last hour, 90 h after 06 UTC
    assert first(85) == "2026-11-25T00:00:00"
    assert first(200) == "2026-11-25T00:00:00"
    assert first(500) == "2026-11-25T00:00:00"
    assert first(500, gfs_steps) == "2026-11-25T06:00:00"


def test_steps_embrace_the_period():
    run = NOW - hours(6)

    def steps(start, end):
        return base.needed_steps(ecmwf_steps, run, run + hours(start), run + hours(end))

    assert steps(6, 12) == (6, 9, 12)
    assert steps(7, 13) == (6, 9, 12, 15)
    assert steps(-5, 1) == (0, 3)
    assert steps(88, 200) == (87, 90)
    assert steps(90, 200) == ()


def test_a_period_that_no_run_reaches_is_a_matter_of_coverage(ask):
    with (
        FaultyServer(find=GribFilter(RUN)) as server,
        pytest.raises(CoverageError, match="reaches to 2026-12-05T06:00:00Z; the period starts"),
    ):
        ask("gefs", server, start=NOW + hours(300), end=NOW + hours(310))
    assert server.requests == []


def test_a_forecast_that_ends_early_says_so(ask):
    with FaultyServer(find=GribFilter(RUN)) as server:
        got = ask("gefs", server, start=NOW + hours(228), end=NOW + hours(300))
    assert "ends at 2026-12-05T06:00:00Z, the period at 2026-12-08T00:00:00Z" in got.notes[-1]


# --- bad input


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"provider": "moon"}, "no forecast service 'moon'; there are gfs, gefs, ecmwf"),
        ({"members": True}, "GFS-Wave 0.25° has no members; gefs and ecmwf have"),
        ({"bounds": (0, 10, 5, 5)}, "south <= north"),
        ({"bounds": (0, 10, 5, np.nan)}, "south <= north"),
        ({"bounds": (0, 10, 5, 91)}, "south <= north"),
        ({"bounds": (-181, 10, 5, 11)}, "south <= north"),
        ({"end": NOW - hours(1)}, "not after its start"),
        ({"start": NOW - hours(9), "end": NOW - hours(1)}, "a forecast is for the time to come"),
        ({"start": datetime.datetime(2026, 11, 25, 12)}, "has no time zone"),  # noqa: DTZ001
        ({"start": "now"}, "is no time"),
        ({"start": np.datetime64("NaT")}, "is no time"),
    ],
)
def test_bad_input_is_one_line_and_asks_nobody(ask, changed, words):
    with FaultyServer(find=GribFilter(RUN)) as server:
        provider = changed.pop("provider", "gfs")
        with pytest.raises(InputError) as caught:
            ask(provider, server, **changed)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)
    assert server.requests == []


def test_times_with_a_zone_are_taken(ask):
    zone = datetime.timezone(datetime.timedelta(hours=2))
    with FaultyServer(find=GribFilter(RUN)) as server:
        got = ask("gfs", server, ahead=1, start=datetime.datetime(2026, 11, 25, 14, tzinfo=zone))
    assert got.first == NOW


def test_another_server_by_environment(ask, monkeypatch):
    with FaultyServer(find=GribFilter(RUN)) as server:
        monkeypatch.setenv("ROUTEPLAN_GFS_URL", server.url + "/")
        assert ask("gfs", server, ahead=1, base_url=None).fetched


# --- the cache


def test_a_second_request_fetches_nothing(ask, tmp_path):
    with FaultyServer(find=GribFilter(RUN)) as server:
        first = ask("gfs", server)
        count = len(server.requests)
        again = ask("gfs", server, bounds=(-4.9, 58.1, -3.1, 58.9))  # rounds to the same box
        assert len(server.requests) == count
    assert again.paths == first.paths
    assert not again.fetched
    assert whole(tmp_path) == list(first.paths)


def test_a_damaged_forecast_is_fetched_again(ask):
    with FaultyServer(find=GribFilter(RUN)) as server:
        got = ask("gfs", server, ahead=1)
        good = got.paths[0].read_bytes()
        got.paths[0].write_bytes(good[:-10] + bytes(10))
        assert ask("gfs", server, ahead=1).fetched
        got.sidecar.write_text("{")
        assert ask("gfs", server, ahead=1).fetched
    assert got.paths[0].read_bytes() == good


def test_offline_takes_what_covers_and_says_how_old_it_is(ask):
    offline = {"fetch": {"offline": True}}
    with FaultyServer(find=GribFilter(RUN)) as server:
        with pytest.raises(DownloadError, match=r"no gfs forecast for this box and period.*off"):
            ask("gfs", server, **offline)
        got = ask("gfs", server)
        count = len(server.requests)
        later = NOW + hours(4)
        found = ask("gfs", server, start=later, end=later + hours(3), now=later, **offline)
        assert found.paths == got.paths
        assert found.notes == ("offline: of the run of 2026-11-25T06:00:00Z, 10 h ago",)
        with pytest.raises(DownloadError, match="no gfs forecast for this box"):
            ask("gfs", server, bounds=(-15, 58, -13, 59), **offline)
        with pytest.raises(DownloadError, match="no gefs forecast for this box"):
            ask("gefs", server, **offline)
        with pytest.raises(DownloadError, match="no gfs forecast for this box"):
            ask("gfs", server, start=NOW + hours(9), end=NOW + hours(12), **offline)
        assert len(server.requests) == count


def test_what_is_a_month_old_goes(ask, tmp_path):
    with FaultyServer(find=GribFilter(RUN)) as server:
        first = ask("gfs", server, ahead=1)
        old = time.time() - 31 * 86400
        for path in (first.paths[0], first.sidecar):
            os.utime(path, (old, old))
        remains = first.paths[0].parent / "2026010100-abc"
        remains.mkdir()
        os.utime(remains, (old, old))
        second = ask("gfs", server, ahead=2)
    assert whole(tmp_path) == list(second.paths)
    assert not remains.exists()


# --- faults

FAULTS = {
    "503": Fault("status", status=503),
    "503 and when to come back": Fault("status", status=503, headers=(("Retry-After", "0"),)),
    "cut": Fault("cut", at=700),
    "stated too long": Fault("long-length"),
    "stated too short": Fault("short-length"),
    "page": Fault("html"),
    "stall": Fault("stall"),
    "ranges not taken": Fault("no-range"),
    "one byte wrong": Fault("flipped"),
}


@pytest.mark.usefixtures("_crop_here")
@pytest.mark.parametrize("fault", FAULTS.values(), ids=FAULTS.keys())
@pytest.mark.parametrize("provider", ["gfs", "ecmwf"])
def test_every_fault_is_survived_once(ask, tmp_path, provider, fault):
    service = GribFilter(RUN) if provider == "gfs" else OpenData(RUN, spacing=2.0)
    bounds = BOUNDS if provider == "gfs" else (-10.0, 50.0, 0.0, 60.0)
    names = AIR + SEA if provider == "gfs" else ECMWF
    with FaultyServer(find=service) as server:
        # Not the very first answers: those decide which run is taken.
        server.faults_at = {
            "/cgi-bin/filter_gfswave.pl": [fault],
            f"/20261125/06z/ifs/0p25/oper/{RUN}0000-9h-oper-fc.grib2": [fault],
            f"/20261125/06z/ifs/0p25/oper/{RUN}0000-6h-oper-fc.index": [fault],
        }
        got = ask(provider, server, ahead=3, bounds=bounds)
        assert server.errors == []
    assert str(got.run) == "2026-11-25T06:00:00"
    assert got.missing == {}
    compare(got.paths[0], names, packing if provider == "gfs" else global_packing)
    assert whole(tmp_path) == list(got.paths)


@pytest.mark.parametrize("provider", ["gfs", "ecmwf"])
def test_a_service_that_is_down_is_one_line(ask, tmp_path, provider):
    with (
        FaultyServer(faults=[Fault("status", status=503)] * 99) as server,
        pytest.raises(DownloadError, match=r"HTTP status 503") as caught,
    ):
        ask(provider, server)
    assert caught.value.status == 503
    assert list(tmp_path.rglob("*.grib2")) == []


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"run": "2026112500"}, "of the run of 2026-11-25T00:00:00Z"),
        ({"step": 3}, "for 2026-11-25T09:00:00Z, 2026-11-25T"),
        ({"west": 20.0, "east": 24.0}, "for another area than asked"),
        ({"north": 58.5}, "for another area than asked"),
    ],
)
def test_a_good_file_of_something_else_is_refused(ask, monkeypatch, wrong, words):
    service = GribFilter(RUN)
    plain = service._subset

    def other(query, run, step, member, wave):
        query = dict(query)
        for edge, key in (("west", "leftlon"), ("east", "rightlon"), ("north", "toplat")):
            query[key] = str(wrong.get(edge, query[key]))
        return plain(query, wrong.get("run", run), wrong.get("step", step), member, wave)

    monkeypatch.setattr(service, "_subset", other)
    with FaultyServer(find=service) as server, pytest.raises(DownloadError) as caught:
        ask("gfs", server)
    assert words in str(caught.value)


def index_change(**keys):
    """Return a change of an index: its lines for 10v get other values."""

    def change(text):
        lines = [json.loads(line) for line in text.splitlines()]
        for line in lines:
            if line["param"] == "10v":
                line |= keys
        return "".join(json.dumps(line) + "\n" for line in lines).encode()

    return change


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda _: b"not json\n", "line 1 of the index is no JSON object"),
        (lambda _: b"[" * 100_000, "line 1 of the index is no JSON object"),
        (lambda _: b"5\n", "line 1 of the index is no JSON object"),
        (lambda _: b"{}\n", "no eastward_wind in the index"),
        (index_change(param="other"), "no northward_wind in the index"),
        (index_change(_offset=-1), "the index has _offset -1"),
        (index_change(_offset="0"), "the index has _offset '0'"),
        (index_change(_offset=True), "the index has _offset True"),
        (index_change(_length=0), "a field of 0 bytes"),
        (index_change(_length=2**50), "a field of 1125899906842624 bytes"),
        (index_change(_offset=2**60), "at 1152921504606846976"),
        (index_change(_offset=3), "not GRIB at byte 0"),
        (index_change(_offset=0), "not the northward_wind that the index says"),
        (index_change(_offset=2**30), "HTTP status 416"),
        (lambda text: text.replace(b"10u", b"xxx").replace(b"10v", b"10u"), "northward_wind"),
    ],
)
def test_an_index_that_lies_is_found_out(ask, tmp_path, change, words):
    with (
        FaultyServer(find=OpenData(RUN, spacing=2.0, change=change)) as server,
        pytest.raises(DownloadError) as caught,
    ):
        ask("ecmwf", server)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)
    assert list(tmp_path.glob("forecasts/*/*.grib2")) == []


def test_more_than_is_allowed_is_not_begun(ask):
    with (
        FaultyServer(find=OpenData(RUN, spacing=2.0)) as server,
        pytest.raises(DownloadError, match=r"MB to fetch, 0 MB allowed; ask for fewer hours"),
    ):
        ask("ecmwf", server, max_bytes=100_000)
    assert all(r.path.endswith(".index") for r in server.requests)


def test_fields_that_the_decoder_cannot_read_are_one_line(ask, tmp_path):
    """The headers are right, so the decoder gets to see it; the data section is not."""
    service = OpenData(RUN, spacing=2.0)
    plain = service.file

    def spoilt(run, step, stream):
        lines, content = plain(run, step, stream)
        content = bytearray(content)
        for line in lines:
            # Section 5, octets 10 and 11: a way of packing that there is not.
            where = _section(content, line["_offset"], 5)
            content[where + 9 : where + 11] = b"\xee\xee"
        return lines, bytes(content)

    service.file = spoilt
    with (
        FaultyServer(find=service) as server,
        pytest.raises(DownloadError, match="the fields that came could not be decoded"),
    ):
        ask("ecmwf", server, bounds=(-10.0, 50.0, 0.0, 60.0))
    assert list(tmp_path.glob("forecasts/*/*.grib2")) == []


def _section(content, offset, number):
    offset += 16
    while content[offset + 4] != number:
        offset += int.from_bytes(content[offset : offset + 4], "big")
    return offset


@pytest.mark.skipif(sys.platform == "win32", reason="no signals")
def test_a_decoder_that_crashes_crashes_alone(ask, tmp_path, monkeypatch):
    crasher = tmp_path / "crasher"
    crasher.write_text("#!/bin/sh\nkill -SEGV $$\n")
    crasher.chmod(0o755)
    monkeypatch.setattr(_provider_ecmwf.sys, "executable", str(crasher))
    with (
        FaultyServer(find=OpenData(RUN, spacing=2.0)) as server,
        pytest.raises(DownloadError, match="could not be decoded"),
    ):
        ask("ecmwf", server, bounds=(-10.0, 50.0, 0.0, 60.0))


# --- headers


def test_headers_are_read_as_ecmwfs_library_reads_them(tmp_path):
    """ecCodes is the other reader here; members and intervals are among the fields."""
    service = OpenData(RUN, spacing=10.0, members=(1, 7))
    _, content = service.file(RUN, 9, "enfo")
    path = tmp_path / "x.grib2"
    path.write_bytes(content)
    ours = [f for m in read_messages(path) for f in m.fields]
    theirs = list(decoded(path))
    assert len(ours) == len(theirs) == 10
    for field, (code, run, step, member, lon, lat, _) in zip(ours, theirs, strict=True):
        assert (field.discipline, field.category, field.number, field.level_type) == code
        assert base.stamp(field.reference) == run
        assert field.valid == field.reference + hours(step)
        assert field.member == member
        west, south, east, north = field.box
        assert (south, north) == (lat.min(), lat.max())
        assert west % 360 == lon[0] % 360
        assert east % 360 == lon[-1] % 360
    assert {f.interval for f in ours} == {True, False}


def test_headers_with_any_byte_changed_are_read_or_refused(tmp_path):
    """Every byte of the headers of a real message, one at a time, set to three values."""
    _, content = OpenData(RUN, spacing=30.0, members=(1,)).file(RUN, 9, "enfo")
    length = int.from_bytes(content[8:16], "big")
    good = content[:length]
    path = tmp_path / "x"
    words, read = [], 0
    for at in range(min(length, 250)):
        for new in (0x00, 0x7F, 0xFF):
            path.write_bytes(good[:at] + bytes([new]) + good[at + 1 :])
            try:
                read_messages(path)
                read += 1
            except ValueError as error:
                words.append(str(error))
    assert not any("\n" in text for text in words)
    assert len(words) > 50
    assert read > 50


# --- the end of a process, and two at once

CHILD = """
import sys
import numpy as np
from routeplan._download.fetcher import Fetcher
from routeplan.providers import get_forecast
provider, url, root = sys.argv[1:]
now = np.datetime64("2026-11-25T12:00:00")
with Fetcher(root, pause_s=0.0, backoff_s=0.01) as fetcher:
    got = get_forecast(provider, bounds=(-10, 50, 0, 60), start=now, now=now,
                       end=now + np.timedelta64(9, "h"), base_url=url, fetcher=fetcher)
print(got.paths[0].name, got.fetched)
"""


def child(provider, server, root):
    return subprocess.Popen(
        [sys.executable, "-c", CHILD, provider, server.url, str(root)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parent.parent,
    )


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL")
@pytest.mark.parametrize("provider", ["gfs", "ecmwf"])
def test_killed_in_the_middle_and_started_again_nothing_is_lost(ask, tmp_path, provider):
    service = GribFilter(RUN) if provider == "gfs" else OpenData(RUN, spacing=2.0)
    with FaultyServer(find=service, chunk=4096, pause_s=0.004) as server:
        process = child(provider, server, tmp_path)
        deadline = time.monotonic() + 20
        while len([r for r in server.requests if r.sent]) < 7:
            assert process.poll() is None, process.communicate()
            assert time.monotonic() < deadline
            time.sleep(0.002)
        os.kill(process.pid, signal.SIGKILL)
        process.communicate()
        before = list(server.requests)
        assert list(tmp_path.glob("forecasts/*/*.grib2")) == []
        done = {p.name for p in tmp_path.rglob("*") if p.suffix in (".grib2", ".index")}
        assert done
        got = ask(provider, server, ahead=9, bounds=(-10.0, 50.0, 0.0, 60.0))
        later = server.requests[len(before) :]
    names = AIR + SEA if provider == "gfs" else ECMWF
    compare(got.paths[0], names, packing if provider == "gfs" else global_packing)
    again = {_what(r) for r in before} & {_what(r) for r in later}
    assert len(again) <= 2  # those under way when it was killed, two at a time
    assert whole(tmp_path) == list(got.paths)


def _what(request):
    return request.path, request.query.get("file"), request.headers.get("range")


@pytest.mark.parametrize("provider", ["gfs", "ecmwf"])
def test_two_processes_at_once_end_with_the_same_forecast(tmp_path, provider):
    service = GribFilter(RUN) if provider == "gfs" else OpenData(RUN, spacing=2.0)
    with FaultyServer(find=service, pause_s=0.002) as server:
        both = [child(provider, server, tmp_path) for _ in range(2)]
        said = [process.communicate(timeout=30) for process in both]
        assert [process.returncode for process in both] == [0, 0], said
        names, fetched = zip(*(out.split() for out, _ in said), strict=True)
        assert len(set(names)) == 1
        assert sorted(fetched) == ["False", "True"]
        asked = [_what(r) for r in server.requests]
        assert len(asked) == len(set(asked))  # nothing was fetched twice
    assert len(whole(tmp_path)) == 1


@pytest.mark.usefixtures("_crop_here")
def test_progress_is_told(ask):
    told = []
    with FaultyServer(find=OpenData(RUN, spacing=2.0)) as server:
        bounds = (-10.0, 50.0, 0.0, 60.0)
        ask("ecmwf", server, ahead=3, bounds=bounds, progress=lambda *a: told.append(a))
    assert told[0] == ("weather, contents", 1, 2)
    assert told[-1] == ("waves", 2, 2)
    assert {what for what, _, _ in told} == {
        "weather, contents", "weather", "waves, contents", "waves",
    }  # fmt: skip


def test_the_public_names():
    assert set(PROVIDERS) == {"gfs", "gefs", "ecmwf"}
    assert providers.__all__ == ["PROVIDERS", "DownloadedForecast", "Provider", "get_forecast"]
    for provider in PROVIDERS.values():
        assert provider.base_url.startswith("https://")
        assert provider.documentation.startswith("https://")
        assert provider.attribution
