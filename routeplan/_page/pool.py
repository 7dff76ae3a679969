"""The server's side of nursery and workers: start them, talk to them, end them."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

__all__ = ["Pool", "Worker", "WorkerGoneError"]

_PACKAGE_ROOT = str(Path(__file__).resolve().parents[2])
_CODE = (
    f"import sys; sys.path.append({_PACKAGE_ROOT!r}); "
    "from routeplan._page.nursery import main; main()"
)
_LONGEST_LINE = 1_000_000
_START_S = 300.0  # the first time on a machine the coastline's index is built
_SOON_S = 0.5  # what a worker gets to stop by itself
# One thread each: workers share the cores, and forking asks for it.
_ENVIRONMENT = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}

Progress = Callable[[str, float | None], None]


class WorkerGoneError(Exception):
    """A worker ended in the middle of its job: it crashed, or was stopped."""


@dataclass(eq=False)
class Worker:
    """One worker, for one trip."""

    number: int
    reader: asyncio.StreamReader
    writer: asyncio.StreamWriter
    gone: bool = False
    used: float = field(default_factory=time.monotonic)

    async def do(self, job: dict[str, Any], progress: Progress) -> dict[str, Any]:
        """Do a job and give the last message.

        Raises
        ------
        WorkerGoneError
            If the worker ends before it has answered, or says what cannot be read.
        """
        self.used = time.monotonic()
        try:
            self.writer.write(json.dumps(job).encode() + b"\n")
            await self.writer.drain()
            while True:
                message = json.loads(await self.reader.readuntil(b"\n"))
                if message["job"] != job["job"]:
                    continue  # the end of a job that was given up
                if "progress" not in message:
                    return dict(message)
                words, share = message["progress"]
                progress(str(words)[:600], None if share is None else float(share))
        except (
            OSError, EOFError, ValueError, TypeError, KeyError, RecursionError,
            asyncio.LimitOverrunError,
        ) as error:  # fmt: skip
            self.gone = True
            raise WorkerGoneError from error

    async def cancel(self, job: int) -> None:
        """Ask it to stop; the caller goes on waiting for the answer."""
        with contextlib.suppress(OSError):
            self.writer.write(json.dumps({"cancel": job}).encode() + b"\n")
            await self.writer.drain()


class Pool:
    """Starts the nursery at once and again if it ends, and workers when they are asked for."""

    def __init__(self, memory_bytes: int) -> None:
        self.workers: dict[int, Worker] = {}
        self.warm_s: float | None = None
        self._memory_bytes = memory_bytes
        self._count = 0
        self._process: subprocess.Popen[bytes] | None = None
        self._control: socket.socket | None = None
        self._ready = asyncio.Event()
        self._watching: asyncio.Task[None] | None = None

    def start(self) -> None:
        """Start the nursery; it warms up while the caller goes on."""
        ours, theirs = socket.socketpair()
        with theirs:
            self._process = subprocess.Popen(
                [sys.executable, "-P", "-c", _CODE, str(theirs.fileno())],
                pass_fds=[theirs.fileno()],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                env={**os.environ, **_ENVIRONMENT},
                start_new_session=True,  # an interrupt from the terminal is for the server
            )
        ours.setblocking(False)
        self._control = ours
        self._watching = asyncio.create_task(self._watch(ours))

    async def ready(self) -> None:
        """Wait until workers can be started.

        Raises
        ------
        WorkerGoneError
            If that takes too long.
        """
        try:
            async with asyncio.timeout(_START_S):
                await self._ready.wait()
        except TimeoutError:
            raise WorkerGoneError from None

    async def new_worker(self, folder: Path) -> Worker:
        """Start a worker in a directory."""
        await self.ready()
        assert self._control is not None
        self._count += 1
        number = self._count  # others may be started before this one has its streams
        order = {
            "start": number, "folder": str(folder), "memory_bytes": self._memory_bytes
        }  # fmt: skip
        ours, theirs = socket.socketpair()
        with theirs:
            try:
                line = json.dumps(order).encode() + b"\n"
                socket.send_fds(self._control, [line], [theirs.fileno()])
            except OSError as error:
                ours.close()
                raise WorkerGoneError from error
        reader, writer = await asyncio.open_connection(sock=ours, limit=_LONGEST_LINE)
        worker = Worker(number, reader, writer)
        self.workers[worker.number] = worker
        return worker

    def end(self, worker: Worker) -> None:
        """End a worker, whatever it is doing, with all that it has started."""
        worker.gone = True
        self.workers.pop(worker.number, None)
        worker.writer.close()
        if self._control is not None:
            with contextlib.suppress(OSError):
                self._control.send(json.dumps({"kill": worker.number}).encode() + b"\n")

    def stop(self) -> None:
        """End everything."""
        if self._watching is not None:
            self._watching.cancel()
        for worker in list(self.workers.values()):
            self.end(worker)
        self._close()

    def memory_bytes(self) -> dict[str, int]:
        """Memory of nursery and workers, each shared page counted once, where Linux tells."""
        if self._process is None:
            return {}
        return {"nursery": _proportional_bytes(self._process.pid)}

    def _close(self) -> None:
        if self._control is not None:
            self._control.close()  # the nursery ends its workers and itself
        if self._process is not None:
            try:
                self._process.wait(_SOON_S)
            except subprocess.TimeoutExpired:
                self._process.kill()
                self._process.wait()
        self._control = self._process = None

    async def _watch(self, control: socket.socket) -> None:
        """Take in what the nursery says; start another when it has ended."""
        loop, buffer = asyncio.get_running_loop(), b""
        with contextlib.suppress(OSError):
            while data := await loop.sock_recv(control, 65_536):
                *lines, buffer = (buffer + data).split(b"\n")
                for line in lines:
                    self._hear(json.loads(line))
        for worker in list(self.workers.values()):
            self.end(worker)
        was_ready = self._ready.is_set()
        self._ready.clear()
        self._close()
        if not was_ready:
            await asyncio.sleep(5.0)  # it cannot even start: not again and again at once
        self.start()

    def _hear(self, message: dict[str, Any]) -> None:
        if "ready" in message:
            self.warm_s = float(message["ready"])
            self._ready.set()
        elif "ended" in message and message["ended"] in self.workers:
            self.end(self.workers[message["ended"]])


def _proportional_bytes(pid: int) -> int:
    for line in Path(f"/proc/{pid}/smaps_rollup").read_text("ascii").splitlines():
        if line.startswith("Pss:"):
            return int(line.split()[1]) * 1024
    return 0
