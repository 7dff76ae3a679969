"""Who may ask, and what every answer says to the browser: in front of all else.

The page listens on the loopback address only, but a browser on this machine will send requests
there on behalf of any site that its user visits. So a request must name this server as its host
(a site that rebinds its own name to 127.0.0.1 does not), and one that changes something must
come from a page of this server by what the browser itself says of it.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
import time
from collections.abc import Callable
from typing import Any

from starlette.applications import Starlette
from starlette.types import Message, Receive, Scope, Send

__all__ = ["Guard", "Tokens"]

_POLICY = (
    "default-src 'none'; script-src 'nonce-{nonce}'; style-src 'nonce-{nonce}'; img-src 'self'; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_HEADERS = {
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
}
_METHODS = ("GET", "HEAD", "POST")
_LONGEST_TARGET = 2_000


class Tokens:
    """Words in forms that no other site can know; each is for one purpose and a time."""

    def __init__(self, valid_s: float) -> None:
        self._key = secrets.token_bytes(32)
        self._valid_s = valid_s

    def new(self, purpose: str) -> str:
        """A token for a purpose, from now on."""
        issued = str(int(time.monotonic()))
        return f"{issued}.{self._sign(issued, purpose)}"

    def check(self, purpose: str) -> Callable[[str], bool]:
        """A function that says whether a text is such a token."""

        def good(text: str) -> bool:
            issued, _, sign = text.partition(".")
            if not (issued.isascii() and issued.isdecimal() and len(issued) < 12):
                return False
            expected = self._sign(issued, purpose)
            if not hmac.compare_digest(sign.encode(errors="replace"), expected.encode()):
                return False
            return 0 <= time.monotonic() - int(issued) <= self._valid_s

        return good

    def _sign(self, issued: str, purpose: str) -> str:
        return hmac.new(self._key, f"{issued}|{purpose}".encode(), hashlib.sha256).hexdigest()


class Guard:
    """Refuses what is not meant for this server, and puts the security headers on the rest."""

    def __init__(self, app: Starlette, hosts: frozenset[str]) -> None:
        self.app, self._hosts = app, hosts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return
        nonce = secrets.token_urlsafe(16)
        scope.setdefault("state", {})["nonce"] = nonce
        armed = _arming(send, nonce)
        refusal = self._refusal(scope)
        if refusal is None:
            await self.app(scope, receive, armed)
        else:
            await _refuse(armed, *refusal)

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        """Status and words when a request is not taken; None when it is."""
        headers = _Heads(scope["headers"])
        hosts = self._hosts
        if headers.all("host") not in [[host] for host in hosts]:
            return 421, "this server does not go by that name"
        if scope["method"] not in _METHODS:
            return 405, f"allowed are {', '.join(_METHODS)}"
        if len(scope.get("raw_path", b"")) + len(scope["query_string"]) > _LONGEST_TARGET:
            return 414, "the address is too long"
        site, mode = headers.one("sec-fetch-site"), headers.one("sec-fetch-mode")
        if scope["method"] != "POST":
            foreign = site not in ("", "same-origin", "none") and mode != "navigate"
            return (403, "this is for pages of this server only") if foreign else None
        return None if _is_own(headers, hosts, site) else (403, "this did not come from our page")


def _is_own(headers: _Heads, hosts: frozenset[str], site: str) -> bool:
    """Whether a page of this server sent it, by what the browser says.

    With no referrer to be told, browsers send the origin of a plain form as "null"; then it is
    for Sec-Fetch-Site, which no page can set, to say so.
    """
    if site not in ("", "same-origin"):
        return False
    origins = headers.all("origin")
    if origins in [[f"http://{host}"] for host in hosts]:
        return True
    return origins in ([], ["null"]) and site == "same-origin"


class _Heads:
    """The head of a request; a field that must be there once may be there more often."""

    def __init__(self, raw: list[tuple[bytes, bytes]]) -> None:
        self._raw = raw

    def all(self, name: str) -> list[str]:
        wanted = name.encode()
        return [value.decode("latin-1").lower() for key, value in self._raw if key == wanted]

    def one(self, name: str) -> str:
        found = self.all(name)
        return ",".join(found)


def _arming(send: Send, nonce: str) -> Send:
    async def armed(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = list(message.get("headers", ()))
            given = {key.lower() for key, _ in headers}
            own = {**_HEADERS, "content-security-policy": _POLICY.format(nonce=nonce)}
            own["cache-control"] = "no-store"
            headers += [
                (key.encode(), value.encode())
                for key, value in own.items()
                if key.encode() not in given
            ]
            message = {**message, "headers": headers}
        await send(message)

    return armed


async def _refuse(send: Send, status: int, words: str) -> None:
    body = words.encode() + b"\n"
    headers: list[Any] = [
        (b"content-type", b"text/plain; charset=utf-8"),
        (b"content-length", str(len(body)).encode()),
        (b"connection", b"close"),
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
