"""A worker: takes orders for one trip over a socket, plans, writes files into its directory.

Lines of JSON both ways. To it: {"job": n, "do": "plan" or "file", …} and {"cancel": n}. From it:
{"job": n, "progress": [words, share]}, {"job": n, "done": {…}} or {"job": n, "failed": words}.
"""

from __future__ import annotations

import contextlib
import json
import os
import resource
import select
import socket
import sys
import tempfile
import threading
import traceback
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

from routeplan._show.wording import plain
from routeplan.errors import RouteplanError

__all__ = ["Cancelled", "run_worker", "warm_up"]

_LONGEST_LINE = 1_000_000
_MOST_WRITTEN = 700_000_000
_MOST_FILES = 256


class Cancelled(Exception):
    """The job is no longer wanted."""


class _ServerGoneError(Exception):
    """Nobody is there to be told."""


def warm_up() -> None:
    """Import everything, read the coastline and plan the demo, so that workers need not."""
    warnings.simplefilter("ignore")  # what matters is in the plan's notes
    from routeplan._page.work import Work

    work = Work(Path("/"))
    work.warm_up()


def run_worker(channel: socket.socket, order: dict[str, Any]) -> None:
    """Do jobs until the server closes the socket."""
    folder = Path(order["folder"])
    os.chdir(folder)
    tempfile.tempdir = str(folder)  # what is left there goes with the trip
    _limit(int(order["memory_bytes"]))
    from routeplan._page.work import Work

    line = _Line(channel)
    work = Work(folder)
    with contextlib.suppress(_ServerGoneError):
        while (job := line.next_order()) is not None:
            _allow_cpu(float(job["cpu_s"]))
            _do(work, line, job)


def _do(work: Any, line: _Line, job: dict[str, Any]) -> None:
    number = job["job"]
    line.begin(number)
    try:
        done = work.do(job, line.progress)
    except Cancelled:
        line.tell(job=number, cancelled=True)
    except RouteplanError as error:
        line.tell(job=number, failed=str(error))
    except MemoryError:
        words = "this needs more memory than a trip may use: ask for less"
        line.tell(job=number, failed=words, broken=True)
    except _ServerGoneError:
        raise
    except Exception as error:
        # The place is for whoever runs the server, the kind for whoever looks at the page.
        for text in traceback.format_exc().splitlines():  # with words of the file in it
            sys.stderr.write(f"{'  ' if text.startswith(' ') else ''}{plain(text)}\n")
        words = f"this is a bug in routeplan: {type(error).__name__}"
        line.tell(job=number, failed=words, broken=True)
    else:
        line.tell(job=number, done=done)


class _Line:
    """The socket to the server, with what is under way."""

    def __init__(self, channel: socket.socket) -> None:
        self._channel = channel
        self._buffer = b""
        self._job = -1
        self._lock = threading.Lock()
        self._main = threading.get_ident()

    def next_order(self) -> dict[str, Any] | None:
        """The next order, cancelled ones of the past apart; None when the server has gone."""
        while True:
            line = self._read_line()
            if line is None:
                return None
            order: dict[str, Any] = json.loads(line)
            if "do" in order:
                return order

    def begin(self, number: int) -> None:
        self._job = number

    def progress(self, words: str, share: float | None) -> None:
        """Tell how far it is; end the job if it was cancelled."""
        self.tell(job=self._job, progress=[words, share])
        if threading.get_ident() == self._main and self._is_cancelled():
            raise Cancelled

    def tell(self, **message: Any) -> None:
        content = json.dumps(message).encode() + b"\n"
        with self._lock:
            try:
                self._channel.sendall(content)
            except OSError:
                raise _ServerGoneError from None

    def _is_cancelled(self) -> bool:
        while select.select([self._channel], [], [], 0)[0]:
            line = self._read_line()
            if line is None or json.loads(line).get("cancel") == self._job:
                return True
        return False

    def _read_line(self) -> bytes | None:
        while b"\n" not in self._buffer:
            data = self._channel.recv(65_536)
            if not data or len(self._buffer) > _LONGEST_LINE:
                return None
            self._buffer += data
        line, _, self._buffer = self._buffer.partition(b"\n")
        return line


Progress = Callable[[str, float | None], None]


def _limit(memory_bytes: int) -> None:
    """Limit this process and what it starts."""
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_FSIZE, (_MOST_WRITTEN, _MOST_WRITTEN))
    resource.setrlimit(resource.RLIMIT_NOFILE, (_MOST_FILES, _MOST_FILES))
    with contextlib.suppress(ValueError, OSError):  # not everywhere can it be limited
        resource.setrlimit(resource.RLIMIT_AS, (memory_bytes, memory_bytes))


def _allow_cpu(seconds: float) -> None:
    """Limit the processor time of the next job; past the limit the system ends the process."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    soft = int(used.ru_utime + used.ru_stime + seconds) + 1
    resource.setrlimit(resource.RLIMIT_CPU, (soft, resource.getrlimit(resource.RLIMIT_CPU)[1]))
