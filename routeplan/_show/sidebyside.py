"""Making several files at once: a second process takes every other one.

The second process is a copy of this one, so that a plan need not be sent to it. It is made only
where that is safe: on Linux, with a processor to spare and no other thread at work. Whatever it
does not deliver is made here.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
import warnings
from collections.abc import Callable, Sequence
from typing import TypeVar

__all__ = ["side_by_side"]

_LENGTH = 8  # bytes that tell how long a piece is
_MOST = 250  # tasks: a number is one byte

T = TypeVar("T")


def side_by_side(
    tasks: Sequence[Callable[[], bytes]], first: Callable[[], T]
) -> tuple[T, list[bytes]]:
    """Do all tasks, shared with another process; and before them here what only we can do.

    Parameters
    ----------
    tasks : sequence of callables
        The long ones first. They must not depend on what another one leaves in memory.
    first : callable
        Done in this process.

    Returns
    -------
    tuple
        What `first` gives, and what each task gives, in order.
    """
    if not _may_split() or not 1 < len(tasks) <= _MOST:
        return first(), [task() for task in tasks]
    claims, numbers = os.pipe()
    os.write(numbers, bytes(range(len(tasks))))
    os.close(numbers)
    try:
        helper = _Helper(tasks, claims)
    except OSError:  # no process to be had
        os.close(claims)
        return first(), [task() for task in tasks]
    try:
        told = first()
        made = _claimed(tasks, claims)
        made.update(helper.made())
    finally:
        os.close(claims)
        helper.end()
    return told, [made[i] if i in made else task() for i, task in enumerate(tasks)]


def _may_split() -> bool:
    if sys.platform != "linux" or threading.active_count() > 1:
        return False
    return len(os.sched_getaffinity(0)) > 1


def _claimed(tasks: Sequence[Callable[[], bytes]], claims: int) -> dict[int, bytes]:
    """Do tasks as long as there are any that nobody has taken."""
    made = {}
    while number := os.read(claims, 1):
        made[number[0]] = tasks[number[0]]()
    return made


class _Helper:
    """A copy of this process that does tasks and sends what it made through a pipe."""

    def __init__(self, tasks: Sequence[Callable[[], bytes]], claims: int) -> None:
        back, forth = os.pipe()
        try:
            with warnings.catch_warnings():
                # Python warns of threads of libraries too; those of the numerical ones survive
                warnings.simplefilter("ignore", DeprecationWarning)
                self._pid = os.fork()
        except OSError:
            os.close(back)
            os.close(forth)
            raise
        if self._pid == 0:
            os.close(back)
            _help(tasks, claims, forth)
        os.close(forth)
        self._back = back

    def made(self) -> dict[int, bytes]:
        """Wait for what it made; the rest is missing if it failed."""
        made = {}
        with os.fdopen(os.dup(self._back), "rb") as stream:
            while len(head := stream.read(_LENGTH)) == _LENGTH:
                number, length = head[0], int.from_bytes(head[1:], "little")
                piece = stream.read(length)
                if len(piece) == length:
                    made[number] = piece
        return made

    def end(self) -> None:
        """Let it end, at once if it is still at work."""
        os.close(self._back)
        with contextlib.suppress(ProcessLookupError):
            os.kill(self._pid, signal.SIGKILL)
        os.waitpid(self._pid, 0)


def _help(tasks: Sequence[Callable[[], bytes]], claims: int, forth: int) -> None:
    """What the copy does; it never returns into the program that it is a copy of."""
    status = 1
    try:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
        with os.fdopen(forth, "wb") as stream:
            while number := os.read(claims, 1):
                piece = tasks[number[0]]()  # a task that fails is done again, and told of, there
                stream.write(number + len(piece).to_bytes(_LENGTH - 1, "little") + piece)
                stream.flush()
        status = 0
    finally:
        os._exit(status)
