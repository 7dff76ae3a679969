"""What the server answers to which address."""

from __future__ import annotations

import asyncio
import hashlib
import time
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import (
    FileResponse,
    HTMLResponse,
    JSONResponse,
    PlainTextResponse,
    RedirectResponse,
    Response,
)
from starlette.routing import Route

from routeplan._page.config import PageConfig
from routeplan._page.form import Settings
from routeplan._page.guard import Tokens
from routeplan._page.jobs import Desk
from routeplan._page.outputs import OUTPUTS
from routeplan._page.store import FullError, Room, Store
from routeplan._page.upload import Form, RefusedError, read_form
from routeplan._page.views import message_page, read_text, room_page, start_page, state_of
from routeplan.errors import InputError

__all__ = ["Desk", "Pages", "read_static"]

_PROVIDERS = ("gfs", "gefs", "ecmwf")
_STATIC = {".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8"}
_START = "start"
_WAIT_S = 20.0

_Answer = Callable[[Request, Room], Awaitable[Response]]


@dataclass(frozen=True, slots=True)
class Pages:
    """The addresses, on the trips of one server."""

    config: PageConfig
    store: Store
    desk: Desk
    tokens: Tokens
    static: dict[str, tuple[bytes, str, str]]

    def routes(self) -> list[Route]:
        """All addresses there are."""
        trip = "/t/{key}"
        return [
            Route("/", self.start),
            Route("/open", self.open, methods=["POST"]),
            Route(trip, self._of_trip(self.show)),
            Route(f"{trip}/state", self._of_trip(self.state)),
            Route(f"{trip}/parts", self._of_trip(self.parts)),
            Route(f"{trip}/file/{{name}}", self._of_trip(self.file)),
            Route(f"{trip}/change", self._of_trip(self.change), methods=["POST"]),
            Route(f"{trip}/cancel", self._of_trip(self.cancel), methods=["POST"]),
            Route(f"{trip}/remove", self._of_trip(self.remove), methods=["POST"]),
            Route("/static/{name}", self.static_file),
            Route("/favicon.ico", self.no_icon),
        ]

    def _of_trip(self, answer: _Answer) -> Callable[[Request], Awaitable[Response]]:
        """Give the answer the trip that the address names."""

        async def endpoint(request: Request) -> Response:
            room = self.store.find(request.path_params["key"])
            if room is None:
                words = "There is no such trip here, or it was removed."
                return self._message(request, "No such trip", words, 404)
            return await answer(request, room)

        return endpoint

    def _message(self, request: Request, title: str, words: str, status: int) -> Response:
        return HTMLResponse(message_page(title, words, request.state.nonce), status)

    async def start(self, request: Request) -> Response:
        """Three ways to start."""
        return self._start_page(request)

    def _start_page(self, request: Request, error: str = "", status: int = 200) -> Response:
        token = self.tokens.new(_START)
        page = start_page(self.config, token, request.state.nonce, error)
        return HTMLResponse(page, status)

    async def open(self, request: Request) -> Response:
        """Take in the files of a new trip and begin to plan it."""
        try:
            room = self.store.new_room()
        except FullError as error:
            return self._start_page(request, str(error), 503)
        try:
            form = await read_form(
                request,
                self.config,
                self.tokens.check(_START),
                room.folder,
                lambda count: self.store.reserve(room, count),
            )
            _describe(room, form)
            self.desk.begin(room)
        except (RefusedError, InputError, FullError) as error:
            self.desk.forget(room)
            return self._start_page(request, str(error), _status(error))
        except BaseException:  # the sender has gone
            self.desk.forget(room)
            raise
        return RedirectResponse(f"/t/{room.key}", 303)

    async def show(self, request: Request, room: Room) -> Response:
        """The page of a trip."""
        page, nonce = "", request.state.nonce
        if room.answer and "wait" in request.query_params:
            await _settled(room)
        if room.answer:
            try:
                page = read_text(await self.desk.file(room, "page.html"))
            except InputError as error:
                return self._message(request, "No report", str(error), 422)
        token = self.tokens.new(room.key)
        return HTMLResponse(room_page(room, page, self.config, token, nonce))

    async def state(self, request: Request, room: Room) -> Response:  # noqa: ARG002
        """How far it is."""
        return JSONResponse(state_of(room, self.tokens.new(room.key)))

    async def parts(self, request: Request, room: Room) -> Response:  # noqa: ARG002
        """The parts of the last answer, for a page that is open."""
        if not room.answer:
            return PlainTextResponse("there is no answer yet\n", 404)
        answer = room.answer
        try:
            text = read_text(await self.desk.file(room, "parts.json"))
        except InputError as error:
            return JSONResponse({"error": str(error)}, 422)
        headers = {"x-answer": str(answer)}
        return Response(text, media_type="application/json", headers=headers)

    async def file(self, request: Request, room: Room) -> Response:
        """A file to take away."""
        name = request.path_params["name"]
        if name not in OUTPUTS or not room.answer:
            return self._message(request, "No such file", "There is no such file.", 404)
        try:
            path = await self.desk.file(room, name)
        except InputError as error:
            words = f"{name} cannot be made: {error}"
            return self._message(request, "No file", words, 422)
        headers = {"content-security-policy": "sandbox; default-src 'none'"}
        return FileResponse(
            path, media_type=OUTPUTS[name].media_type, filename=name, headers=headers
        )

    async def change(self, request: Request, room: Room) -> Response:
        """Plan again with other limits, another launch, another craft, another route."""

        def act(form: Form) -> None:
            room.settings = room.settings.changed(form.fields)
            self.desk.begin(room, in_place=_wants_json(request))

        return await self._act(request, room, act)

    async def cancel(self, request: Request, room: Room) -> Response:
        """Give up what is under way."""
        return await self._act(request, room, lambda _: self.desk.cancel(room))

    async def remove(self, request: Request, room: Room) -> Response:
        """Remove the trip and its files now."""
        return await self._act(request, room, lambda _: self.desk.forget(room), "/")

    async def _act(
        self, request: Request, room: Room, act: Callable[[Form], None], then: str = ""
    ) -> Response:
        """Do what a form asks; answer a script with the state, anything else with the page."""
        wants_json = _wants_json(request)
        try:
            act(await read_form(request, self.config, self.tokens.check(room.key)))
        except (RefusedError, InputError, FullError) as error:
            room.error = str(error)
            if wants_json or isinstance(error, RefusedError):
                return JSONResponse({"error": str(error)}, _status(error))
        if wants_json:
            return JSONResponse(state_of(room, self.tokens.new(room.key)))
        return RedirectResponse(then or f"/t/{room.key}?wait", 303)

    async def no_icon(self, request: Request) -> Response:  # noqa: ARG002
        """Browsers ask for a picture of the page; there is none."""
        return Response(status_code=204)

    async def static_file(self, request: Request) -> Response:
        """One of the few files that pages are made of."""
        found = self.static.get(request.path_params["name"])
        if found is None:
            return PlainTextResponse("there is nothing here\n", 404)
        content, kind, tag = found
        headers = {"etag": tag, "cache-control": "private, max-age=0, must-revalidate"}
        if request.headers.get("if-none-match") == tag:
            return Response(status_code=304, headers=headers)
        return Response(content, media_type=kind, headers=headers)


def read_static(files: Mapping[str, Path]) -> dict[str, tuple[bytes, str, str]]:
    """Content, kind and tag of the static files, by name: nothing else can be asked for."""
    found = {}
    for name, path in files.items():
        content = path.read_bytes()
        tag = f'"{hashlib.sha256(content).hexdigest()[:20]}"'
        found[name] = (content, _STATIC[path.suffix], tag)
    return found


async def _settled(room: Room) -> None:
    """Wait a while for work to end: without a script nobody asks again."""
    end = time.monotonic() + _WAIT_S
    while room.busy and time.monotonic() < end:
        await asyncio.sleep(0.05)


def _wants_json(request: Request) -> bool:
    """Whether a script asks, which puts the answer in place, and not a plain form."""
    return request.headers.get("accept", "").startswith("application/json")


def _status(error: Exception) -> int:
    if isinstance(error, RefusedError):
        return error.status
    return 503 if isinstance(error, FullError) else 422


def _describe(room: Room, form: Form) -> None:
    """What the form of the first page says of a new trip."""
    fields = form.fields
    room.names = form.names
    room.source = fields.get("source", "")
    if room.source not in {"demo", "files", "get"}:
        msg = "choose one of the ways to start"
        raise InputError(msg)
    if room.source != "demo" and "route" not in form.names:
        msg = "a GPX file with the route is needed"
        raise InputError(msg, field="route")
    if room.source == "get":
        room.get = _wanted(fields)
    room.settings = Settings().changed(fields)


def _wanted(fields: dict[str, str]) -> dict[str, Any]:
    provider = fields.get("provider", "")
    if provider not in _PROVIDERS:
        msg = f"choose a forecast service: {', '.join(_PROVIDERS)}"
        raise InputError(msg, field="provider")
    hours = fields.get("hours", "72")[:20].strip()
    return {"provider": provider, "hours": f"{hours} h", "members": "members" in fields}
