"""The figures of docs/validation/downloads.md: many faults, kills and pairs of processes.

Run from the root of the checkout: ``python tests/figures_downloads.py``. It takes some minutes
and writes a table in Markdown to standard output; the seed is fixed, the moments of the kills are
not.
"""

import contextlib
import hashlib
import os
import random
import signal
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

import test_download as single
import test_providers as services
from _gribservers import GribFilter, OpenData
from _servers import Fault, FaultyServer, Resource

from routeplan.errors import DownloadError
from routeplan.providers import get_forecast

RNG = random.Random(20261125)
BOX = (-10.0, 50.0, 0.0, 60.0)


def row(*cells):
    sys.stdout.write("| " + " | ".join(str(c) for c in cells) + " |\n")
    sys.stdout.flush()


def table(title, *heads):
    sys.stdout.write(f"\n{title}\n\n")
    row(*heads)
    row(*("---" for _ in heads))


def whole_or_nothing(root, name, content):
    """Return whether the file is whole; fail if there is anything wrong under its name."""
    path = root / name
    assert not list(root.rglob("*.tmp"))
    assert not list(root.rglob("*.lock"))
    if not path.exists():
        return False
    assert path.read_bytes() == content
    return True


def moved(fault, size):
    """Put a fault at a random place of a file."""
    if fault.at and fault.kind in ("cut", "reset", "chunked", "no-length"):
        return Fault(fault.kind, at=RNG.randrange(1, size))
    return fault


def one_fault_each(times=20):
    table(
        f"One fault in a download, {times} downloads each, files of 50 to 600 kB:",
        "fault", "injected", "survived", "reported", "bytes of the files", "fetched again", "share",
    )  # fmt: skip
    totals = [0] * 5
    for words, fault in single.PASSING.items():
        count = 4 if fault.kind in ("drip", "stall") else times
        survived = sizes = again = 0
        for i in range(count):
            content = single.grib_like(RNG.randrange(50_000, 600_000), seed=i)
            with (
                tempfile.TemporaryDirectory() as root,
                FaultyServer({"/f": Resource(content, etag=f'"{i}"')}) as server,
                single.quick(root) as fetcher,
            ):
                server.faults = [moved(fault, len(content))]
                with contextlib.suppress(DownloadError):
                    fetcher.get(server.url + "/f", name="x", expect="grib")
                survived += whole_or_nothing(Path(root), "x", content)
                sizes += len(content)
                again += max(0, fetcher.stats.bytes_received - len(content))
        row(words, count, survived, count - survived, sizes, again, f"{again / sizes:.1%}")
        for k, n in enumerate((count, survived, count - survived, sizes, again)):
            totals[k] += n
    row("**all**", *totals, f"{totals[4] / totals[3]:.1%}")


def faults_that_stay():
    table("The same fault on every answer:", "fault", "outcome")
    for words, fault in single.PASSING.items():
        with (
            tempfile.TemporaryDirectory() as root,
            FaultyServer({"/f": Resource(single.CONTENT, etag='"v"')}) as server,
            single.quick(root, retries=2, deadline_s=3.0) as fetcher,
        ):
            server.faults = [fault] * 60
            try:
                fetcher.get(server.url + "/f", name="x", expect="grib")
                said = f"whole after {fetcher.stats.requests} requests"
            except DownloadError as error:
                said = f"`{error}` ({fetcher.stats.requests} requests)"
                assert "\n" not in said
            whole_or_nothing(Path(root), "x", single.CONTENT)
        row(words, said)


def mixture(times=400):
    faults = [f for f in single.PASSING.values() if f.kind not in ("drip", "stall")]
    injected = survived = again = sizes = 0
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        for i in range(times):
            content = single.grib_like(RNG.randrange(50_000, 600_000), seed=i)
            with (
                FaultyServer({"/f": Resource(content, etag=f'"{i}"')}) as server,
                single.quick(root) as fetcher,
            ):
                planned = [moved(RNG.choice(faults), len(content)) for _ in range(RNG.randrange(7))]
                server.faults = list(planned)
                with contextlib.suppress(DownloadError):
                    fetcher.get(server.url + "/f", name=f"x{i}", expect="grib")
                injected += len(planned) - len(server.faults)
                survived += whole_or_nothing(root, f"x{i}", content)
                sizes += len(content)
                again += max(0, fetcher.stats.bytes_received - len(content))
    table("Up to six random faults in a download:", "what", "figure")
    row("downloads", times)
    row("faults injected", injected)
    row("whole in the end", survived)
    row("reported in one line, nothing left under the file's name", times - survived)
    row("bytes of the files", sizes)
    row("fetched again", f"{again} ({again / sizes:.1%})")


def kills(times=60):
    content = single.grib_like(3_000_000)
    lost = again = done = runs = 0
    with FaultyServer({"/f": Resource(content, etag='"v"')}, pause_s=0.004) as server:
        while done < times:
            with tempfile.TemporaryDirectory() as folder:
                root, part = Path(folder), Path(folder) / "x.part"
                first = len(server.requests)
                for _ in range(RNG.randrange(1, 5)):
                    if _kill_one(server, root, part, len(content)):
                        done += 1
                kept = part.stat().st_size if part.exists() else 0
                with single.quick(root, deadline_s=60.0, timeout_s=(5.0, 5.0)) as fetcher:
                    fetcher.get(server.url + "/f", name="x", expect="grib")
                    lost += fetcher.stats.bytes_received - (len(content) - kept)
                assert whole_or_nothing(root, "x", content)
                again += sum(r.sent for r in server.requests[first:]) - len(content)
                runs += 1
    table("kill -9 at a random moment of a download of 3 MB, then on from there:", "what", "figure")
    row("downloads", runs)
    row("kills", done)
    row("whole in the end", runs)
    row("bytes on disk that were fetched again", lost)
    row("bytes under way in sockets when the process ended, sent again", f"{again}")
    row("share of all bytes", f"{again / (runs * len(content)):.2%}")


def _kill_one(server, root, part, size):
    process = single.child(server, root)
    goal = RNG.uniform(0.0, 0.9) * size
    while process.poll() is None and not (part.exists() and part.stat().st_size >= goal):
        time.sleep(0.001)
    if process.poll() is not None:
        process.communicate()
        return False
    time.sleep(RNG.uniform(0, 0.05))
    os.kill(process.pid, signal.SIGKILL)
    process.communicate()
    return process.returncode == -signal.SIGKILL


def pairs(times=15):
    requests = 0
    for i in range(times):
        content = single.grib_like(400_000, seed=i)
        with (
            tempfile.TemporaryDirectory() as folder,
            FaultyServer({"/f": Resource(content, etag='"v"')}, pause_s=0.01) as server,
        ):
            both = [single.child(server, folder) for _ in range(2)]
            for process in both:
                process.communicate(timeout=120)
            assert [p.returncode for p in both] == [0, 0]
            assert whole_or_nothing(Path(folder), "x", content)
            requests += len(server.requests)
    table("Two processes at once, one file:", "what", "figure")
    row("pairs", times)
    row("processes that ended well, with the same whole file", 2 * times)
    row("requests that the server saw", requests)


def forecasts(times=12):
    table(
        "Whole forecasts (9 hours), each answer broken with a chance of one in five:",
        "service", "forecasts", "faults injected", "the same file as without faults", "reported",
        "bytes needed", "fetched again",
    )  # fmt: skip
    for provider in ("gfs", "ecmwf"):
        service = GribFilter(services.RUN) if provider == "gfs" else _open_data()
        kinds = [f for f in services.FAULTS.values() if f.kind not in ("stall",)]
        good, needed = _forecast(provider, service, [])
        injected = same = again = reported = 0
        for _ in range(times):
            chances = [RNG.choice(kinds) if RNG.random() < 0.2 else None for _ in range(400)]
            try:
                digest, received = _forecast(provider, service, chances)
                assert digest == good
                same += 1
                again += max(0, received - needed)
            except DownloadError:
                reported += 1
            injected += INJECTED[-1]
        row(provider, times, injected, same, reported, needed * times, again)


INJECTED = []


def _open_data():
    service = OpenData(services.RUN, spacing=2.0)
    for step in range(6, 18, 3):
        service.file(services.RUN, step, "oper")
        service.file(services.RUN, step, "wave")
    return service


class _Chances(list):
    """Faults by chance: popping may give none."""

    def pop(self, _at):
        fault = super().pop(0)
        INJECTED[-1] += fault is not None
        return fault


def _forecast(provider, service, chances):
    INJECTED.append(0)
    now = services.NOW
    with (
        tempfile.TemporaryDirectory() as root,
        FaultyServer(find=service, faults=_Chances(chances)) as server,
        single.quick(root, timeout_s=(5.0, 3.0), deadline_s=60.0) as fetcher,
    ):
        got = get_forecast(
            provider, bounds=BOX, start=now, now=now, end=now + np.timedelta64(9, "h"),
            base_url=server.url, fetcher=fetcher,
        )  # fmt: skip
        assert services.whole(Path(root)) == list(got.paths)
        assert got.missing == {}
        digest = str(got.run) + hashlib.sha256(got.paths[0].read_bytes()).hexdigest()
        return digest, got.bytes_received


def killed_forecasts(times=6):
    table(
        "kill -9 at random moments of a whole forecast, then on from there:",
        "service", "forecasts", "kills", "whole in the end", "files asked for",
        "asked for again",
    )  # fmt: skip
    for provider in ("gfs", "ecmwf"):
        service = GribFilter(services.RUN) if provider == "gfs" else _open_data()
        kills = asked = again = 0
        for _ in range(times):
            with (
                tempfile.TemporaryDirectory() as root,
                FaultyServer(find=service, chunk=8192, pause_s=0.01) as server,
            ):
                for _ in range(3):
                    kills += _kill_forecast(provider, server, root)
                process = services.child(provider, server, root)
                out, err = process.communicate(timeout=120)
                assert process.returncode == 0, err
                assert len(services.whole(Path(root))) == 1, out
                seen = [services._what(r) for r in server.requests]
                asked += len(set(seen))
                again += len(seen) - len(set(seen))
        row(provider, times, kills, times, asked, again)


def _kill_forecast(provider, server, root):
    before = len(server.requests)
    process = services.child(provider, server, root)
    goal = before + RNG.randrange(1, 12)
    while process.poll() is None and len(server.requests) < goal:
        time.sleep(0.001)
    time.sleep(RNG.uniform(0, 0.03))
    with contextlib.suppress(ProcessLookupError):
        os.kill(process.pid, signal.SIGKILL)
    process.communicate()
    return process.returncode == -signal.SIGKILL


if __name__ == "__main__":
    os.environ["NO_PROXY"] = "127.0.0.1"
    one_fault_each()
    faults_that_stay()
    mixture()
    kills()
    pairs()
    forecasts()
    killed_forecasts()
