"""Downloads against a server that breaks its answers."""

import contextlib
import hashlib
import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from _servers import Fault, FaultyServer, Resource

from routeplan._download.cache import cache_dir, locked
from routeplan._download.checks import content_fault, one_line
from routeplan._download.fetcher import Fetcher, Job
from routeplan._download.http import retry_after_s
from routeplan.errors import DownloadError, InputError


def noise(size, seed=1):
    return random.Random(seed).randbytes(size)


def grib_like(size, seed=1):
    """Return bytes framed as two GRIB2 messages; what is between the ends is noise."""
    half = size // 2
    return b"".join(
        b"GRIB\0\0\0\x02" + n.to_bytes(8, "big") + noise(n - 20, seed) + b"7777"
        for n in (half, size - half)
    )


CONTENT = grib_like(300_000)


@pytest.fixture(autouse=True)
def _direct(monkeypatch):
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")


@pytest.fixture
def server():
    with FaultyServer({"/f": Resource(CONTENT, etag='"v1"')}) as running:
        yield running
    assert running.errors == []


@pytest.fixture
def fetcher(tmp_path):
    with quick(tmp_path) as made:
        yield made


def quick(root, **changed):
    settings = {
        "pause_s": 0.0,
        "backoff_s": 0.01,
        "timeout_s": (1.0, 0.4),
        "deadline_s": 10.0,
        "retries": 4,
        "slowest_bytes_s": 3000.0,
    }
    return Fetcher(root, **(settings | changed))


def left_behind(root):
    return sorted(p.relative_to(root).as_posix() for p in root.rglob("*") if p.is_file())


# --- plain delivery


def test_a_file_comes_whole_and_is_not_fetched_twice(server, fetcher, tmp_path):
    seen = []
    path = fetcher.get(
        server.url + "/f",
        name="a/b.grib2",
        expect="grib",
        progress=lambda done, total: seen.append((done, total)),
    )
    assert path == tmp_path / "a" / "b.grib2"
    assert path.read_bytes() == CONTENT
    assert seen[-1] == (len(CONTENT), len(CONTENT))
    assert fetcher.get(server.url + "/f", name="a/b.grib2", expect="grib") == path
    assert len(server.requests) == 1
    assert left_behind(tmp_path) == ["a/b.grib2"]
    assert server.requests[0].headers["user-agent"].startswith("routeplan/")


def test_query_and_body_reach_the_server(server, fetcher):
    fetcher.get(server.url + "/f", name="q", params={"lev": "10 m", "box": ""})
    fetcher.get(server.url + "/f", name="p", data="[out:json];", headers={"X-A": "b"})
    get, post = server.requests
    assert get.query == {"lev": "10 m", "box": ""}
    assert (post.method, post.body, post.headers["x-a"]) == ("POST", b"[out:json];", "b")


def test_a_byte_range_comes_exactly(server, fetcher):
    path = fetcher.get(server.url + "/f", name="r", byte_range=(1000, 4999))
    assert path.read_bytes() == CONTENT[1000:5000]
    assert server.sent == 4000


def test_an_old_file_is_fetched_again_and_offline_takes_it_at_any_age(server, tmp_path):
    with quick(tmp_path) as fetcher:
        path = fetcher.get(server.url + "/f", name="x")
        os.utime(path, (time.time() - 100, time.time() - 100))
        fetcher.get(server.url + "/f", name="x", max_age_s=1000)
        assert len(server.requests) == 1
        fetcher.get(server.url + "/f", name="x", max_age_s=50)
        assert len(server.requests) == 2
        os.utime(path, (time.time() - 100, time.time() - 100))
    with quick(tmp_path, offline=True) as fetcher:
        assert fetcher.get(server.url + "/f", name="x", max_age_s=50) == path
        with pytest.raises(DownloadError, match=r"127\.0\.0\.1/f: not in the cache.*offline"):
            fetcher.get(server.url + "/f", name="y")
    assert len(server.requests) == 2


def test_the_cache_is_where_the_environment_says(monkeypatch, tmp_path):
    monkeypatch.setenv("ROUTEPLAN_CACHE_DIR", str(tmp_path / "here"))
    assert cache_dir() == tmp_path / "here"
    monkeypatch.delenv("ROUTEPLAN_CACHE_DIR")
    assert cache_dir().name == "routeplan"


@pytest.mark.parametrize(
    "name", ["../x", "/etc/x", "a//b", ".hidden", "a/..", "x.part", "x.lock", "a b", "", "a\\b"]
)
def test_names_that_could_lead_out_of_the_cache_are_refused(fetcher, server, name):
    with pytest.raises(InputError, match="cannot be used"):
        fetcher.get(server.url + "/f", name=name)


@pytest.mark.parametrize("url", ["file:///etc/passwd", "ftp://host/f", "http:///f", "nonsense"])
def test_only_web_addresses_are_taken(fetcher, url):
    with pytest.raises(InputError, match="not an address of http or https"):
        fetcher.get(url, name="x")


def test_a_directory_that_cannot_be_written_is_one_line(server, tmp_path):
    (tmp_path / "file").write_text("not a directory")
    with (
        quick(tmp_path / "file") as fetcher,
        pytest.raises(DownloadError, match="cannot write the cache"),
    ):
        fetcher.get(server.url + "/f", name="x")


# --- faults that pass

PASSING = {
    "503": Fault("status", status=503),
    "503 with Retry-After": Fault("status", status=503, headers=(("Retry-After", "0"),)),
    "429": Fault("status", status=429),
    "500": Fault("status", status=500),
    "connection refused after accept": Fault("refuse"),
    "cut before the first byte": Fault("cut", at=0),
    "cut in the middle": Fault("cut", at=150_000),
    "cut before the last byte": Fault("cut", at=len(CONTENT) - 1),
    "reset in the middle": Fault("reset", at=100_000),
    "stated length too long": Fault("long-length"),
    "stated length too short": Fault("short-length"),
    "HTML page with status 200": Fault("html"),
    "drip": Fault("drip"),
    "stall": Fault("stall"),
    "chunked and cut": Fault("chunked", at=120_000),
    "no length and cut": Fault("no-length", at=120_000),
    "one byte wrong": Fault("flipped"),
}


@pytest.mark.parametrize("fault", PASSING.values(), ids=PASSING.keys())
def test_a_fault_that_passes_is_survived(server, fetcher, tmp_path, fault):
    server.faults.append(fault)
    path = fetcher.get(server.url + "/f", name="x", expect="grib")
    assert path.read_bytes() == CONTENT
    assert len(server.requests) == 2
    assert fetcher.stats.retries == 1
    if fault.kind == "long-length":  # what was said to be missing is not there: all is there
        assert server.requests[1].status == 416
        assert server.sent == len(CONTENT)
    assert left_behind(tmp_path) == ["x"]


@pytest.mark.parametrize("fault", PASSING.values(), ids=PASSING.keys())
def test_a_fault_that_stays_is_reported_in_one_line(server, tmp_path, fault):
    server.faults = [fault] * 50
    with quick(tmp_path, retries=1, deadline_s=2.0) as fetcher:
        if fault.kind in ("cut", "reset") and fault.at:
            assert fetcher.get(server.url + "/f", name="x").read_bytes() == CONTENT
            return  # each attempt brings some more: it comes in the end
        with pytest.raises(DownloadError, match=r"^127\.0\.0\.1/f: \S") as caught:
            fetcher.get(server.url + "/f", name="x", expect="grib")
    assert "\n" not in str(caught.value)
    assert caught.value.url == server.url + "/f"
    if fault.kind == "status":
        assert caught.value.status == fault.status
    assert not (tmp_path / "x").exists()
    assert set(left_behind(tmp_path)) <= {"x.part", "x.part.json"}


def test_what_will_not_change_is_not_asked_twice(server, fetcher, tmp_path):
    with pytest.raises(DownloadError, match="HTTP status 404") as caught:
        fetcher.get(server.url + "/none", name="x")
    assert caught.value.status == 404
    server.faults.append(Fault("status", status=403))
    with pytest.raises(DownloadError, match="HTTP status 403"):
        fetcher.get(server.url + "/f", name="x")
    assert len(server.requests) == 2
    assert left_behind(tmp_path) == []


def test_a_host_that_is_not_there(tmp_path):
    with quick(tmp_path, retries=1) as fetcher:
        with pytest.raises(DownloadError, match=r"^127\.0\.0\.1/f: connection refused"):
            fetcher.get("http://127.0.0.1:9/f", name="x")
        with pytest.raises(DownloadError, match=r"^nowhere\.invalid/f: host name not found"):
            fetcher.get("http://nowhere.invalid/f", name="x")


# --- waiting


def test_waits_double_and_the_servers_word_is_kept_within_a_cap(server, tmp_path):
    server.faults = [
        Fault("status", status=503),
        Fault("status", status=503),
        Fault("status", status=503, headers=(("Retry-After", "7"),)),
        Fault("status", status=429, headers=(("Retry-After", "100000"),)),
    ]
    waits = []
    with quick(
        tmp_path,
        backoff_s=1.0,
        retry_after_cap_s=20.0,
        deadline_s=1000.0,
        sleep=waits.append,
        jitter=lambda: 0.5,
    ) as fetcher:
        fetcher.get(server.url + "/f", name="x")
    assert waits == [0.75, 1.5, 7.0, 20.0]


def test_a_wait_past_the_deadline_is_not_begun(server, tmp_path):
    server.faults = [Fault("status", status=503, headers=(("Retry-After", "60"),))]
    waits = []
    with (
        quick(tmp_path, deadline_s=5.0, sleep=waits.append) as fetcher,
        pytest.raises(DownloadError, match="HTTP status 503"),
    ):
        fetcher.get(server.url + "/f", name="x")
    assert waits == []


def test_retry_after_is_read_as_seconds_or_date():
    assert retry_after_s("12") == 12.0
    assert retry_after_s(None) is None
    assert retry_after_s("soon") is None
    assert retry_after_s("-5") is None
    assert retry_after_s("Wed, 25 Nov 2026 12:00:00 GMT") >= 0.0
    assert retry_after_s("Wed, 25 Nov 1998 12:00:00 GMT") == 0.0


def test_requests_start_a_pause_apart(tmp_path):
    with FaultyServer({f"/{i}": Resource(noise(1000, i)) for i in range(6)}) as server:
        waits = []
        with quick(tmp_path, pause_s=3.0, sleep=waits.append, max_parallel=2) as fetcher:
            for i in range(3):
                fetcher.get(f"{server.url}/{i}", name=f"{i}")
        assert waits == pytest.approx([3.0, 6.0], abs=0.5)


def test_only_so_many_requests_are_under_way_at_once(tmp_path):
    files = {f"/{i}": Resource(noise(50_000, i)) for i in range(8)}
    with FaultyServer(files, pause_s=0.005) as server, quick(tmp_path, max_parallel=3) as fetcher:
        fetcher.fetch_all([Job(f"{server.url}/{i}", f"{i}") for i in range(8)])
        assert server.most_busy == 3


def test_the_deadline_ends_a_transfer_that_never_stalls(tmp_path):
    with FaultyServer({"/f": Resource(noise(2_000_000))}, pause_s=0.05) as server:
        started = time.monotonic()
        with (
            quick(tmp_path, deadline_s=0.5) as fetcher,
            pytest.raises(DownloadError, match="not finished in the time allowed"),
        ):
            fetcher.get(server.url + "/f", name="x")
    assert time.monotonic() - started < 2.0


# --- going on after a cut


def test_a_cut_file_goes_on_where_it_ended(server, fetcher):
    server.faults = [Fault("cut", at=100_000), Fault("cut", at=100_000)]
    assert fetcher.get(server.url + "/f", name="x").read_bytes() == CONTENT
    ranges = [r.headers.get("range") for r in server.requests]
    assert ranges == [None, "bytes=100000-", "bytes=200000-"]
    assert [r.headers.get("if-range") for r in server.requests] == [None, '"v1"', '"v1"']
    assert server.sent == len(CONTENT)  # not a byte came twice
    assert fetcher.stats.bytes_kept == 300_000


def test_a_cut_range_goes_on_within_the_range(server, fetcher):
    server.faults = [Fault("cut", at=10_000)]
    path = fetcher.get(server.url + "/f", name="x", byte_range=(50_000, 99_999))
    assert path.read_bytes() == CONTENT[50_000:100_000]
    assert server.requests[1].headers["range"] == "bytes=60000-99999"
    assert server.sent == 50_000


def test_a_last_change_date_serves_as_well(tmp_path):
    resource = Resource(CONTENT, modified=1_700_000_000.0)
    with FaultyServer({"/f": resource}, faults=[Fault("cut", at=100_000)]) as server:
        with quick(tmp_path) as fetcher:
            assert fetcher.get(server.url + "/f", name="x").read_bytes() == CONTENT
        assert "GMT" in server.requests[1].headers["if-range"]
        assert server.sent == len(CONTENT)


@pytest.mark.parametrize("etag", ["", 'W/"weak"'])
def test_without_a_strong_name_of_the_version_it_starts_anew(tmp_path, etag):
    resource = Resource(CONTENT, etag=etag)
    with FaultyServer({"/f": resource}, faults=[Fault("cut", at=100_000)]) as server:
        with quick(tmp_path) as fetcher:
            assert fetcher.get(server.url + "/f", name="x").read_bytes() == CONTENT
        assert "range" not in server.requests[1].headers
        assert server.sent == len(CONTENT) + 100_000


def test_a_file_that_changed_meanwhile_is_fetched_from_its_start(server, tmp_path):
    server.faults = [Fault("cut", at=100_000), Fault("status", status=404)]
    with quick(tmp_path) as fetcher:
        with pytest.raises(DownloadError, match="404"):
            fetcher.get(server.url + "/f", name="x")
        assert left_behind(tmp_path) == ["x.part", "x.part.json"]
        newer = grib_like(280_000, seed=2)
        server.resources["/f"] = Resource(newer, etag='"v2"')
        assert fetcher.get(server.url + "/f", name="x", expect="grib").read_bytes() == newer
    assert left_behind(tmp_path) == ["x"]


def test_the_rest_of_another_version_is_noticed_by_its_name(server, fetcher, monkeypatch):
    """A server that does not look at If-Range and sends the rest of a newer file."""
    newer = grib_like(300_000, seed=3)
    versions = iter([Resource(CONTENT, etag='"v1"')])
    server.find = lambda _: next(versions, Resource(newer, etag='"v2"'))
    server.faults = [Fault("cut", at=100_000)]
    handler = server._http.RequestHandlerClass
    plain = handler._span

    def careless(self, resource):
        del self.headers["If-Range"]
        return plain(self, resource)

    monkeypatch.setattr(handler, "_span", careless)
    assert fetcher.get(server.url + "/f", name="x", expect="grib").read_bytes() == newer
    assert [r.status for r in server.requests] == [200, 206, 200]


def test_a_server_without_ranges_sends_all_and_it_is_used(server, fetcher):
    server.faults = [Fault("cut", at=100_000), Fault("no-range")]
    assert fetcher.get(server.url + "/f", name="x").read_bytes() == CONTENT
    server.faults = [Fault("no-range")]
    path = fetcher.get(server.url + "/f", name="y", byte_range=(5000, 5999))
    assert path.read_bytes() == CONTENT[5000:6000]


def test_a_wrong_range_is_refused_and_asked_again(server, fetcher):
    server.faults = [Fault("wrong-range")]
    path = fetcher.get(server.url + "/f", name="y", byte_range=(5000, 5999))
    assert path.read_bytes() == CONTENT[5000:6000]
    assert len(server.requests) == 2


def test_a_range_past_the_end_is_refused(server, fetcher):
    with pytest.raises(DownloadError, match="ends before byte 300010"):
        fetcher.get(server.url + "/f", name="x", byte_range=(299_990, 300_010))
    server.faults = [Fault("no-range"), Fault("no-range")]
    with pytest.raises(DownloadError, match="ends before byte 300010"):
        fetcher.get(server.url + "/f", name="x", byte_range=(299_990, 300_010))


def test_bytes_of_another_request_are_not_gone_on_with(server, fetcher, tmp_path):
    server.faults = [Fault("cut", at=100_000), Fault("status", status=404)]
    with pytest.raises(DownloadError, match="404"):
        fetcher.get(server.url + "/f", name="x", params={"a": "1"})
    fetcher.get(server.url + "/f", name="x", params={"a": "2"})
    assert "range" not in server.requests[-1].headers
    assert (tmp_path / "x").read_bytes() == CONTENT


@pytest.mark.parametrize("meta", [b"", b"{", b"[]", b'{"key": 1}', b"\xff"])
def test_a_damaged_note_beside_the_bytes_costs_the_bytes_only(server, fetcher, tmp_path, meta):
    (tmp_path / "x.part").write_bytes(b"rubbish")
    (tmp_path / "x.part.json").write_bytes(meta)
    assert fetcher.get(server.url + "/f", name="x").read_bytes() == CONTENT
    assert left_behind(tmp_path) == ["x"]


def test_wrong_bytes_in_the_part_are_found_and_fetched_again(server, fetcher, tmp_path):
    """Such as zeros that a power failure leaves at the end of a file."""
    server.faults = [Fault("cut", at=100_000), Fault("status", status=404)]
    digest = hashlib.sha256(CONTENT).hexdigest()
    with pytest.raises(DownloadError, match="404"):
        fetcher.get(server.url + "/f", name="x", sha256=digest)
    with (tmp_path / "x.part").open("r+b") as handle:
        handle.seek(50_000)
        handle.write(bytes(50_000))
    path = fetcher.get(server.url + "/f", name="x", sha256=digest)
    assert path.read_bytes() == CONTENT


# --- content


@pytest.mark.parametrize("expect", ["grib", "json", "zip", "text", "any"])
def test_a_page_is_never_taken_for_data(server, tmp_path, expect):
    server.faults = [Fault("html")] * 9
    with (
        quick(tmp_path) as fetcher,
        pytest.raises(DownloadError, match=r"HTML page.*\(Service under maintenance\)"),
    ):
        fetcher.get(server.url + "/f", name="x", expect=expect)
    assert len(server.requests) == 2  # once more, not five times


def test_a_wrong_checksum_is_refused(server, fetcher, tmp_path):
    with pytest.raises(DownloadError, match="checksum"):
        fetcher.get(server.url + "/f", name="x", sha256="0" * 64)
    assert left_behind(tmp_path) == []


def test_the_callers_own_check_decides(server, fetcher, tmp_path):
    with pytest.raises(DownloadError, match=r"/f: too dull$"):
        fetcher.get(server.url + "/f", name="x", check=lambda _: "too dull")
    assert left_behind(tmp_path) == []
    assert fetcher.get(server.url + "/f", name="x", check=lambda p: "" if p.exists() else "gone")


def test_without_length_or_check_wholeness_cannot_be_told(server, fetcher, tmp_path):
    server.faults = [Fault("no-length")] * 3
    with pytest.raises(DownloadError, match="sent without a length"):
        fetcher.get(server.url + "/f", name="x")
    assert left_behind(tmp_path) == []
    digest = hashlib.sha256(CONTENT).hexdigest()
    assert fetcher.get(server.url + "/f", name="x", sha256=digest).read_bytes() == CONTENT
    assert fetcher.get(server.url + "/f", name="y", expect="grib").read_bytes() == CONTENT


def test_chunked_and_compressed_answers_are_read(server, fetcher):
    server.faults = [Fault("chunked"), Fault("gzip")]
    assert fetcher.get(server.url + "/f", name="x").read_bytes() == CONTENT
    assert fetcher.get(server.url + "/f", name="y").read_bytes() == CONTENT


@pytest.mark.parametrize("fault", [None, Fault("chunked"), Fault("endless")], ids=str)
def test_the_size_limit_holds_while_bytes_come(server, fetcher, tmp_path, fault):
    server.faults = [fault] if fault else []
    with pytest.raises(DownloadError, match="larger than the 100000 bytes allowed"):
        fetcher.get(server.url + "/f", name="x", expect="grib", max_bytes=100_000)
    assert fetcher.stats.bytes_received <= 200_000
    assert left_behind(tmp_path) == []


def test_compressed_bytes_count_unpacked(fetcher, tmp_path):
    resource = Resource(bytes(3_000_000))
    with (
        FaultyServer({"/f": resource}, faults=[Fault("gzip")]) as server,
        pytest.raises(DownloadError, match="larger than"),
    ):
        fetcher.get(server.url + "/f", name="x", max_bytes=1_000_000)
    assert left_behind(tmp_path) == []


@pytest.mark.parametrize(
    ("expect", "good", "bad", "words"),
    [
        ("json", b'{"a": 1}', b'{"a": ', "not readable as JSON"),
        ("json", b"[]", b"[" * 100_000, "not readable as JSON"),
        ("text", "blåbær".encode(), b"\xff\xfe", "not UTF-8"),
        ("text", b"a", b"a\0b", "zero bytes"),
        ("zip", b"PK\x05\x06" + bytes(18), b"PK\x03\x04 cut", "not a whole ZIP"),
        ("grib", CONTENT, CONTENT[:-1], "is cut"),
        ("grib", CONTENT, CONTENT + b"x", "not GRIB at byte 300000"),
        ("grib", CONTENT, b"", "sent nothing"),
        ("grib", CONTENT, b"GRIB\0\0\0\x02" + b"\xff" * 8, "is cut"),
        ("grib", CONTENT, b"GRIB\0\0\0\x02" + bytes(8), "is cut"),
        ("grib", CONTENT, b"GRIB\0\0\0\x07" + bytes(99), "not GRIB"),
    ],
)
def test_content_is_judged_by_its_bytes(tmp_path, expect, good, bad, words):
    path = tmp_path / "x"
    path.write_bytes(good)
    assert content_fault(path, expect) == ""
    path.write_bytes(bad)
    assert words in content_fault(path, expect)


def test_foreign_text_stays_on_one_line():
    assert one_line("a\nb\x1b[31m\tc" + "d" * 999) == ("a b [31m c" + "d" * 999)[:159] + "…"


# --- redirects


def test_redirects_are_followed_a_few_times_and_only_within_the_web(server, fetcher):
    server.resources["/g"] = server.resources["/f"]
    server.faults_at["/f"] = [Fault("redirect", headers=(("Location", "/g"),))]
    assert fetcher.get(server.url + "/f", name="x").read_bytes() == CONTENT
    server.faults_at["/f"] = [Fault("redirect", headers=(("Location", "/f"),))] * 50
    with pytest.raises(DownloadError, match="redirects"):
        fetcher.get(server.url + "/f", name="y")
    server.faults_at["/f"] = [Fault("redirect", headers=(("Location", "file:///etc/passwd"),))]
    with pytest.raises(DownloadError, match="127"):
        fetcher.get(server.url + "/f", name="z")


# --- several at once, and the end of a process


def test_several_files_come_and_the_first_failure_stops_the_rest(tmp_path):
    files = {f"/{i}": Resource(noise(2000, i)) for i in range(20)}
    with FaultyServer(files) as server, quick(tmp_path) as fetcher:
        done = []
        jobs = [Job(f"{server.url}/{i}", f"{i}") for i in range(20)]
        paths = fetcher.fetch_all(jobs, lambda n, total: done.append((n, total)))
        assert [p.read_bytes() for p in paths] == [r.content for r in files.values()]
        assert done == [(i + 1, 20) for i in range(20)]
        before = len(server.requests)
        jobs = [Job(f"{server.url}/none", "none")]
        jobs += [Job(f"{server.url}/{i}", f"again{i}") for i in range(20)]
        with pytest.raises(DownloadError, match="404"):
            fetcher.fetch_all(jobs)
        assert len(server.requests) - before < 10


def test_after_a_failure_the_fetcher_is_as_good_as_new(server, fetcher):
    with pytest.raises(DownloadError, match="404"):
        fetcher.fetch_all([Job(server.url + "/none", "none")] * 3)
    assert fetcher.get(server.url + "/f", name="x").read_bytes() == CONTENT
    assert fetcher.stats.retries == 0


def test_a_failure_ends_the_waits_of_the_others(server, tmp_path):
    server.faults_at["/f"] = [Fault("status", status=503)] * 9
    started = time.monotonic()
    with quick(tmp_path, backoff_s=30.0, deadline_s=100.0) as fetcher:
        jobs = [Job(server.url + "/f", "x"), Job(server.url + "/none", "none")]
        with pytest.raises(DownloadError, match="HTTP status"):
            fetcher.fetch_all(jobs)
    assert time.monotonic() - started < 10.0


def test_one_waits_while_another_holds_the_lock(tmp_path):
    path = tmp_path / "x"
    with (
        locked(path, wait_s=1.0),
        pytest.raises(DownloadError, match="another process"),
        locked(path, wait_s=0.1),
    ):
        pass
    with locked(path, wait_s=0.1):
        pass
    assert left_behind(tmp_path) == []


CHILD = """
import sys
from routeplan._download.fetcher import Fetcher
url, root = sys.argv[1:]
with Fetcher(root, pause_s=0.0, backoff_s=0.01) as fetcher:
    path = fetcher.get(url, name="x", expect="grib")
    print(fetcher.stats.requests, path.stat().st_size)
"""


def child(server, root):
    return subprocess.Popen(
        [sys.executable, "-c", CHILD, server.url + "/f", str(root)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parent.parent,
    )


def test_two_processes_at_once_fetch_it_once(tmp_path):
    with FaultyServer({"/f": Resource(CONTENT, etag='"v"')}, pause_s=0.02) as server:
        both = [child(server, tmp_path) for _ in range(2)]
        said = [process.communicate(timeout=20) for process in both]
        assert [process.returncode for process in both] == [0, 0], said
        assert sorted(out.split()[0] for out, _ in said) == ["0", "1"]
        assert server.sent == len(CONTENT)
    assert left_behind(tmp_path) == ["x"]


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL")
def test_a_killed_process_loses_nothing_that_was_on_disk(tmp_path):
    content = grib_like(1_500_000)
    with FaultyServer({"/f": Resource(content, etag='"v"')}, pause_s=0.01) as server:
        kept = []
        for share in (0.2, 0.5, 0.8):
            process = child(server, tmp_path)
            part = tmp_path / "x.part"
            deadline = time.monotonic() + 15
            while not (part.exists() and part.stat().st_size > share * len(content)):
                assert process.poll() is None, process.communicate()
                assert time.monotonic() < deadline
                time.sleep(0.002)
            os.kill(process.pid, signal.SIGKILL)
            process.communicate()
            assert not (tmp_path / "x").exists()
            kept.append(part.stat().st_size)
            assert json.loads((tmp_path / "x.part.json").read_text())["total"] == len(content)
        with quick(tmp_path) as fetcher:
            path = fetcher.get(server.url + "/f", name="x", expect="grib")
            assert fetcher.stats.bytes_received == len(content) - kept[-1]
        assert path.read_bytes() == content
        starts = [r.headers.get("range", "bytes=0-") for r in server.requests]
        assert starts == [f"bytes={n}-" for n in (0, *kept)]
    assert left_behind(tmp_path) == ["x"]


def test_a_process_killed_just_before_the_last_step_needs_no_request(server, fetcher, tmp_path):
    server.faults = [Fault("cut", at=100_000), Fault("status", status=404)]
    with pytest.raises(DownloadError, match="404"):
        fetcher.get(server.url + "/f", name="x")
    (tmp_path / "x.part").write_bytes(CONTENT)
    before = len(server.requests)
    assert fetcher.get(server.url + "/f", name="x", expect="grib").read_bytes() == CONTENT
    assert len(server.requests) == before


def test_random_faults_in_random_order_never_leave_a_wrong_file(tmp_path):
    """Fifty downloads, each through up to three random faults: whole, or reported."""
    rng = random.Random(4)
    faults = [f for f in PASSING.values() if f.kind not in ("drip", "stall")]
    with FaultyServer({"/f": Resource(CONTENT, etag='"v1"')}) as server:
        whole = 0
        for trial in range(50):
            server.faults = [rng.choice(faults) for _ in range(rng.randrange(4))]
            with quick(tmp_path) as fetcher, contextlib.suppress(DownloadError):
                path = fetcher.get(server.url + "/f", name=f"t{trial}", expect="grib")
                assert path.read_bytes() == CONTENT
                whole += 1
            assert not list(tmp_path.rglob("*.tmp"))
            assert not list(tmp_path.rglob("*.lock"))
    for path in tmp_path.glob("t*"):
        assert path.suffix in (".part", ".json") or path.read_bytes() == CONTENT
    assert whole >= 35
