"""What a worker of the page could do that a hostile file has taken over: to the server, to others.

It writes the files of its trip and the lines that the server reads. Only its own trip may suffer.
"""

import asyncio
import contextlib
import json
import os
import socket
import time

import pytest

from routeplan._page import store as page_store
from routeplan._page.config import PageConfig
from routeplan._page.form import Settings
from routeplan._page.jobs import Desk, _Line
from routeplan._page.pool import Worker
from routeplan._page.store import Store
from routeplan._page.views import read_text, state_of
from routeplan._page.worker import _do, _ServerGoneError
from routeplan._page.worker import _Line as _WorkerLine
from routeplan.errors import InputError


@pytest.fixture(autouse=True)
def _own_place(tmp_path, monkeypatch):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))


class _Pool:
    """In the place of the real one: workers that answer each order with lines of the test's."""

    def __init__(self, *lines):
        self.workers, self.warm_s, self.lines = {}, 1.0, lines
        self.playing, self.writers = set(), []

    async def new_worker(self, folder):
        assert folder.is_dir()
        ours, theirs = socket.socketpair()
        reader, writer = await asyncio.open_connection(sock=ours, limit=1_000_000)
        worker = Worker(len(self.writers) + 1, reader, writer)
        self.workers[worker.number] = worker
        self.writers.append(writer)
        self.playing.add(asyncio.create_task(self._play(theirs)))
        return worker

    async def _play(self, channel):
        channel.setblocking(False)
        loop = asyncio.get_running_loop()
        with channel:
            while order := await loop.sock_recv(channel, 65_536):
                number = json.loads(order.split(b"\n")[0])["job"]
                for line in self.lines:
                    content = line if isinstance(line, bytes) else json.dumps(line).encode()
                    content = content.replace(b'"JOB"', str(number).encode()) + b"\n"
                    await loop.sock_sendall(channel, content)

    def end(self, worker):
        worker.gone = True
        self.workers.pop(worker.number, None)
        worker.writer.close()

    async def close(self):
        for writer in self.writers:
            writer.transport.abort()  # what a test left unread is not waited for
        await asyncio.gather(*self.playing, return_exceptions=True)
        for writer in self.writers:
            with contextlib.suppress(OSError):
                await writer.wait_closed()
        await asyncio.sleep(0)  # the loop closes the sockets in its next round


def _planned(*lines, kept=200, opened=1):
    """Plan trips one after another; the last, and what was left of workers and lines."""

    async def plan():
        store = Store(PageConfig(plan_s=2.0, trips=kept))
        pool = _Pool(*lines)
        desk = Desk(store.config, pool, store)
        for _ in range(opened):
            room = store.new_room()
            room.source = "demo"
            desk.begin(room)
            end = time.monotonic() + 6.0
            while room.busy and time.monotonic() < end:
                await asyncio.sleep(0.01)
        left = len(pool.workers), len(desk._lines)
        await pool.close()
        store.close()
        return room, left

    return asyncio.run(plan())


@pytest.mark.parametrize(
    "line",
    [
        b"x",
        b"[1]",
        b"[" * 500_000,
        {},
        {"job": "JOB"},
        {"job": "JOB", "progress": 5},
        {"job": "JOB", "done": None},
        {"job": "JOB", "done": "x"},
        {"job": "JOB", "done": {}},
        {"job": "JOB", "done": {"choose": 5}},
        {"job": "JOB", "done": {"limits": 5, "ashore": None, "explicit": []}},
        {"job": "JOB", "done": {"limits": {}, "ashore": {}, "explicit": 5}},
    ],
)
def test_lines_that_are_nonsense(line):
    room, _ = _planned(line)
    assert room.state == "failed"
    assert "broke down" in room.error


def test_a_trip_that_makes_way_takes_its_worker_with_it(monkeypatch):
    monkeypatch.setattr(page_store, "_BUSY_S", 0.0)
    _, left = _planned({"job": "JOB", "failed": "x"}, kept=2, opened=5)
    assert left == (2, 2)


def _link(path, secret):
    path.symlink_to(secret)


def _linked_directory(path, secret):
    path.parent.rmdir()
    (secret.parent / path.name).write_text("secret")
    path.parent.symlink_to(secret.parent)


@pytest.mark.parametrize(
    "put",
    [
        _link,
        _linked_directory,
        lambda path, _: path.symlink_to("/dev/zero"),
        lambda path, _: os.mkfifo(path),
        lambda path, _: path.mkdir(),
        lambda *_: None,
    ],
)
def test_files_that_are_none_are_not_read(tmp_path, put):
    secret = tmp_path / "elsewhere" / "secret.txt"
    secret.parent.mkdir()
    secret.write_text("secret")
    store = Store(PageConfig())
    room = store.new_room()
    room.answer, room.answered = 1, Settings()
    room.directory(1).mkdir()
    path = room.directory(1) / "plan.json"
    put(path, secret)
    with pytest.raises(InputError, match=r"plan\.json is not there or cannot be read"):
        read_text(path)

    async def ask(*lines):
        pool = _Pool(*lines)
        desk = Desk(store.config, pool, store)
        desk._lines[room.key] = _Line()
        try:
            return await desk.file(room, "plan.json")
        finally:
            await pool.close()

    with pytest.raises(InputError, match="broke down"):  # its worker says that it is there
        asyncio.run(ask({"job": "JOB", "done": {"bytes": 1}}))
    store.close()
    assert secret.read_text() == "secret"


def test_a_file_of_a_removed_trip():
    async def ask():
        store = Store(PageConfig())
        room = store.new_room()
        room.answer, room.answered = 1, Settings()
        desk = Desk(store.config, _Pool(), store)
        desk.forget(room)
        await desk.file(room, "plan.json")

    with pytest.raises(InputError, match="there is no such file"):
        asyncio.run(ask())


@pytest.mark.parametrize(
    "text",
    [
        "",
        "5",
        "[5]",
        "{}",
        '{"a": 1}',
        "[" * 100_000,
        '[{"stage": 1}]',
        '[{"stage":1,"words":"","proposed":"","picked":0,"chosen":"","launches":[["a"]]}]',
        '[{"stage":1,"words":"","proposed":"","picked":0,"chosen":"","launches":7}]',
        json.dumps(["x" * 5_000_000]),
    ],
)
def test_lists_of_launches_that_are_none(text):
    store = Store(PageConfig())
    room = store.new_room()
    room.answer = 1
    room.set("ready")
    room.directory(1).mkdir()
    (room.directory(1) / "launches.json").write_text(text)
    assert "<option" not in state_of(room, "token")["launches"]
    store.close()


def test_directories_inside_one_another_without_end():
    store = Store(PageConfig())
    room = store.new_room()
    inner = os.open(room.folder, os.O_RDONLY)
    for _ in range(1_500):
        os.mkdir("d", dir_fd=inner)
        outer, inner = inner, os.open("d", os.O_RDONLY, dir_fd=inner)
        os.close(outer)
    os.close(inner)
    store.measure(room)
    assert room.bytes > 0
    store.remove(room)
    assert room.key not in store.rooms
    assert not room.folder.exists()
    store.close()


def test_words_of_a_bug_do_not_steer_the_terminal(capsys):
    class Work:
        def do(self, *_):
            msg = "\x1b[2J\x1b]0;x\x07 of a file"
            raise ValueError(msg)

    ours, theirs = socket.socketpair()
    with ours, theirs:
        _do(Work(), _WorkerLine(theirs), {"job": 1})
        assert b"this is a bug" in ours.recv(1_000)
    said = capsys.readouterr().err
    assert "of a file" in said
    assert "\x1b" not in said
    assert "\x07" not in said


def test_a_worker_whose_server_has_gone_ends_without_a_word(capsys):
    class Work:
        def do(self, _, progress):
            progress("on its way", 0.5)

    ours, theirs = socket.socketpair()
    ours.close()
    with theirs, pytest.raises(_ServerGoneError):
        _do(Work(), _WorkerLine(theirs), {"job": 1})
    assert capsys.readouterr().err == ""
