"""A page of the tests' own: started as a program, spoken to as a browser or an attacker would."""

import contextlib
import http.client
import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
from html.parser import HTMLParser

import httpx

_CODE = """
import json, sys
from routeplan.page import PageConfig, serve
serve(PageConfig(**json.loads(sys.argv[1])), started=lambda url: print(url, flush=True))
"""

ROUTE = """<?xml version="1.0" encoding="UTF-8"?>
<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="test">
<wpt lat="58.5960" lon="11.1900"><name>{place}</name><desc>{note}</desc></wpt>
<rte><name>{name}</name>
<rtept lat="58.59553" lon="11.2038"><name>{first}</name></rtept>
<rtept lat="58.5975" lon="11.178"><name>{last}</name></rtept>
</rte></gpx>"""


def gpx(name="Short hop", first="Here", last="There", place="Spot", note="A note"):
    """Return two points in the demo's waters, with the names as given: they must be XML."""
    return ROUTE.format(name=name, first=first, last=last, place=place, note=note).encode()


class Server:
    """One server, with settings of its own; a context manager."""

    def __init__(self, tmp, **settings):
        environment = {**os.environ, "TMPDIR": str(tmp)}
        self.tmp = tmp
        self.log = (tmp / "server.log").open("wb")
        began = time.perf_counter()
        self.process = subprocess.Popen(
            [sys.executable, "-c", _CODE, json.dumps({"port": 0, **settings})],
            stdout=subprocess.PIPE,
            stderr=self.log,
            env=environment,
        )
        self.url = self.process.stdout.readline().decode().strip().rstrip("/")
        assert self.url.startswith("http://127.0.0.1:"), (tmp / "server.log").read_text()
        with httpx.Client(base_url=self.url, timeout=20) as client:
            client.get("/").raise_for_status()
        self.start_s = time.perf_counter() - began

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.stop()

    def stop(self):
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
            try:
                self.process.wait(10)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()
        self.process.stdout.close()
        self.log.close()

    @property
    def port(self):
        return int(self.url.rsplit(":", 1)[1])

    @property
    def host(self):
        return f"127.0.0.1:{self.port}"

    def errors(self):
        """What the server wrote of bugs."""
        return (self.tmp / "server.log").read_text(errors="replace")

    def browser(self):
        return Browser(self)

    def socket(self, timeout=10):
        return socket.create_connection(("127.0.0.1", self.port), timeout=timeout)

    def raw(self, request, timeout=10):
        """Send bytes; give the status and all that comes back. 0 when the server hung up."""
        with self.socket(timeout) as connection:
            with contextlib.suppress(ConnectionError, TimeoutError):
                connection.sendall(request)
            got = b""
            with contextlib.suppress(ConnectionError, TimeoutError):
                while piece := connection.recv(65536):
                    got += piece
        found = re.match(rb"HTTP/1\.[01] (\d{3})", got)
        return (int(found[1]) if found else 0), got

    def status(self, method, path, headers=(), body=b""):
        """Send one request with exactly these headers; give the status."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=15)
        try:
            connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            for name, value in headers:
                connection.putheader(name, value)
            if body:
                connection.putheader("Content-Length", str(len(body)))
            connection.endheaders(body or None)
            return connection.getresponse().status
        finally:
            connection.close()


class Browser:
    """What a person with a browser does, by forms alone."""

    def __init__(self, server):
        self.server = server
        self.client = httpx.Client(
            base_url=server.url,
            headers={"Origin": server.url, "Sec-Fetch-Site": "same-origin"},
            timeout=60,
        )

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.client.close()

    def get(self, path, **more):
        return self.client.get(path, **more)

    def token(self, path="/"):
        return re.search(r'name="token" value="([^"]+)"', self.get(path).text)[1]

    def post(self, path, token, fields=(), files=(), **more):
        """Send a form; fields and files are pairs, a file (name, content)."""
        parts = [("token", (None, token))]
        parts += [(name, (None, text)) for name, text in fields]
        parts += [(name, content) for name, content in files]
        return self.client.post(path, files=parts, **more)

    def open(self, source, fields=(), files=()):
        """Open a trip; give its path, or the response where it was refused."""
        reply = self.post("/open", self.token(), [("source", source), *fields], files)
        return reply.headers["location"] if reply.status_code == 303 else reply

    def open_route(self, content, name="route.gpx", fields=(), files=()):
        return self.open("files", fields, [("route", (name, content)), *files])

    def state(self, trip):
        reply = self.get(f"{trip}/state")
        reply.raise_for_status()
        return reply.json()

    def wait(self, trip, longest_s=120):
        """Wait for the end of what is being done; give the state and every word on the way."""
        seen, end = [], time.monotonic() + longest_s
        while time.monotonic() < end:
            state = self.state(trip)
            seen.append(state["words"])
            if state["state"] not in ("waiting", "working"):
                return {**state, "seen": seen}
            time.sleep(0.03)
        msg = f"{trip} still {state}"
        raise AssertionError(msg)

    def change(self, trip, fields):
        """Change fields of the form; give the state in the end."""
        reply = self.post(
            f"{trip}/change", self.token(trip), fields, headers={"Accept": "application/json"}
        )
        if reply.status_code != 200:
            return {"state": "refused", "error": reply.json()["error"]}
        return self.wait(trip)


class Elements(HTMLParser):
    """The elements of a page as a browser would find them, with attributes and text."""

    def __init__(self, page):
        super().__init__(convert_charrefs=True)
        self.found, self.texts = [], []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attributes):
        self.found.append((tag, dict(attributes)))

    def handle_data(self, data):
        self.texts.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.texts).split())

    def by_id(self, name):
        return next(attributes for _, attributes in self.found if attributes.get("id") == name)
