"""The local page as a process of its own, as `routeplan page` starts it."""

import os
import signal
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

ENDING_S = 20.0


@contextmanager
def served(folder):
    """Start the page on a free port, give its address; in the end it must leave nothing behind."""
    words = folder / "words.txt"
    with words.open("w") as errors:
        process = subprocess.Popen(
            [sys.executable, "-m", "routeplan", "page", "--port", "0"],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=errors,
            text=True,
            env={**os.environ, "TMPDIR": str(folder)},
        )
    started = []
    try:
        address = process.stdout.readline().strip()
        assert address.startswith("http://127.0.0.1:"), words.read_text()
        yield address
        started = descendants(process.pid)
        assert len(started) >= 2
    finally:
        process.send_signal(signal.SIGINT)
        process.stdout.close()
        try:
            process.wait(ENDING_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
            raise
    assert process.returncode == 0
    said = words.read_text()
    assert "Traceback" not in said, said
    until = time.monotonic() + ENDING_S
    while (running := [pid for pid in started if is_running(pid)]) and time.monotonic() < until:
        time.sleep(0.05)
    assert not running, f"processes left running: {running}"
    left = [str(it.relative_to(folder)) for it in folder.rglob("*") if it != words]
    assert not left, f"files left behind: {left[:10]}"


def descendants(pid):
    """Processes that a process has started, and those that they have."""
    children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    return [int(it) for it in children] + [it for one in children for it in descendants(one)]


def is_running(pid):
    """Whether a process is there that has not ended."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False
