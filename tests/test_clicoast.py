"""`routeplan coast` end to end, against a server on this machine."""

import json
import os
import re
import subprocess
import sys

import pytest
from _overpass_server import OsmDatabase
from _servers import Fault, FaultyServer

from routeplan import cli
from routeplan._download.fetcher import Fetcher
from routeplan._osm import overpass as _overpass
from routeplan._plan.sources import COAST_CAUTION
from routeplan.coastsource import data_dir, list_sources

# In the open Skagerrak, some 20 km from any shore of the default coastline.
BOX = "10.70,58.40,10.80,58.46"
ROUTE = """<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1"><rte><name>out</name>
<rtept lat="58.428" lon="10.735"><name>a</name></rtept>
<rtept lat="58.434" lon="10.735"><name>b</name></rtept></rte></gpx>
"""


@pytest.fixture
def server(monkeypatch):
    """A database with one islet in the middle of the box."""
    osm = OsmDatabase()
    west, south, east, north = 10.74, 58.43, 10.744, 58.432
    osm.coast([(west, south), (east, south), (east, north), (west, north), (west, south)])
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    with FaultyServer(find=osm.find) as running:
        yield running
    assert running.errors == []


@pytest.fixture
def here(tmp_path, monkeypatch):
    """An empty folder with a route, data of its own and a fetcher that does not wait."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("ROUTEPLAN_DATA_DIR", str(tmp_path / "data"))
    monkeypatch.setenv("COLUMNS", "80")
    (tmp_path / "out.gpx").write_text(ROUTE, encoding="utf-8")

    def fetcher(*, offline=False):
        return Fetcher(tmp_path / "cache", offline=offline, pause_s=0.0, retries=1, backoff_s=0.0)

    monkeypatch.setattr(_overpass, "polite_fetcher", fetcher)
    return tmp_path


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
    return ran(capfd, "coast", "get", "--server", f"{server.url}/api", *arguments)


@pytest.mark.usefixtures("here")
def test_a_box_is_got_and_listed(capfd, server):
    text = got(capfd, server, "--box", BOX, "--margin", "0 m", "--name", "skerry")
    assert "OpenStreetMap coast skerry, data of 2026-11-20" in " ".join(text.split())
    assert "© OpenStreetMap contributors, ODbL 1.0" in text
    assert "error: unknown" in text
    assert COAST_CAUTION in " ".join(text.split())
    assert max(map(len, text.splitlines())) <= 80
    assert " ".join(ran(capfd, "coast", "list").split()) == " ".join(text.split())


@pytest.mark.usefixtures("here")
def test_the_document_of_a_source(capfd, server):
    arguments = ["--box", BOX, "--margin", "1 km", "--name", "skerry", "--error", "30 m", "--json"]
    document = json.loads(got(capfd, server, *arguments))
    (coast,) = document["coasts"]
    assert coast["name"] == "skerry"
    assert coast["date"] == "2026-11-20T06:00:00Z"
    assert coast["licence"] == "ODbL 1.0"
    assert coast["nominal_error_m"] == 30.0
    assert coast["server"] == f"{server.url}/api"
    assert coast["south_deg"] < 58.40 < 58.46 < coast["north_deg"]
    assert coast["points"] == 5
    assert coast["path"] == str(data_dir() / "skerry.coast.npz")
    assert document["cautions"] == [COAST_CAUTION]
    listed = json.loads(ran(capfd, "coast", "list", "--json"))
    assert listed == document


@pytest.mark.usefixtures("here")
def test_legs_prefer_what_was_got_and_say_what_differs(capfd, server):
    before = json.loads(ran(capfd, "legs", "out.gpx", "--json"))
    assert before["coast"]["compared_with"] is None
    assert before["legs"][0]["offshore_verdict"] == "beyond"
    got(capfd, server, "--route", "out.gpx", "--margin", "3 km")
    after = json.loads(ran(capfd, "legs", "out.gpx", "--json"))
    assert after["legs"][0]["offshore_verdict"] == "close"  # within, but the error is not known
    assert after["legs"][0]["compared"]["default_verdict"] == "beyond"
    assert after["legs"][0]["compared"]["finer_verdict"] == "within"
    assert after["coast"]["compared_with"]["legs_that_differ"] == [1]
    (source,) = after["sources"]
    assert (source["licence"], source["date"]) == ("ODbL 1.0", "2026-11-20T06:00:00Z")
    assert source["age_s"] > 0
    text = " ".join(ran(capfd, "legs", "out.gpx", "--map", "m.png").split())
    assert "! leg 1: the coastlines differ on the limit of 1,000 m from shore" in text
    assert "© OpenStreetMap contributors, ODbL 1.0" in text
    assert "data of 2026-11-20T06:00:00Z" in text
    assert COAST_CAUTION in text


def test_nothing_is_asked_twice_but_by_force_and_nothing_at_all_offline(capfd, server, here):
    arguments = ["--box", BOX, "--margin", "0 m", "--name", "skerry"]
    line = refused(capfd, "coast", "get", "--server", f"{server.url}/api", *arguments, "--offline")
    assert "not in the cache" in line
    assert server.requests == []
    got(capfd, server, *arguments)
    got(capfd, server, *arguments)
    got(capfd, server, *arguments, "--offline")
    assert len(server.requests) == 1
    got(capfd, server, *arguments, "--force")
    assert len(server.requests) == 2
    assert sorted(p.name for p in (here / "data" / "coast").iterdir()) == ["skerry.coast.npz"]


@pytest.mark.usefixtures("here")
def test_a_server_that_fails_is_one_line_and_keeps_nothing(capfd, server):
    server.faults = [Fault("html")] * 9
    line = refused(capfd, "coast", "get", "--server", f"{server.url}/api", "--box", BOX)
    assert "HTML page instead of data" in line
    assert list_sources() == ((), ())


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], ["--route", "--box"]),
        (["--box", BOX, "--route", "out.gpx"], ["only one of them"]),
        (["--box", "1,2,3"], ["--box", "four numbers"]),
        (["--box", "1,2,3,x"], ["--box", "four numbers"]),
        (["--box", "1,2,nan,4"], ["--box", "-180..180"]),
        (["--box", "1,5,3,4"], ["--box", "south not above north"]),
        (["--box", "-190,1,3,4"], ["--box", "-180..180"]),
        (["--box", "0,0,20,20"], ["km²"]),
        (["--box", BOX, "--margin", "10"], ["--margin", "unit"]),
        (["--box", BOX, "--margin", "-1 km"], ["--margin", "out of range"]),
        (["--box", BOX, "--error", "-1 m"], ["--error", "out of range"]),
        (["--box", BOX, "--name", "../up"], ["../up", "small letters"]),
        (["--box", BOX, "--server", "file:///etc/passwd"], ["http"]),
        (["--route", "missing.gpx"], ["missing.gpx"]),
        (["--select", "2", "--route", "out.gpx"], ["out.gpx", "'2'"]),
        (["--boxes", "1"], ["--boxes", "--box", "--server"]),
    ],
)
@pytest.mark.usefixtures("here")
def test_bad_usage_names_the_option_and_what_is_allowed(capfd, arguments, words):
    line = refused(capfd, "coast", "get", *arguments)
    for word in words:
        assert word in line


def test_files_that_are_no_sources_are_listed_as_such(capfd, here):
    (here / "data" / "coast").mkdir(parents=True)
    (here / "data" / "coast" / "odd.coast.npz").write_bytes(b"nonsense")
    assert "odd.coast.npz" in "".join(ran(capfd, "coast", "list").split())
    document = json.loads(ran(capfd, "coast", "list", "--json"))
    assert document["coasts"] == []
    assert "odd.coast.npz" in document["faults"][0]


def test_a_bad_file_among_the_sources_does_not_reach_standard_error(here):
    (here / "data" / "coast").mkdir(parents=True)
    (here / "data" / "coast" / "odd.coast.npz").write_bytes(b"nonsense")
    done = subprocess.run(
        [sys.executable, "-m", "routeplan.cli", "legs", "out.gpx", "--json"],
        capture_output=True, cwd=here, env=dict(os.environ), check=True, timeout=120,
    )  # fmt: skip
    assert done.stderr == b""
    assert any("odd.coast.npz" in note for note in json.loads(done.stdout)["notes"])


@pytest.mark.usefixtures("here")
def test_progress_goes_to_a_terminal_only(capfd, server, monkeypatch):
    got(capfd, server, "--box", BOX, "--name", "one")
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    arguments = ["coast", "get", "--server", f"{server.url}/api", "--box", BOX, "--name", "two"]
    assert cli.run([*arguments, "--force", "--json"]) == 0
    out, err = capfd.readouterr()
    json.loads(out)
    assert "fetching the coast" in err
    assert err.endswith(" \r")


def test_help_says_what_the_commands_are_for(capfd):
    for arguments in (["coast", "--help"], ["coast", "get", "--help"], ["coast", "list", "--help"]):
        assert ran(capfd, *arguments).startswith("Usage: routeplan coast")
