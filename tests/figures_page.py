"""Times and memory of the local page on this machine: python tests/figures_page.py.

Printed are the best of several tries, in seconds, and memory with shared pages counted once
(Linux). Run it while nothing else runs.
"""

import sys
import tempfile
import time
from pathlib import Path

from _pageserver import Server, gpx

from routeplan._demo.files import demo_files

TRIES = 6


def pss_mb(pid):
    """Return the memory of a process, its share of what is shared."""
    lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("Pss:")) / 1024


def family(pid):
    found = [pid]
    for task in Path(f"/proc/{pid}/task").iterdir():
        for child in (task / "children").read_text().split():
            found += family(int(child))
    return found


def say(what, value, unit="s"):
    sys.stdout.write(f"{what:<58} {value:8.2f} {unit}\n")


def answered(browser, trip, began):
    """Return the seconds until the answer of a trip is there and its parts are fetched."""
    state = browser.wait(trip, 300)
    assert state["error"] == "", state
    browser.get(f"{trip}/parts").raise_for_status()
    return time.perf_counter() - began


def told(browser, trip, began):
    """Return the seconds until the page is told the new windows."""
    while True:
        state = browser.get(f"{trip}/state", headers={"Accept": "application/json"}).json()
        if state["words"].startswith("Launch, by stage") or state["state"] == "ready":
            return time.perf_counter() - began
        time.sleep(0.06)  # as often as the page asks


def files():
    demo = demo_files()
    return [
        ("forecast", ("a.nc", demo.forecast_netcdf.read_bytes())),
        ("limits", ("a.toml", demo.limits.read_bytes())),
    ]


def main():
    with tempfile.TemporaryDirectory() as folder, Server(Path(folder)) as server:
        say("command to first byte", server.start_s)
        with server.browser() as browser:
            began = time.perf_counter()
            first = browser.open("demo")
            say("demo, asked for at once after the start", answered(browser, first, began))
            route = demo_files().route.read_bytes()
            uploads, demos, windows, changes, hops = [], [], [], [], []
            for n in range(TRIES):
                began = time.perf_counter()
                trip = browser.open_route(route, files=files())
                uploads.append(answered(browser, trip, began))
                began = time.perf_counter()
                demos.append(answered(browser, browser.open("demo"), began))
                token = browser.token(first)
                began = time.perf_counter()
                wind = [("limit_wind", str(8 + n)), ("limit_wind_unit", "kn")]
                head = {"Accept": "application/json"}
                browser.post(f"{first}/change", token, wind, headers=head).raise_for_status()
                windows.append(told(browser, first, began))
                changes.append(answered(browser, first, began))
                began = time.perf_counter()
                hops.append(answered(browser, browser.open_route(gpx()), began))
            say("demo, warm: new trip to answer", min(demos))
            say("upload of the demo's files to answer", min(uploads))
            say("short route alone to legs", min(hops))
            say("changed limit of the demo to new windows, median", sorted(windows)[TRIES // 2])
            say("changed limit of the demo to new windows, worst", max(windows))
            say("changed limit of the demo to whole report, median", sorted(changes)[TRIES // 2])
            memory(server)


def memory(server):
    pids = family(server.process.pid)
    used = {pid: pss_mb(pid) for pid in pids}
    names = {pid: Path(f"/proc/{pid}/cmdline").read_bytes() for pid in pids}
    workers = [pid for pid in pids[1:] if b"nursery" in names[pid]]
    say("memory of the server", used[pids[0]], "MB")
    say("memory of the nursery (first below it)", used[workers[0]], "MB")
    say(f"memory of {len(workers) - 1} workers together", sum(used[p] for p in workers[1:]), "MB")
    say("memory of all", sum(used.values()), "MB")


if __name__ == "__main__":
    main()
