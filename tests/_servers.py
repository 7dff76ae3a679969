"""A web server on the loopback address that misbehaves as it is told.

`FaultyServer` hands out resources by path and breaks the answers it was told to break, each
once, in order. It counts what it sends. It ends by itself after `MAX_REQUESTS` requests.
"""

import contextlib
import email.utils
import gzip
import http.server
import re
import socket
import struct
import sys
import threading
import time
import urllib.parse
from dataclasses import dataclass, field

MAX_REQUESTS = 20_000
PAGE = (
    b"<!DOCTYPE html><html><head><title>Service under maintenance</title></head>"
    b"<body>come back later</body></html>"
)


@dataclass(frozen=True)
class Fault:
    """What to do to one answer; see `_Handler._faulty`."""

    kind: str
    at: int = 0
    status: int = 0
    headers: tuple[tuple[str, str], ...] = ()


@dataclass
class Request:
    method: str
    path: str
    query: dict
    headers: dict
    body: bytes
    status: int = 0
    sent: int = 0


@dataclass
class Resource:
    content: bytes
    etag: str = ""
    modified: float = 0.0


@dataclass
class FaultyServer:
    """`resources` maps a path to content, or is asked: find(request) -> Resource or None."""

    resources: dict = field(default_factory=dict)
    find: object = None
    faults: list = field(default_factory=list)
    faults_at: dict = field(default_factory=dict)  # path: list of faults
    chunk: int = 16 * 1024
    pause_s: float = 0.0  # between chunks
    requests: list = field(default_factory=list)
    errors: list = field(default_factory=list)
    busy: int = 0
    most_busy: int = 0  # requests under way at once
    lock: threading.Lock = field(default_factory=threading.Lock)

    def __enter__(self):
        server = self

        class Handler(_Handler):
            owner = server

        class Listener(http.server.ThreadingHTTPServer):
            def handle_error(self, _request, _address):
                if not isinstance(sys.exc_info()[1], ConnectionError):  # clients may hang up
                    server.errors.append(sys.exc_info()[1])

        self._http = Listener(("127.0.0.1", 0), Handler)
        self._http.daemon_threads = True
        self._thread = threading.Thread(
            target=self._http.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True
        )
        self._thread.start()
        return self

    def __exit__(self, *_):
        self._http.shutdown()
        self._http.server_close()
        self._thread.join(5)

    @property
    def url(self):
        return f"http://127.0.0.1:{self._http.server_address[1]}"

    @property
    def sent(self):
        return sum(r.sent for r in self.requests)

    def next_fault(self, path):
        with self.lock:
            for waiting in (self.faults_at.get(path), self.faults):
                if waiting:
                    return waiting.pop(0)
        return None

    def lookup(self, request):
        if self.find is not None:
            return self.find(request)
        return self.resources.get(request.path)


class _Handler(http.server.BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    timeout = 10
    owner = None

    def log_message(self, *_):
        pass

    def do_GET(self):
        self._serve(b"")

    def do_POST(self):
        self._serve(self.rfile.read(int(self.headers.get("Content-Length", "0"))))

    def _serve(self, body):
        parts = urllib.parse.urlsplit(self.path)
        query = dict(urllib.parse.parse_qsl(parts.query, keep_blank_values=True))
        headers = {k.lower(): v for k, v in self.headers.items()}
        request = Request(self.command, parts.path, query, headers, body)
        owner = self.owner
        with owner.lock:
            owner.requests.append(request)
            if len(owner.requests) > MAX_REQUESTS:
                self.close_connection = True
                return
            owner.busy += 1
            owner.most_busy = max(owner.most_busy, owner.busy)
        self._request = request
        try:
            self._reply(parts.path, request)
        finally:
            with owner.lock:
                owner.busy -= 1

    def _reply(self, path, request):
        owner = self.owner
        with contextlib.suppress(BrokenPipeError, ConnectionResetError):
            fault = owner.next_fault(path)
            resource = owner.lookup(request)
            if fault is not None:
                self._faulty(fault, resource)
            elif resource is None:
                self._answer(404, b"no such file\n")
            else:
                self._whole_or_range(resource)

    # --- good answers

    def _whole_or_range(self, resource, fault=None):
        content = resource.content
        headers = self._validators(resource)
        span = None if fault == "no-range" else self._span(resource)
        if span is None:
            self._answer(200, content, headers)
            return
        first, last = span
        if first >= len(content):
            self._answer(416, b"", [("Content-Range", f"bytes */{len(content)}")])
            return
        last = min(last, len(content) - 1)
        piece = content[first : last + 1]
        if fault == "wrong-range":
            first, last = first + 7, last + 7
        shown = f"bytes {first}-{last}/{len(content)}"
        self._answer(206, piece, [*headers, ("Content-Range", shown)])

    def _validators(self, resource):
        headers = [("Accept-Ranges", "bytes")]
        if resource.etag:
            headers.append(("ETag", resource.etag))
        if resource.modified:
            headers.append(
                ("Last-Modified", email.utils.formatdate(resource.modified, usegmt=True))
            )
        return headers

    def _span(self, resource):
        found = re.fullmatch(r"bytes=(\d+)-(\d*)", self.headers.get("Range", ""))
        if not found:
            return None
        condition = self.headers.get("If-Range")
        known = [value for _, value in self._validators(resource)]
        if condition and condition not in known:
            return None
        return int(found[1]), int(found[2]) if found[2] else 2**60

    def _answer(self, status, content, headers=(), length=None):
        self._head(status, [("Content-Length", str(len(content) if length is None else length))])
        for name, value in headers:
            self.send_header(name, value)
        self.end_headers()
        self._send(content)

    def _head(self, status, headers=()):
        self._request.status = status
        self.send_response(status)
        for name, value in headers:
            self.send_header(name, value)

    def _send(self, content, pause_s=None):
        pause_s = self.owner.pause_s if pause_s is None else pause_s
        for start in range(0, len(content), self.owner.chunk):
            piece = content[start : start + self.owner.chunk]
            self.wfile.write(piece)
            self._request.sent += len(piece)
            if pause_s:
                time.sleep(pause_s)

    # --- bad ones

    def _faulty(self, fault, resource):
        getattr(self, "_fault_" + fault.kind.replace("-", "_"))(fault, resource)

    def _fault_status(self, fault, _resource):
        self._answer(fault.status, b"not now\n", fault.headers)

    def _fault_html(self, _fault, _resource):
        self._answer(200, PAGE, [("Content-Type", "text/html")])

    def _fault_absent_page(self, _fault, _resource):
        page = b"<html><head><title>data file is not present: /com/x</title></head></html>"
        self._answer(200, page, [("Content-Type", "text/html")])

    def _fault_cut(self, fault, resource):
        """Close the connection after `at` bytes of the body that would have come."""
        self._broken(fault, resource, reset=False)

    def _fault_reset(self, fault, resource):
        self._broken(fault, resource, reset=True)

    def _broken(self, fault, resource, reset):
        span = self._span(resource)
        first = span[0] if span else 0
        body = resource.content[first:] if not span else resource.content[first : span[1] + 1]
        headers = self._validators(resource)
        if span:
            total = len(resource.content)
            headers.append(("Content-Range", f"bytes {first}-{first + len(body) - 1}/{total}"))
        self._head(206 if span else 200, [("Content-Length", str(len(body))), *headers])
        self.end_headers()
        self._send(body[: fault.at])
        if reset:
            linger = struct.pack("ii", 1, 0)
            self.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, linger)
        self._hang_up()

    def _fault_refuse(self, _fault, _resource):
        self._hang_up()

    def _fault_long_length(self, _fault, resource):
        """State more bytes than come."""
        content = resource.content
        self._answer(200, content, self._validators(resource), length=len(content) + 1000)
        self._hang_up()

    def _fault_short_length(self, _fault, resource):
        """State fewer bytes than the content has: the rest is never seen."""
        content = resource.content
        self._head(
            200, [("Content-Length", str(len(content) // 2 + 7)), *self._validators(resource)]
        )
        self.end_headers()
        self._send(content)
        self._hang_up()

    def _fault_drip(self, _fault, resource):
        """Some bytes, then one at a time, for at most 5 s."""
        content = resource.content
        self._head(200, [("Content-Length", str(len(content))), *self._validators(resource)])
        self.end_headers()
        self._send(content[:1000])
        for byte in content[1000:1100]:
            self.wfile.write(bytes([byte]))
            self._request.sent += 1
            time.sleep(0.05)
        self._hang_up()

    def _fault_stall(self, _fault, _resource):
        """Nothing at all for 2 s."""
        time.sleep(2.0)
        self._hang_up()

    def _fault_no_range(self, _fault, resource):
        self._whole_or_range(resource, "no-range")

    def _fault_wrong_range(self, _fault, resource):
        self._whole_or_range(resource, "wrong-range")

    def _fault_no_length(self, fault, resource):
        """HTTP/1.0 manner: the end of the connection is the end of the body."""
        self._head(200)
        self.send_header("Connection", "close")
        self.end_headers()
        self._send(resource.content[: fault.at or None])
        self._hang_up()

    def _fault_chunked(self, fault, resource):
        """Chunked coding; with `at`, cut after so many bytes."""
        self._head(200, [("Transfer-Encoding", "chunked"), *self._validators(resource)])
        self.end_headers()
        content = resource.content[: fault.at or None]
        for start in range(0, len(content), self.owner.chunk):
            piece = content[start : start + self.owner.chunk]
            self.wfile.write(b"%x\r\n%s\r\n" % (len(piece), piece))
            self._request.sent += len(piece)
        if not fault.at:
            self.wfile.write(b"0\r\n\r\n")
        else:
            self._hang_up()

    def _fault_gzip(self, _fault, resource):
        self._answer(200, gzip.compress(resource.content), [("Content-Encoding", "gzip")])

    def _fault_redirect(self, fault, _resource):
        self._answer(302, b"", fault.headers)

    def _fault_endless(self, _fault, _resource):
        """A body without a length that goes on, up to 8 MB."""
        self._head(200)
        self.send_header("Connection", "close")
        self.end_headers()
        self._send(b"x" * 8 * 1024 * 1024)
        self._hang_up()

    def _fault_flipped(self, _fault, resource):
        """The right length, and one byte of the end mark wrong."""
        content = bytearray(resource.content)
        content[-2] ^= 0xFF
        self._answer(200, bytes(content), self._validators(resource))

    def _hang_up(self):
        self.close_connection = True
        with contextlib.suppress(OSError):
            self.wfile.flush()
        with contextlib.suppress(OSError):
            self.connection.shutdown(socket.SHUT_RDWR)
        self.connection.close()
