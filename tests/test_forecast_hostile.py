"""Forecasts cut short at random places and with random bits turned.

Each must be opened or refused with one line, within a time. Where the decoding library itself
crashes, which nothing in the same process can stop, the guarded way must refuse the file.
"""

import contextlib
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from _forecastfiles import hours, wind_fields, winds, write_grib, write_netcdf
from _hostile import damaged

from routeplan.errors import InputError
from routeplan.forecast import open_forecast_guarded

pytestmark = pytest.mark.skipif(
    not sys.platform.startswith("linux"), reason="limits of memory need Linux"
)
LAT, LON = np.arange(57.0, 58.01, 0.25), np.arange(9.0, 10.01, 0.25)
TIME = hours(3)
LONGEST_S = 60.0


def grib1(path):
    u, v = winds(TIME, LAT, LON)
    return write_grib(path, 1, {"10u": u, "10v": v, "swh": np.abs(u)}, LAT, LON)


def grib2(path):
    u, v = winds(TIME, LAT, LON)
    return write_grib(path, 2, {"10u": u, "10v": v, "swh": np.abs(u)}, LAT, LON)


def netcdf3(path):
    u, v = winds(TIME, LAT, LON)
    return write_netcdf(path, wind_fields(u, v), TIME, LAT, LON, format="NETCDF3_CLASSIC")


def netcdf4(path):
    u, v = winds(TIME, LAT, LON)
    packed = {"zlib": True, "dtype": "i2", "scale_factor": 0.001, "_FillValue": -(2**15)}
    encoding = {"u10": packed, "v10": packed}
    return write_netcdf(path, wind_fields(u, v), TIME, LAT, LON, encoding=encoding)


def outcomes(source, kind, count, scratch):
    """What came of each damaged copy; "crashed" where the process died, "hung" where it stayed."""
    found, first = {}, 0
    program = Path(__file__).with_name("_hostile.py")
    while first < count:
        command = [sys.executable, program, source, kind, str(first), str(count), scratch]
        try:
            done = subprocess.run(command, capture_output=True, text=True, timeout=LONGEST_S)
            ending, text = "crashed", done.stdout
        except subprocess.TimeoutExpired as err:
            ending, text = "hung", (err.stdout or b"").decode()
        lines = [line.split(" ", 2) for line in text.splitlines()]
        found |= {int(line[0]): line[2] for line in lines if len(line) == 3}
        first = max((int(line[0]) for line in lines), default=first) + 1
        if len(found) < first:
            found[first - 1] = ending
    return found


@pytest.mark.parametrize(("kind", "count"), [("cut", 50), ("bit", 200)])
@pytest.mark.parametrize("make", [grib1, grib2, netcdf3, netcdf4])
def test_damaged_copies(make, kind, count, tmp_path, record_property):
    if make in (grib1, netcdf3):
        count //= 4  # the older forms, to save time
    source = make(tmp_path / "whole")
    (tmp_path / "scratch").mkdir()
    found = outcomes(source, kind, count, tmp_path / "scratch")
    tally = Counter(found.values())
    record_property("outcomes", dict(tally))
    assert sorted(found) == list(range(count))
    assert set(tally) <= {"opened", "refused", "crashed"}, tally
    assert tally["crashed"] <= count // 20
    if kind == "cut":
        # A cut between two messages leaves a shorter GRIB file that is whole.
        assert tally["refused"] >= 0.8 * count
    for number in [n for n, outcome in found.items() if outcome == "crashed"][:3]:
        path = tmp_path / "bad"
        path.write_bytes(damaged(source.read_bytes(), kind, number))
        _survives(path)


def _survives(path):
    """In a process of its own the file is opened or refused in one line; this one goes on."""
    text = f"{path}"
    with contextlib.suppress(InputError):
        try:
            open_forecast_guarded(path)
        except InputError as err:
            text = str(err)
            raise
    assert str(path) in text
    assert "\n" not in text


@pytest.mark.parametrize("make", [grib2, netcdf4])
def test_damaged_copies_one_process_each(make, tmp_path):
    content = make(tmp_path / "whole").read_bytes()
    for number in range(3):
        path = tmp_path / f"{number}"
        path.write_bytes(damaged(content, "cut", number))
        with pytest.raises(InputError, match=rf"{path}: "):
            open_forecast_guarded(path)


def test_the_decoder_ends_with_whoever_asked_for_it():
    """A parent that is killed cannot end its child, which would go on for its whole time."""
    child = "import time; from routeplan._forecast import guard; guard._end_with_parent(); "
    child += "print('up', flush=True); time.sleep(60)"
    code = f"import subprocess, sys; run = subprocess.Popen([sys.executable, '-c', {child!r}]); "
    code += "print(run.pid, flush=True); run.wait()"
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE) as parent:
        lines = {parent.stdout.readline().strip() for _ in range(2)}
        assert b"up" in lines
        pid = int((lines - {b"up"}).pop())
        assert _runs(pid)
        parent.kill()
    end = time.monotonic() + 10.0
    while _runs(pid) and time.monotonic() < end:
        time.sleep(0.05)
    assert not _runs(pid)


def _runs(pid):
    """Whether a process is there and has not ended."""
    with contextlib.suppress(FileNotFoundError, ProcessLookupError):
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] not in "ZX"
    return False
