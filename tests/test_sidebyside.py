"""Files made at once in two processes."""

import os
import sys
import threading
import time

import pytest

from routeplan._show import sidebyside
from routeplan._show.sidebyside import side_by_side


def slow(word):
    def task():
        time.sleep(0.2)
        return f"{word} by {os.getpid()}".encode()

    return task


def one():
    return 1


def makers(made):
    return {piece.split()[-1] for piece in made}


@pytest.fixture
def alone(monkeypatch):
    """As if no thread of another test were still at work."""
    monkeypatch.setattr(sidebyside.threading, "active_count", lambda: 1)


two_processors = pytest.mark.skipif(
    sys.platform != "linux" or len(os.sched_getaffinity(0)) < 2,
    reason="needs a copy of the process, and two processors",
)


@two_processors
@pytest.mark.usefixtures("alone")
def test_two_processes_share_the_work_and_keep_its_order():
    told, made = side_by_side([slow(word) for word in "abcd"], one)
    assert told == 1
    assert [piece.split()[0] for piece in made] == [b"a", b"b", b"c", b"d"]
    assert len(makers(made)) == 2
    with pytest.raises(ChildProcessError):
        os.waitpid(-1, os.WNOHANG)


@two_processors
@pytest.mark.usefixtures("alone")
def test_what_the_other_process_does_not_deliver_is_made_here():
    here = os.getpid()

    def dies():
        if os.getpid() != here:
            os._exit(9)
        return b"made here"

    def waits():
        time.sleep(0.5)
        return b"waited"

    _, made = side_by_side([dies, dies, dies], waits)
    assert made == [b"made here"] * 3


def test_an_error_is_told_as_if_there_were_one_process():
    def fails():
        msg = "cannot be drawn"
        raise ValueError(msg)

    with pytest.raises(ValueError, match="cannot be drawn"):
        side_by_side([fails, slow("a"), slow("b")], lambda: time.sleep(0.3))


@two_processors
@pytest.mark.usefixtures("alone")
def test_an_interrupt_leaves_no_process_behind():
    def interrupted():
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        side_by_side([slow("a"), slow("b")], interrupted)
    with pytest.raises(ChildProcessError):
        os.waitpid(-1, os.WNOHANG)


def test_a_process_with_threads_is_not_copied():
    stop = threading.Event()
    thread = threading.Thread(target=stop.wait)
    thread.start()
    try:
        _, made = side_by_side([slow("a"), slow("b")], one)
    finally:
        stop.set()
        thread.join()
    assert makers(made) == {str(os.getpid()).encode()}


@pytest.mark.usefixtures("alone")
def test_without_a_process_to_be_had_all_is_made_here(monkeypatch):
    def refused():
        raise OSError

    monkeypatch.setattr(sidebyside.os, "fork", refused, raising=False)
    told, made = side_by_side([slow("a"), slow("b")], one)
    assert told == 1
    assert makers(made) == {str(os.getpid()).encode()}


def test_nothing_to_share():
    assert side_by_side([], one) == (1, [])
    assert side_by_side([lambda: b"x"], one) == (1, [b"x"])
