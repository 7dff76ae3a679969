"""What a hostile site, file or client tries on the local page. Each test counts what it tried.

`python -m pytest tests/test_page_attacks.py -q -s` prints the counts at the end.
"""

import gzip
import io
import itertools
import json
import os
import re
import secrets
import socket
import tarfile
import threading
import time
import urllib.parse
import zipfile
from collections import Counter
from pathlib import Path

import httpx
import netCDF4
import numpy as np
import pytest
from _pageserver import Elements, Server, gpx

from routeplan._demo.files import demo_files
from routeplan._page.form import LIMIT_ROWS
from routeplan._page.guard import Tokens

TRIED = Counter()
MB = 1_000_000
BAD_SCRIPT = "<script>pwn()</script><img src=x onerror=pwn()>\"'><svg/onload=pwn()>"
XML_SCRIPT = BAD_SCRIPT.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    settings = {"head_s": 1.5, "idle_s": 1.5, "file_bytes": {"forecast": 40 * MB}}
    with Server(tmp_path_factory.mktemp("page"), **settings) as one:
        with one.browser() as browser:  # what is attacked below is warm
            browser.wait(browser.open_route(gpx()), 120)
        yield one
    assert "Traceback" not in one.errors()
    for what, count in sorted(TRIED.items()):
        print(f"tried and held: {what}: {count}")  # noqa: T201 - asked for


@pytest.fixture
def browser(server):
    with server.browser() as one:
        yield one


@pytest.fixture
def trip(browser):
    one = browser.open_route(gpx(name="Mine"))
    assert browser.wait(one)["state"] == "ready"
    return one


@pytest.fixture(autouse=True)
def _still_there(server):
    """After each attack the page answers, and its own files are as they were."""
    yield
    with server.browser() as browser:
        assert browser.get("/").status_code == 200


def held(what, condition):
    assert condition, what
    TRIED[what] += 1


# --- other sites


def test_posts_of_other_sites(server, browser, trip):
    token, start = browser.token(trip), browser.token()
    own, other = server.url, "http://evil.example"
    heads = [
        {"Origin": other},
        {"Origin": other, "Sec-Fetch-Site": "cross-site"},
        {"Origin": other, "Sec-Fetch-Site": "same-origin"},
        {"Origin": own, "Sec-Fetch-Site": "cross-site"},
        {"Origin": own, "Sec-Fetch-Site": "same-site"},
        {"Origin": "null"},
        {"Origin": "null", "Sec-Fetch-Site": "cross-site"},
        {"Origin": own.replace("http", "https")},
        {"Origin": "http://127.0.0.1:1"},
        {"Origin": f"{own}.evil.example"},
        {"Origin": f"http://evil.example/{own}"},
        {"Sec-Fetch-Site": "none"},
        {},
    ]
    before = browser.state(trip)["version"]
    for head in heads:
        for path, word in (
            ("/open", start),
            (f"{trip}/change", token),
            (f"{trip}/cancel", token),
            (f"{trip}/remove", token),
        ):
            parts = [("token", (None, word)), ("source", (None, "demo"))]
            reply = httpx.post(f"{own}{path}", files=parts, headers=head)
            held("cross-origin post", reply.status_code == 403)
    assert browser.state(trip)["version"] == before


def test_posts_without_the_right_token(browser, trip):
    other = browser.open_route(gpx())
    browser.wait(other)
    aged = Tokens(1.0).new(trip.removeprefix("/t/"))
    wrong = ["", "x", "1.2", aged, browser.token(), browser.token(other), "9" * 400, "\0"]
    for token in wrong:
        reply = browser.post(f"{trip}/change", token, [("limit_wind", "1")])
        held("post without the right token", reply.status_code == 403)
    for token in (*wrong[:4], browser.token(trip)):
        reply = browser.post("/open", token, [("source", "demo")])
        held("post without the right token", reply.status_code == 403)
    for kind in ("text/plain", "application/json", "application/x-www-form-urlencoded"):
        reply = browser.client.post(f"{trip}/remove", content=b"x", headers={"Content-Type": kind})
        held("post of a simple kind", reply.status_code == 415)


def test_tokens_go_out_of_date():
    tokens = Tokens(0.0)
    fresh = Tokens(60.0)
    token = fresh.new("a")
    assert fresh.check("a")(token)
    assert not fresh.check("b")(token)
    assert not tokens.check("a")(tokens.new("a")) or tokens._valid_s == 0.0
    issued, _, sign = token.partition(".")
    assert not fresh.check("a")(f"{int(issued) + 1}.{sign}")


def test_a_token_must_come_before_files(server, browser):
    base = next(p for p in server.tmp.iterdir() if p.name.startswith("routeplan-page-"))
    parts = [("route", ("a.gpx", gpx())), ("token", (None, browser.token()))]
    reply = browser.client.post("/open", files=parts)
    held("file before the token", reply.status_code == 403)
    assert not any(list(p.iterdir()) == [] for p in base.iterdir() if p.is_dir())


def test_hosts_that_are_not_ours(server, trip):
    port = server.port
    hosts = [
        "evil.example",
        f"evil.example:{port}",
        f"127.0.0.1.evil.example:{port}",
        "127.0.0.1",
        "localhost",
        f"localhost:{port + 1}",
        f"127.0.0.1:{port}@evil.example",
        f"0.0.0.0:{port}",
        f"[::ffff:127.0.0.1]:{port}",
        f"127.1:{port}",
        f"localhost.:{port}",
        "",
        f"127.0.0.1:{port}, evil.example",
    ]
    for host in hosts:
        for path in ("/", trip, f"{trip}/state", "/static/page.js"):
            status = server.status("GET", path, [("Host", host)])
            held("rebound or foreign host", status in (400, 421))
    two = f"GET / HTTP/1.1\r\nHost: {server.host}\r\nHost: evil.example\r\n\r\n".encode()
    held("rebound or foreign host", server.raw(two)[0] in (400, 421))
    held("rebound or foreign host", server.raw(b"GET / HTTP/1.0\r\n\r\n")[0] in (400, 421))
    absolute = f"GET http://evil.example/ HTTP/1.1\r\nHost: {server.host}\r\n\r\n".encode()
    held("rebound or foreign host", server.raw(absolute)[0] in (400, 404, 421))
    assert server.status("GET", "/", [("Host", f"LOCALHOST:{port}")]) == 200


def test_other_sites_cannot_embed_or_read(server, trip):
    for mode, target in (("no-cors", "image"), ("no-cors", "script"), ("cors", "empty")):
        for path in (trip, f"{trip}/parts", "/static/page.js"):
            head = [
                ("Host", server.host),
                ("Sec-Fetch-Site", "cross-site"),
                ("Sec-Fetch-Mode", mode),
                ("Sec-Fetch-Dest", target),
            ]
            held("cross-site read", server.status("GET", path, head) == 403)
    for path in ("/", trip, f"{trip}/state", "/nothing", "/static/page.css", f"{trip}/file/x"):
        reply = httpx.get(server.url + path)
        policy = reply.headers["content-security-policy"]
        held("headers of every answer", "frame-ancestors 'none'" in policy)
        assert "unsafe" not in policy
        assert reply.headers["x-content-type-options"] == "nosniff"
        assert reply.headers["referrer-policy"] == "no-referrer"
        assert reply.headers["cross-origin-resource-policy"] == "same-origin"
        assert reply.headers["cross-origin-opener-policy"] == "same-origin"
        assert "access-control-allow-origin" not in reply.headers
        assert "server" not in reply.headers
    nonces = {
        re.search("nonce-([^']+)", httpx.get(server.url).headers["content-security-policy"])[1]
        for _ in range(20)
    }
    assert len(nonces) == 20


# --- addresses


def test_addresses_that_lead_elsewhere(server, trip):
    paths = [
        "/static/",
        "/static/../page.py",
        "/static/..%2fpage.py",
        "/static/%2e%2e/%2e%2e/page.py",
        "/static/..\\..\\page.py",
        "/static/%00",
        "/static/page.js%00.css",
        "//etc/passwd",
        "/../../../../etc/passwd",
        "/%2e%2e/%2e%2e/etc/passwd",
        "/t/",
        "/t/..",
        f"{trip}/",
        f"{trip}/file/",
        f"{trip}/file/../../../etc/passwd",
        f"{trip}/file/..%2f..%2f..%2fetc%2fpasswd",
        f"{trip}/file/%2fetc%2fpasswd",
        f"{trip}/file/route.gpx%00.pdf",
        f"{trip}/file/page.html",
        f"{trip}/file/parts.json",
        f"{trip}/file/launches.json",
        f"{trip}/file/forecast.bin",
        f"{trip}/../{trip.removeprefix('/t/')}/file/x",
        "/t/%2e%2e%2f%2e%2e",
        "/templates/start.html",
        "/.git/config",
        "/docs",
        "/openapi.json",
        "/server-status",
    ]
    for path in paths:
        request = f"GET {path} HTTP/1.1\r\nHost: {server.host}\r\nConnection: close\r\n\r\n"
        status, got = server.raw(request.encode())
        held("path traversal in the address", status in (400, 404))
        assert b"root:" not in got
        assert b"Traceback" not in got
        assert os.fsencode(Path(__file__).parent.parent) not in got


def test_methods_and_broken_requests(server, trip):
    for method in ("PUT", "DELETE", "OPTIONS", "TRACE", "PATCH", "CONNECT", "PROPFIND"):
        status = server.status(method, trip, [("Host", server.host)])
        held("other methods", status in (400, 405))
    for method, path in (("POST", trip), ("GET", "/open"), ("GET", f"{trip}/remove")):
        held("other methods", server.status(method, path, [("Host", server.host)]) in (403, 405))
    host = f"Host: {server.host}\r\n"
    requests = [
        b"\0" * 100 + b"\r\n\r\n",
        b"GET / HTTP/9.9\r\n" + host.encode() + b"\r\n",
        f"GET / HTTP/1.1\r\n{host}X: {'a' * 100_000}\r\n\r\n".encode(),
        f"GET / HTTP/1.1\r\n{host}{'X: a' + chr(13) + chr(10)}".encode() * 1
        + b"Y: b\r\n" * 20_000
        + b"\r\n",
        f"GET /{'a' * 15_000} HTTP/1.1\r\n{host}\r\n".encode(),
        f"GET /?{'a' * 3_000} HTTP/1.1\r\n{host}\r\n".encode(),
        f"POST /open HTTP/1.1\r\n{host}Content-Length: 5\r\nTransfer-Encoding: chunked\r\n"
        "\r\n0\r\n\r\nGET / HTTP/1.1\r\n\r\n".encode(),
        f"POST /open HTTP/1.1\r\n{host}Content-Length: -5\r\n\r\n".encode(),
        f"POST /open HTTP/1.1\r\n{host}Content-Length: 5\r\nContent-Length: 6\r\n\r\n".encode(),
        f"POST /open HTTP/1.1\r\n{host}Transfer-Encoding: gzip\r\n\r\n".encode(),
        f"GET / HTTP/1.1\r\n{host}Upgrade: websocket\r\nConnection: Upgrade\r\n"
        "Sec-WebSocket-Key: x\r\nOrigin: http://evil.example\r\n\r\n".encode(),
    ]
    for request in requests:
        status, got = server.raw(request, timeout=4)
        held("broken requests", status in (0, 200, 400, 403, 404, 414, 415, 431, 501))
        assert b"Traceback" not in got
        assert b"101 Switching" not in got


def test_addresses_cannot_be_guessed(browser, trip):
    key = trip.removeprefix("/t/")
    assert len(key) >= 43  # 256 bits in base 64
    guesses = [secrets.token_urlsafe(32) for _ in range(300)]
    guesses += [key[:-1], key + "A", key.swapcase(), key[::-1], "%00", "*"]
    for guess in guesses:
        held("guessed address", browser.get(f"/t/{guess}/state").status_code == 404)


# --- uploads


def _head(name, filename=None):
    more = "" if filename is None else f'; filename="{filename}"'
    return f'--b\r\nContent-Disposition: form-data; name="{name}"{more}\r\n\r\n'.encode()


def _memory(server):
    """Return the most memory that the server process has had."""
    status = Path(f"/proc/{server.process.pid}/status").read_text()
    return int(re.search(r"VmHWM:\s+(\d+) kB", status)[1]) * 1024


def _stream(server, token, name, total, length=None, longest_s=30.0):
    """Send a file of `total` bytes in pieces; status, and how many bytes went out."""
    piece, end = b"x" * 262_144, time.monotonic() + longest_s
    begin = _head("token") + token.encode() + b"\r\n" + _head("source") + b"files\r\n"
    begin += _head(name, "big.bin")
    chunked = length is None
    framing = "Transfer-Encoding: chunked" if chunked else f"Content-Length: {length}"
    request = (
        f"POST /open HTTP/1.1\r\nHost: {server.host}\r\nOrigin: {server.url}\r\n"
        f"Content-Type: multipart/form-data; boundary=b\r\n{framing}\r\n\r\n"
    )
    sent = 0
    with server.socket(15) as connection:
        try:
            connection.sendall(request.encode())
            for part in itertools.chain([begin], itertools.repeat(piece, total // len(piece))):
                if time.monotonic() > end:
                    break
                connection.sendall(b"%x\r\n%s\r\n" % (len(part), part) if chunked else part)
                sent += len(part)
        except (ConnectionError, TimeoutError):
            pass  # it hung up: the answer may still be there
        got = b""
        try:
            while not got.startswith(b"HTTP") and (more := connection.recv(65536)):
                got += more
        except (ConnectionError, TimeoutError):
            pass
    return (int(got[9:12]) if got else 0), sent


def _on_disk(server):
    base = next(p for p in server.tmp.iterdir() if p.name.startswith("routeplan-page-"))
    return sum(p.stat().st_size for p in base.rglob("*") if p.is_file())


def test_a_gigabyte(server, browser):
    token = browser.token()
    before, memory = _on_disk(server), _memory(server)
    for name in ("forecast", "route", "group"):
        began = time.monotonic()
        status, _ = _stream(server, token, name, 10**9)  # no length is told
        held("1 GB in pieces", status in (0, 413))
        assert time.monotonic() - began < 12.0  # 2 s after the refusal it is cut off
    status, _ = _stream(server, token, "forecast", 10**9, length=10**9)
    held("1 GB, told beforehand", status in (0, 413))
    status, sent = _stream(server, token, "forecast", 10**12, length=10**9, longest_s=6.0)
    held("1 GB, told beforehand", sent < 10**10 and status in (0, 413))
    status, _ = _stream(server, token, "forecast", 5 * MB, length=1000)
    held("more than was told", status in (0, 400))
    assert _memory(server) < memory + 30 * MB
    end = time.monotonic() + 5
    while _on_disk(server) > before and time.monotonic() < end:
        time.sleep(0.05)
    assert _on_disk(server) <= before


def test_forms_that_are_bombs(browser, trip):
    token = browser.token()

    def post(body, path="/open"):
        head = {"Content-Type": "multipart/form-data; boundary=b"}
        try:
            return browser.client.post(path, content=body, headers=head).status_code
        except httpx.TransportError:
            return 0

    begin = _head("token") + token.encode() + b"\r\n"
    end = b"--b--\r\n"
    bodies = {
        "10,000 parts": begin + (_head("x") + b"1\r\n") * 10_000 + end,
        "a field of 5 MB": begin + _head("speed") + b"9" * 5 * MB + b"\r\n" + end,
        "a head of 1 MB": begin + b"--b\r\nX: " + b"a" * MB + b"\r\n\r\nx\r\n" + end,
        "1,000 heads": begin + b"--b\r\n" + b"X: a\r\n" * 1000 + b"\r\nx\r\n" + end,
        "a file twice": begin + (_head("route", "a") + gpx() + b"\r\n") * 2 + end,
        "a file for no field": begin + _head("../../x", "a") + b"x\r\n" + end,
        "a file for the token": _head("token", "t") + token.encode() + b"\r\n" + end,
        "no end": begin + _head("source") + b"demo",
        "no parts": end,
        "no boundary in it": b"nothing of the kind",
        "a part in a part": begin
        + _head("source")
        + b"files\r\n"
        + b"--b\r\nContent-Type: multipart/mixed; boundary=c\r\n"
        + b'Content-Disposition: form-data; name="route"; filename="a"\r\n\r\n'
        + (b"--c\r\n\r\nx\r\n" * 1000)
        + end,
    }
    for what, body in bodies.items():
        status = post(body)
        if what == "a part in a part":  # it is one file, and no GPX
            held("multipart bomb", status == 303)
        else:
            held("multipart bomb", status in (0, 400, 403, 413, 422))
    mine = _head("token") + browser.token(trip).encode() + b"\r\n"
    status = post(mine + _head("route", "a") + gpx() + b"\r\n" + end, f"{trip}/change")
    held("multipart bomb", status == 400)
    status = post(mine + b"\0" * 150_000 + end, f"{trip}/change")
    held("multipart bomb", status in (0, 400, 413))


def test_slow_senders(server, browser):
    token = browser.token()
    began = time.monotonic()
    host = f"Host: {server.host}\r\n".encode()
    begin = _head("token") + token.encode() + b"\r\n" + _head("route", "a")
    post = (
        b"POST /open HTTP/1.1\r\n" + host + f"Origin: {server.url}\r\n".encode()
        + b"Content-Type: multipart/form-data; boundary=b\r\nContent-Length: 100000\r\n\r\n"
    )  # fmt: skip
    starts = [b"", b"G", b"GET / HTTP/1.1\r\n", b"GET / HTTP/1.1\r\n" + host, post, post + begin]
    lines = [(start, server.socket(8)) for start in starts * 5]
    for start, line in lines:
        line.sendall(start)
    with server.browser() as other:  # and meanwhile others are served
        assert other.get("/").status_code == 200
    for start, line in lines:
        got = b""
        try:
            while more := line.recv(65536):
                got += more
        except ConnectionError:
            pass
        line.close()
        held("slow sender", got == b"" or b" 408 " in got[:20])
        assert bool(got) == start.startswith(b"POST")
    assert time.monotonic() - began < 8.0  # all of them were given up in about 2 s


def test_a_dripping_sender(server, browser):
    """A byte now and then keeps a connection as little as silence does."""
    token = browser.token()
    head = f"GET / HTTP/1.1\r\nHost: {server.host}\r\nX: ".encode()
    for start in (head, b"GET / HT"):
        with server.socket(8) as line:
            line.sendall(start)
            began = time.monotonic()
            try:
                while time.monotonic() - began < 6.0:
                    line.sendall(b"a")
                    time.sleep(0.2)
                    line.settimeout(0.01)
                    try:
                        if line.recv(100) == b"":
                            break
                    except TimeoutError:
                        continue
            except ConnectionError:
                pass
            held("dripping sender", time.monotonic() - began < 4.0)
    assert token


# --- files that are traps


def test_xml_bombs(browser):
    lol = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 10))
    deep = "<a>" * 100_000
    bombs = [
        f'<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY l0 "lol">{lol}]><gpx>&l9;</gpx>',
        f'<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY a "{"x" * 50_000}">]>'
        f"<gpx><name>{'&a;' * 50_000}</name></gpx>",
        '<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///etc/passwd">]>'
        "<gpx><wpt lat='1' lon='1'><name>&x;</name></wpt></gpx>",
        '<?xml version="1.0"?><!DOCTYPE gpx SYSTEM "http://127.0.0.1:1/x.dtd"><gpx/>',
        '<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY % p SYSTEM "file:///etc/passwd">%p;]><gpx/>',
        f'<gpx xmlns="http://www.topografix.com/GPX/1/1">{deep}',
        "<gpx " + " ".join(f"a{n}='1'" for n in range(50_000)) + "/>",
        "<gpx><rte>" + "<rtept lat='58' lon='11'/>" * 50_000 + "</rte></gpx>",
    ]
    for bomb in bombs:
        trip = browser.open_route(bomb.encode(), "bomb.gpx")
        state = browser.wait(trip)
        held("XML bomb", state["state"] == "failed")
        assert "\n" not in state["error"]
        assert "root:" not in state["error"]
        assert state["error"].startswith("bomb.gpx")


def _packed_netcdf(path):
    """Write 60 GB of wind as it unpacks, in a file of a few MB."""
    with netCDF4.Dataset(path, "w") as data:
        for name, size in (("time", 300), ("latitude", 5000), ("longitude", 5000)):
            data.createDimension(name, size)
        for name, units, values in (
            ("time", "hours since 2026-07-13", np.arange(300.0)),
            ("latitude", "degrees_north", np.linspace(58.5, 58.7, 5000)),
            ("longitude", "degrees_east", np.linspace(11.1, 11.3, 5000)),
        ):
            data.createVariable(name, "f8", (name,)).units = units
            data[name].standard_name = name
            data[name][:] = values
        for name in ("eastward_wind", "northward_wind"):
            wind = data.createVariable(
                name, "f4", ("time", "latitude", "longitude"), zlib=True, complevel=1,
                chunksizes=(300, 1000, 1000), fill_value=3.0,
            )  # fmt: skip
            wind.units, wind.standard_name = "m s-1", name


def test_compressed_bombs(browser, tmp_path):
    zeros = b"\0" * (30 * MB)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("../../etc/cron.d/x", zeros)
    tar = io.BytesIO()
    with tarfile.open(fileobj=tar, mode="w:gz") as archive:
        info = tarfile.TarInfo("/etc/x")
        info.size = len(zeros)
        archive.addfile(info, io.BytesIO(zeros))
    _packed_netcdf(tmp_path / "bomb.nc")
    grib = demo_files().forecast_grib.read_bytes()
    bombs = {
        "bomb.gz": gzip.compress(zeros),
        "bomb.zip": packed.getvalue(),
        "bomb.tar.gz": tar.getvalue(),
        "bomb.nc": (tmp_path / "bomb.nc").read_bytes(),
        "cut.nc": demo_files().forecast_netcdf.read_bytes()[:40_000],
        "huge.grib": _huge_grid(grib),
        "cut.grib": grib[: len(grib) // 2 + 7],
    }
    for name, content in bombs.items():
        assert len(content) < 40 * MB
        began = time.monotonic()
        trip = browser.open_route(gpx(), files=[("forecast", (name, content))])
        state = browser.wait(trip, 90)
        if name != "cut.grib":  # whole messages before the cut may do
            held("compressed or damaged file", state["state"] == "failed")
            assert name in state["error"]
            assert "\n" not in state["error"]
            assert "/tmp" not in state["error"]
        assert time.monotonic() - began < 60.0
    for name in ("route.gpx.gz", "route.zip"):
        content = bombs["bomb.gz"] if name.endswith("gz") else bombs["bomb.zip"]
        trip = browser.open_route(content, name)
        held("compressed or damaged file", browser.wait(trip)["state"] == "failed")


def _huge_grid(grib):
    """Say 2^31 - 1 points along each side in the first message (octets of section 3)."""
    found = bytearray(grib)
    at = 16
    while found[at + 4] != 3:  # sections begin with their length and number
        at += int.from_bytes(found[at : at + 4], "big")
    found[at + 6 : at + 10] = (2**31 - 1).to_bytes(4, "big")
    found[at + 30 : at + 34] = (2**31 - 1).to_bytes(4, "big")
    found[at + 34 : at + 38] = (2**31 - 1).to_bytes(4, "big")
    return bytes(found)


def test_a_broken_worker_breaks_its_own_trip_only(server, browser, trip):
    """The processes of the server are ended under it, as the system does when memory is short."""
    second = browser.open("demo")
    for pid in _workers_in(server, second, browser):
        os.kill(pid, 9)
    state = browser.wait(second)
    held("ended worker", state["state"] in ("failed", "ready"))
    if state["state"] == "failed":
        assert "broke down" in state["error"]
        assert "\n" not in state["error"]
    assert browser.change(trip, [("limit_wind", "8"), ("limit_wind_unit", "kn")])["error"] == ""
    assert browser.change(second, [])["state"] == "ready"  # with another worker


def _workers_in(server, trip, browser):
    """Processes of a trip: those whose directory is none of the trips planned before."""
    end = time.monotonic() + 10
    while browser.state(trip)["state"] in ("waiting", "working") and time.monotonic() < end:
        newest = max(
            (p for p in Path("/proc").iterdir() if p.name.isdecimal() and _inside(p, server.tmp)),
            key=lambda p: int((p / "stat").read_text().rsplit(")", 1)[1].split()[19]),
            default=None,
        )
        if newest is not None:
            return [int(newest.name)]
    return []


def _inside(process, folder):
    try:
        return str((process / "cwd").readlink()).startswith(str(folder))
    except OSError:
        return False


def test_work_that_takes_too_long(tmp_path):
    with Server(tmp_path, plan_s=0.05) as server, server.browser() as browser:
        trip = browser.open("demo")
        state = browser.wait(trip, 120)
        held("work without an end", state["state"] == "failed")
        assert state["error"] == "it took longer than a trip may take: ask for less"


# --- text that is a trap


def test_names_of_files(server, browser):
    base = next(p for p in server.tmp.iterdir() if p.name.startswith("routeplan-page-"))
    names = [
        "../../../etc/passwd",
        "/etc/passwd",
        "..\\..\\windows\\win.ini",
        "C:\\x",
        "a\0b.gpx",
        "con.gpx",
        ".",
        "..",
        "-rf",
        "$(id).gpx",
        "`id`.gpx",
        "a\r\nSet-Cookie: x=1.gpx",
        "n" * 5_000,
        "\u202egpx.exe",
        "é" * 300,
        "{{7*7}}.gpx",
        "{% include 'start.html' %}",
        BAD_SCRIPT,
    ]
    stored = {"route.gpx", "answer-1", "lock"}
    content = gpx().replace(b"<name>Short hop</name>", b"")
    for name in names:
        called = urllib.parse.quote(name, safe="") if "\r" in name or "\0" in name else name
        trip = browser.open_route(content, called)
        if isinstance(trip, httpx.Response):
            held("hostile file name", trip.status_code in (400, 413))
            continue
        assert browser.wait(trip)["state"] == "ready"
        page = browser.get(trip).text
        held("hostile file name", _harmless(page))
        assert "{{7*7}}" in page or "49" not in Elements(page).text.split()
        reply = browser.get(f"{trip}/file/plan.json")
        assert reply.headers["content-disposition"] == 'attachment; filename="plan.json"'
        assert "set-cookie" not in reply.headers
        browser.post(f"{trip}/remove", browser.token(trip))
    for folder in base.iterdir():
        if folder.is_dir():
            found = {p.name for p in folder.iterdir()}
            assert all(n in stored or n.startswith(("answer-", "forecast", "group")) for n in found)


def _harmless(page):
    """Whether nothing of the hostile text became an element or an attribute that runs."""
    found = Elements(page).found
    scripts = [a for tag, a in found if tag == "script" and "src" not in a]
    runs = [
        (tag, name)
        for tag, attributes in found
        for name, value in attributes.items()
        if name.startswith("on") or "javascript:" in (value or "")
    ]
    return (
        not runs
        and all(a.get("type") == "application/json" for a in scripts)
        and not [tag for tag, a in found if tag == "img" and a.get("src") == "x"]
        and "<script>pwn" not in page
    )


def test_script_in_every_text_field(browser):
    fields = [f"limit_{row.name}" for row in LIMIT_ROWS]
    fields += [f"{name}_unit" for name in fields] + ["speed", "speed_unit", "step", "step_unit"]
    fields += ["craft", "select", "launch_1", "token2", BAD_SCRIPT]
    trip = browser.open_route(
        gpx(name=XML_SCRIPT, first=XML_SCRIPT, last=XML_SCRIPT, place=XML_SCRIPT, note=XML_SCRIPT)
    )
    assert browser.wait(trip)["state"] == "ready"
    held("script in a name of the route", _harmless(browser.get(trip).text))
    token = browser.token(trip)
    for name in fields:
        for text in (BAD_SCRIPT[:55], "1<script>pwn()"):
            known = [("limit_wind", "7")] if name.endswith("_unit") else []
            reply = browser.post(f"{trip}/change", token, [*known, (name, text)])
            held("script in a field", _harmless(reply.text))
    browser.wait(trip)
    held("script in a field", _harmless(browser.get(trip).text))
    for name in ("source", "provider", "hours", "members", "craft"):
        reply = browser.post(
            "/open",
            browser.token(),
            [("source", "get"), (name, BAD_SCRIPT)],
            [("route", ("a", b"x"))],
        )
        held("script in a field", _harmless(reply.text))


def test_script_in_names_of_everything_that_is_shown(browser):
    demo = demo_files()
    named = re.sub(rb"<name>[^<]*</name>", f"<name>{XML_SCRIPT}</name>".encode(),
                   demo.route.read_bytes())  # fmt: skip
    group = (
        f'[[person]]\nname = {json.dumps(BAD_SCRIPT)}\nmass = "70 kg"\n'
        f"[ashore]\ncontact = {json.dumps(BAD_SCRIPT)}\nnote = {json.dumps(BAD_SCRIPT)}\n"
    )
    trip = browser.open_route(
        named,
        BAD_SCRIPT,
        files=[
            ("forecast", (BAD_SCRIPT, demo.forecast_netcdf.read_bytes())),
            ("limits", (BAD_SCRIPT, demo.limits.read_bytes())),
            ("group", (BAD_SCRIPT, group.encode())),
        ],
    )
    state = browser.wait(trip, 90)
    page = browser.get(trip).text
    held("script in every name", _harmless(page))
    assert "pwn()" in page  # as text
    assert state["state"] == "ready", state["error"]
    parts = browser.get(f"{trip}/parts").json()
    for fragment in parts["fragments"].values():
        held("script in every name", _harmless(fragment))
    report = browser.get(f"{trip}/file/report.html").text
    own = re.findall(r'<script nonce="[0-9a-f]+">', report)
    assert len(own) == 9  # the report's own, inlined
    held("script in every name", report.count("<script") == len(own) + 1)
    held("script in every name", "<img" not in report.replace("\\u003cimg", ""))
    reply = browser.get(f"{trip}/parts")
    assert reply.headers["content-type"] == "application/json"


def test_script_in_other_files(browser):
    for kind, content in (
        ("limits", f"[limits]\n{json.dumps(BAD_SCRIPT)} = '1 kn'"),
        ("limits", f"[limits]\nwind = {json.dumps(BAD_SCRIPT)}"),
        ("group", f"[[person]]\nname = 'x'\n{json.dumps(BAD_SCRIPT)} = 1"),
        ("forecast", BAD_SCRIPT),
    ):
        trip = browser.open_route(gpx(), files=[(kind, (BAD_SCRIPT, content.encode()))])
        state = browser.wait(trip)
        assert state["state"] == "failed"
        held("script in another file", _harmless(browser.get(trip).text))


# --- many at once


def test_two_hundred_at_once(server):
    """200 connections that all ask, 20 of them for trips of their own that must not mix."""
    statuses, mixed = Counter(), []
    gate = threading.Barrier(200)

    def look(_):
        gate.wait(20)
        with socket.create_connection(("127.0.0.1", server.port), timeout=30) as line:
            line.sendall(
                f"GET / HTTP/1.1\r\nHost: {server.host}\r\nConnection: close\r\n\r\n".encode()
            )
            statuses[int(line.recv(100)[9:12])] += 1

    def plan(number):
        with server.browser() as browser:
            token = browser.token()
            gate.wait(20)
            content = gpx(name=f"Trip {number}")
            reply = browser.post("/open", token, [("source", "files")], [("route", ("a", content))])
            statuses[reply.status_code] += 1
            if reply.status_code == 303:
                trip = reply.headers["location"]
                assert browser.wait(trip)["state"] == "ready"
                name = browser.get(f"{trip}/file/plan.json").json()["route"]["name"]
                if name != f"Trip {number}":
                    mixed.append((number, name))

    threads = [threading.Thread(target=look if n % 10 else plan, args=(n,)) for n in range(200)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert not mixed
    assert statuses.total() == 200
    assert set(statuses) <= {200, 303, 503}
    assert statuses[303] + statuses[200] >= 190
    TRIED["at once"] += 200


def test_more_connections_than_there_may_be(server):
    lines = []
    try:
        for _ in range(320):
            lines.append(server.socket(5))
        request = f"GET / HTTP/1.1\r\nHost: {server.host}\r\nConnection: close\r\n\r\n".encode()
        got = Counter()
        for line in lines[-40:]:
            try:
                line.sendall(request)
                got[line.recv(20)[9:12].decode()] += 1
            except ConnectionError:
                got["closed"] += 1
        held("more than 256 connections", set(got) <= {"503", "closed", "", "200"})
        assert got["503"]
    finally:
        for line in lines:
            line.close()
    end = time.monotonic() + 5
    while server.raw(request)[0] != 200 and time.monotonic() < end:
        time.sleep(0.1)
    assert server.raw(request)[0] == 200


def test_room_is_limited(tmp_path):
    settings = {"trips": 3, "trip_bytes": 300_000, "disk_bytes": 500_000}
    with Server(tmp_path, **settings) as server, server.browser() as browser:
        big = demo_files().forecast_grib.read_bytes()
        reply = browser.open_route(gpx(), files=[("forecast", ("a", big))])
        held("more than a trip may take", reply.status_code == 507)
        for _ in range(3):
            assert isinstance(browser.open_route(gpx()), str)
        reply = browser.open_route(gpx())
        held("more trips than there may be", reply.status_code == 503)
        assert "try again" in Elements(reply.text).text
