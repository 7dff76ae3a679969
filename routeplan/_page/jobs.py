"""Who works on which trip and when: turns, time limits, cancelling, failures."""

from __future__ import annotations

import asyncio
import re
import shutil
import sys
import tempfile
import time
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from routeplan._page.config import FILES, PageConfig
from routeplan._page.outputs import OUTPUTS
from routeplan._page.pool import Pool, Progress, Worker, WorkerGoneError
from routeplan._page.store import FullError, Room, Store, is_plain_file
from routeplan._show.wording import plain
from routeplan.errors import InputError

__all__ = ["Desk"]

_GRACE_S = 0.5
_BROKE_DOWN = (
    "the process that worked on this broke down: a file is damaged, or it needs more memory or "
    "time than a trip may use"
)
_ROOTS = sorted(
    {
        str(Path(__file__).resolve().parents[2]),
        sys.prefix,
        sys.base_prefix,
        tempfile.gettempdir(),
        str(Path.home()),
    }
    - {"/"},
    key=len,
    reverse=True,
)


_FILES = {*OUTPUTS, "page.html", "parts.json"}


class _StoppedError(Exception):
    """The job is not wanted any more."""


class _TooLongError(Exception):
    """The job took longer than it may."""


@dataclass(eq=False)
class _Line:
    """What is under way for one trip: one job at a time."""

    lock: asyncio.Lock = field(default_factory=asyncio.Lock)
    stop: asyncio.Event = field(default_factory=asyncio.Event)


class Desk:
    """Gives jobs to workers: as many at once as there are cores, one at a time for a trip."""

    def __init__(self, config: PageConfig, pool: Pool, store: Store) -> None:
        self._config, self._pool, self._store = config, pool, store
        store.evict = self.forget
        self._turn = asyncio.Semaphore(config.workers)
        self._tasks: set[asyncio.Task[None]] = set()
        self._lines: dict[str, _Line] = {}

    def begin(self, room: Room, *, in_place: bool = False) -> None:
        """Plan a trip by its settings; what was under way for it is given up.

        `in_place` says that the parts of the answer will be asked for, not the whole page.

        Raises
        ------
        FullError
            If too many wait already.
        """
        if len(self._tasks) >= self._config.waiting + self._config.workers:
            msg = "too many trips are waiting for their turn: try again in a minute"
            raise FullError(msg)
        line = self._lines.setdefault(room.key, _Line())
        line.stop.set()
        line.stop = asyncio.Event()
        room.job += 1
        room.error = ""
        room.now = f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%S}"
        room.set("waiting", "waiting for its turn" if self._turn.locked() else "starting")
        first = "parts.json" if in_place and room.answer else "page.html"
        task = asyncio.create_task(self._plan(room, line, line.stop, room.job, first))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    def cancel(self, room: Room) -> None:
        """Give up what is under way."""
        if not room.busy:
            return
        self._lines[room.key].stop.set()
        room.job += 1
        if room.answered is not None:
            room.settings = room.answered
        self._fail(room, "stopped")

    def forget(self, room: Room) -> None:
        """Remove a trip with everything that belongs to it."""
        line = self._lines.pop(room.key, None)
        if line is not None:
            line.stop.set()
        room.job += 1
        if room.worker is not None:
            self._pool.end(room.worker)
        self._store.remove(room)

    async def file(self, room: Room, name: str) -> Path:
        """One file of the last answer, made when it is asked for the first time.

        Raises
        ------
        InputError
            If it cannot be made.
        """
        line = self._lines.get(room.key)
        if name not in _FILES or room.answered is None or line is None:
            msg = "there is no such file"
            raise InputError(msg)
        path = room.directory(room.answer) / name
        if is_plain_file(path):
            return path
        async with line.lock:
            path = room.directory(room.answer) / name  # there may be a newer answer by now
            if is_plain_file(path):
                return path
            job = self._order(room, room.answered, room.job)
            job |= {"do": "file", "name": name, "out": str(path.relative_to(room.folder))}
            try:
                async with self._turn:
                    message = await self._do(room, job, asyncio.Event(), lambda *_: None)
            except (WorkerGoneError, _TooLongError, _StoppedError):
                raise InputError(_BROKE_DOWN) from None
        self._store.measure(room)
        if "failed" in message:
            raise InputError(self._clean(room, message["failed"]))
        if not is_plain_file(path):
            raise InputError(_BROKE_DOWN)
        return path

    async def _plan(
        self, room: Room, line: _Line, stop: asyncio.Event, number: int, first: str
    ) -> None:
        async with line.lock, self._turn:
            if number != room.job:
                return  # something newer is wanted
            room.set("working", "starting")
            job = self._order(room, room.settings, number)
            job |= {"do": "plan", "name": first, "out": room.directory(number).name}
            began = time.monotonic()

            def tell(words: str, share: float | None) -> None:
                if number == room.job:
                    room.set("working", plain(words, 300), share)

            try:
                message = await self._do(room, job, stop, tell)
            except _StoppedError:
                return
            except _TooLongError:
                message = {"failed": "it took longer than a trip may take: ask for less"}
            except WorkerGoneError:
                message = {"failed": _BROKE_DOWN}
            if number == room.job:
                room.took_s = time.monotonic() - began
                self._take_what_came(room, message, number)

    def _order(self, room: Room, settings: Any, number: int) -> dict[str, Any]:
        return {
            "job": number,
            "source": room.source,
            "names": room.names,
            "get": room.get,
            "now": room.now,
            "settings": settings.order(),
            "cpu_s": self._limit_s(room) * 2.0,
            "slot": room.slot,
            "nonce": room.nonce,
        }

    def _limit_s(self, room: Room) -> float:
        fetch_s = self._config.fetch_s if room.get else 0.0
        return self._config.plan_s + fetch_s

    async def _do(
        self, room: Room, job: dict[str, Any], stop: asyncio.Event, tell: Progress
    ) -> dict[str, Any]:
        """Have a worker do a job, but no longer than it may and is wanted."""
        worker = await self._worker_of(room)
        doing = asyncio.create_task(worker.do(job, tell))
        stopping = asyncio.create_task(stop.wait())
        try:
            limit_s = self._limit_s(room)
            await asyncio.wait(
                {doing, stopping}, timeout=limit_s, return_when=asyncio.FIRST_COMPLETED
            )
            stopped = stop.is_set()
            if not doing.done():
                await worker.cancel(job["job"])
                await asyncio.wait({doing}, timeout=_GRACE_S)
            if doing.done():
                message = doing.result()
                if stopped or "cancelled" in message:
                    raise _StoppedError if stopped else _TooLongError
                if message.get("broken"):
                    self._pool.end(worker)
                return message
            raise _StoppedError if stopped else _TooLongError
        except WorkerGoneError:
            self._pool.end(worker)
            raise
        finally:
            stopping.cancel()
            if not doing.done():
                doing.cancel()
                self._pool.end(worker)

    async def _worker_of(self, room: Room) -> Worker:
        """The worker of a trip: the one it has, or a new one in place of the longest unused."""
        if room.worker is None or room.worker.gone:
            if self._pool.warm_s is None:
                room.set("working", "warming up; the first time on a machine takes minutes")
            idle = [one.worker for one in self._store.rooms.values() if self._is_idle(one)]
            if len(self._pool.workers) >= self._config.warm_workers and idle:
                self._pool.end(min(filter(None, idle), key=lambda worker: worker.used))
            room.worker = await self._pool.new_worker(room.folder)
        return room.worker

    def _is_idle(self, room: Room) -> bool:
        """Whether a trip has a worker that does nothing: neither a plan nor a file."""
        line = self._lines.get(room.key)
        free = line is None or not line.lock.locked()
        return free and not room.busy and room.worker is not None and not room.worker.gone

    def _take_what_came(self, room: Room, message: dict[str, Any], number: int) -> None:
        """Take in how a job ended; a worker that says nonsense has broken down as well."""
        try:
            self._take(room, message, number)
        except (AttributeError, KeyError, TypeError, ValueError):
            if room.worker is not None:
                self._pool.end(room.worker)
            self._fail(room, _BROKE_DOWN)

    def _take(self, room: Room, message: dict[str, Any], number: int) -> None:
        """Take in how a job ended."""
        self._store.measure(room)
        if "failed" in message:
            self._fail(room, self._clean(room, message["failed"]))
        elif room.bytes > self._config.trip_bytes:
            self._fail(room, "the answer is larger than a trip may be")
        elif "choose" in message["done"]:
            room.choices = [str(name) for name in message["done"]["choose"]]
            room.set("choose")
        else:
            done = dict(message["done"])
            read: dict[str, Any] = {name: _texts(done.pop(name)) for name in ("limits", "ashore")}
            read["explicit"] = frozenset(map(str, done.pop("explicit")))
            room.settings = replace(room.settings, **read)
            room.answered, room.facts = room.settings, done
            before, room.answer = room.answer, number
            room.set("ready")
            _remove_older(room, before, number)

    def _fail(self, room: Room, words: str) -> None:
        room.error = words
        room.set("ready" if room.answer else "failed")

    def _clean(self, room: Room, message: object) -> str:
        """A message with the names that people know, and none of this machine's directories."""
        text = str(message)
        for root in _ROOTS:
            text = text.replace(root, "…")
        for kind, name in room.names.items():
            pattern = rf"(?<![\w.]){re.escape(FILES[kind].stored)}(?!\w)"
            text = re.sub(pattern, lambda _, name=name: plain(name, 100), text)  # type: ignore[misc]
        return plain(text, 600)


def _texts(table: Any) -> dict[str, str] | None:
    """A table of texts that a worker sent."""
    return None if table is None else {str(name): str(text) for name, text in table.items()}


def _remove_older(room: Room, before: int, number: int) -> None:
    """Keep the last two answers: another tab may just be reading the one before."""
    kept = {room.directory(before).name, room.directory(number).name}
    for folder in room.folder.glob("answer-*"):
        if folder.name not in kept:
            shutil.rmtree(folder, ignore_errors=True)
