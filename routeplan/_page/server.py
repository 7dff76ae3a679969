"""The application and the server: everything put together, on the loopback address only."""

from __future__ import annotations

import asyncio
import contextlib
import ipaddress
import signal
import socket
import threading
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import h11
import uvicorn
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from uvicorn.protocols.http.h11_impl import H11Protocol

from routeplan._html.assets import asset_files
from routeplan._page.config import PageConfig
from routeplan._page.guard import Guard, Tokens
from routeplan._page.jobs import Desk
from routeplan._page.pool import Pool
from routeplan._page.routes import Pages, read_static
from routeplan._page.store import Store
from routeplan.errors import InputError

__all__ = ["application", "bind", "run"]

_SWEEP_S = 15.0
_HERE = Path(__file__).parent
_HEAR_OUT_S = 2.0
_LARGEST_HEAD = 16 * 1024
_WAITING_CONNECTIONS = 256


def application(config: PageConfig) -> Guard:
    """The application; it starts its workers, and removes all files, with its lifespan."""
    tokens = Tokens(config.keep_s)
    store = Store(config)
    pool = Pool(config.memory_bytes)
    desk = Desk(config, pool, store)
    own = {path.name: path for path in (_HERE / "static").iterdir()}
    static = read_static({**asset_files(), **own})
    pages = Pages(config, store, desk, tokens, static)

    @contextlib.asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        pool.start()
        sweeping = asyncio.create_task(_sweep(store, desk))
        try:
            yield
        finally:
            sweeping.cancel()
            pool.stop()
            store.close()

    app = Starlette(
        routes=pages.routes(),
        exception_handlers={HTTPException: _http_error, 500: _bug},
        lifespan=lifespan,
    )
    app.router.redirect_slashes = False
    app.state.store, app.state.pool, app.state.desk = store, pool, desk
    return Guard(app, _hosts(config))  # around everything, what answers to bugs as well


async def _sweep(store: Store, desk: Desk) -> None:
    """Remove trips whose time is over."""
    while True:
        await asyncio.sleep(min(_SWEEP_S, store.config.keep_s / 4.0))
        for room in store.expired():
            if not room.busy:
                desk.forget(room)


def _hosts(config: PageConfig) -> frozenset[str]:
    names = ("127.0.0.1", "localhost", "[::1]")
    found = frozenset(f"{name}:{config.port}" for name in names)
    if config.port == 80:
        found |= frozenset(names)
    return found


async def _http_error(_: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    words = {404: "there is nothing here", 405: "not in this way"}.get(error.status_code, "refused")
    return PlainTextResponse(f"{words}\n", error.status_code)


async def _bug(_: Request, error: Exception) -> Response:
    return PlainTextResponse(f"this is a bug in routeplan: {type(error).__name__}\n", 500)


def bind(address: str, port: int) -> socket.socket:
    """Listen on a loopback address.

    Raises
    ------
    InputError
        If the address is another one, or the port cannot be had.
    """
    try:
        loopback = ipaddress.ip_address(address).is_loopback
    except ValueError:
        loopback = False
    if not loopback:
        msg = f"--address: {address!r} is not allowed; allowed are 127.0.0.1 and ::1"
        raise InputError(msg, field="address", value=address)
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    listener = socket.socket(family)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((address, port))
        listener.listen(_WAITING_CONNECTIONS)
    except (OSError, OverflowError) as error:
        listener.close()
        reason = getattr(error, "strerror", None) or str(error)
        msg = f"--port: {port} cannot be used ({reason}); allowed is a free port from 1 to 65535"
        raise InputError(msg, field="port", value=port) from None
    return listener


def run(config: PageConfig, listener: socket.socket) -> None:
    """Serve until interrupted."""
    settings = uvicorn.Config(
        application(config),
        http=_protocol(config.head_s),
        ws="none",
        lifespan="on",
        loop="asyncio",
        log_level="error",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        limit_concurrency=config.connections,
        timeout_keep_alive=5,
        timeout_graceful_shutdown=1,
        h11_max_incomplete_event_size=_LARGEST_HEAD,
    )
    server = uvicorn.Server(settings)
    if threading.current_thread() is threading.main_thread():
        # A terminal that is closed ends the page as an interrupt does: with all files removed.
        signal.signal(signal.SIGHUP, lambda *_: signal.raise_signal(signal.SIGTERM))
    with contextlib.suppress(KeyboardInterrupt):
        server.run(sockets=[listener])


def _protocol(head_s: float) -> type[asyncio.Protocol]:
    """HTTP as uvicorn speaks it, but for connections that never say what they want.

    A request's head must be there in `head_s` seconds, else the connection is closed; and who
    goes on sending what was refused is heard out for a moment only, so that a browser that sends
    before it reads still gets to read why.
    """

    class PromptProtocol(H11Protocol):
        _waiting: asyncio.TimerHandle | None = None

        def connection_made(self, transport: Any) -> None:
            super().connection_made(transport)
            self._watch()

        def data_received(self, data: bytes) -> None:
            super().data_received(data)
            self._watch()

        def connection_lost(self, exc: Exception | None) -> None:
            self._unwatch()
            super().connection_lost(exc)

        def _watch(self) -> None:
            refused = self.conn.our_state is h11.DONE and self.conn.their_state is h11.SEND_BODY
            if self.conn.their_state is not h11.IDLE and not refused:
                self._unwatch()
            elif self._waiting is None:
                wait_s = _HEAR_OUT_S if refused else head_s
                self._waiting = self.loop.call_later(wait_s, self.transport.abort)

        def _unwatch(self) -> None:
            if self._waiting is not None:
                self._waiting.cancel()
                self._waiting = None

    return PromptProtocol
