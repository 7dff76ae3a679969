"""The process from which workers are forked: everything imported, compiled and read once.

A worker that comes from here starts in some hundredths of a second and shares the coastline and
the libraries with the others, so that each trip can have one of its own: what a hostile file
does to it, it does to that trip alone. Orders come over a socket, one JSON object to a line;
with an order to start a worker comes the socket that it is to talk through.

This process has one thread only, as forking asks for.
"""

from __future__ import annotations

import contextlib
import ctypes
import gc
import json
import os
import select
import signal
import socket
import sys
import time
from dataclasses import dataclass, field
from typing import Any

__all__ = ["main"]

_KILL_WITH_PARENT = 1  # PR_SET_PDEATHSIG of Linux's prctl(2)


@dataclass
class _Nursery:
    """The socket to the server, and the workers by their number."""

    control: socket.socket
    pids: dict[int, int] = field(default_factory=dict)
    buffer: bytes = b""
    fds: list[int] = field(default_factory=list)

    def tell(self, **message: Any) -> None:
        self.control.sendall(json.dumps(message).encode() + b"\n")

    def listen(self) -> bool:
        """Take what has come and do it; false when the server has gone."""
        data, fds, _, _ = socket.recv_fds(self.control, 65_536, 16)
        self.fds += fds
        if not data:
            return False
        *lines, self.buffer = (self.buffer + data).split(b"\n")
        for line in lines:
            order = json.loads(line)
            if "start" in order:
                self.start(int(order["start"]), self.fds.pop(0), order)
            elif order.get("kill") in self.pids:
                _kill(self.pids[order["kill"]])
        return True

    def start(self, number: int, channel: int, order: dict[str, Any]) -> None:
        pid = os.fork()
        if pid == 0:
            status = 1
            try:
                self.become_worker(channel, order)
                status = 0
            finally:
                os._exit(status)  # nothing of the nursery may run in the worker
        os.close(channel)
        self.pids[number] = pid
        self.tell(started=number)

    def become_worker(self, channel: int, order: dict[str, Any]) -> None:
        signal.set_wakeup_fd(-1)
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        self.control.close()
        for fd in self.fds:
            os.close(fd)
        os.setpgid(0, 0)  # with what it starts, it can be ended as one
        _die_with_parent()
        from routeplan._page.worker import run_worker

        run_worker(socket.socket(fileno=channel), order)

    def reap(self) -> None:
        """Tell of the workers that have ended."""
        for number, pid in list(self.pids.items()):
            done, status = os.waitpid(pid, os.WNOHANG)
            if done:
                del self.pids[number]
                _kill(pid)  # what it may have left behind in its group
                self.tell(ended=number, status=os.waitstatus_to_exitcode(status))


def main() -> None:
    """Warm up, then start and end workers until the server has gone."""
    control = socket.socket(fileno=int(sys.argv[1]))
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the server decides when to end
    os.umask(0o077)
    nursery = _Nursery(control)
    begun = time.perf_counter()
    with contextlib.suppress(BrokenPipeError, ConnectionResetError):
        from routeplan._page.worker import warm_up

        warm_up()
        gc.collect()
        gc.freeze()  # else the collector would write to pages that workers share
        woken, wake = os.pipe()
        os.set_blocking(wake, False)
        signal.signal(signal.SIGCHLD, lambda *_: None)
        signal.set_wakeup_fd(wake, warn_on_full_buffer=False)
        nursery.tell(ready=time.perf_counter() - begun)
        _serve(nursery, woken)
    for pid in nursery.pids.values():
        _kill(pid)


def _serve(nursery: _Nursery, woken: int) -> None:
    while True:
        sources: list[Any] = [nursery.control, woken]
        ready, _, _ = select.select(sources, [], [])
        if woken in ready:
            os.read(woken, 4_096)
            nursery.reap()
        if nursery.control in ready and not nursery.listen():
            return


def _kill(pid: int) -> None:
    """End a worker and all it has started. Its number is its own until it is waited for."""
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(pid, signal.SIGKILL)
    with contextlib.suppress(ProcessLookupError):
        os.kill(pid, signal.SIGKILL)


def _die_with_parent() -> None:
    """End with the nursery, where the system can; elsewhere the closed socket does it."""
    if sys.platform == "linux":
        with contextlib.suppress(OSError, AttributeError):
            ctypes.CDLL(None).prctl(_KILL_WITH_PARENT, signal.SIGKILL)
