"""Decode a forecast in a child process with limits on time and memory.

The decoding libraries are written in C and have crashed on damaged files before. The child
reads the file and hands back the normalised arrays through a file of plain numbers with a
JSON heading: nothing of what it sends is executed or unpickled.
"""

from __future__ import annotations

import contextlib
import ctypes
import json
import signal
import subprocess
import sys
import tempfile
import traceback
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from routeplan._forecast.fields import Meta, RegularGrid, Request
from routeplan._forecast.fit import Normalised
from routeplan.errors import CoverageError, InputError, RouteplanError

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

__all__ = ["MEMORY_LIMIT", "TIME_LIMIT_S", "read_guarded"]

TIME_LIMIT_S = 120.0
MEMORY_LIMIT = 8 * 1024**3  # of address space; libraries reserve more than they use
_LARGEST_REPLY = 4 * 1024**3
_KILL_WITH_PARENT = 1  # PR_SET_PDEATHSIG of Linux's prctl(2)
_PACKAGE_ROOT = str(Path(__file__).resolve().parents[2])
_COMMAND = (
    f"import sys; sys.path.append({_PACKAGE_ROOT!r}); "
    "from routeplan._forecast.guard import _child; _child()"
)


def read_guarded(
    paths: tuple[Path, ...],
    request: Request,
    time_limit_s: float,
    memory_limit: int,
    meanwhile: Callable[[], None] = lambda: None,
) -> Normalised:
    """Read files in a child process; arguments and errors as `open_forecast_guarded`.

    `meanwhile` is called while the child works, for what the caller needs anyway.
    """
    order = {
        "paths": [str(path) for path in paths],
        "bounds": request.bounds,
        "time_range": None
        if request.time_range is None
        else [int(t.astype("datetime64[ns]").astype(np.int64)) for t in request.time_range],
        "values": request.values,
        "memory_limit": int(memory_limit),
        "time_limit_s": float(time_limit_s),
    }
    with tempfile.TemporaryDirectory(prefix="routeplan-") as folder:
        reply = Path(folder) / "reply"
        status = _run(order, reply, time_limit_s, meanwhile)
        if status is None:
            msg = (
                f"{paths[0]}: reading took more than {time_limit_s:g} s and was stopped; the file "
                f"is damaged or too large: fetch it again or ask for less"
            )
            raise InputError(msg, path=paths[0])
        if status != 0 or not reply.is_file():
            msg = (
                f"{paths[0]}: the decoder broke down on it (status {status}); the file is damaged "
                f"or needs more than {memory_limit / 1024**3:.2g} GiB: fetch it again"
            )
            raise InputError(msg, path=paths[0])
        return _receive(reply, paths[0])


def _run(
    order: dict[str, Any], reply: Path, time_limit_s: float, meanwhile: Callable[[], None]
) -> int | None:
    """Run the child; its exit status, or None when it took too long and was stopped."""
    child = subprocess.Popen(
        [sys.executable, "-P", "-c", _COMMAND, str(reply)],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    with child:
        try:
            assert child.stdin is not None
            with contextlib.suppress(BrokenPipeError):  # its status tells
                child.stdin.write(json.dumps(order).encode())
                child.stdin.close()
            meanwhile()
            return child.wait(time_limit_s)
        except subprocess.TimeoutExpired:
            return None
        finally:
            child.kill()


def _receive(reply: Path, path: Path) -> Normalised:
    if reply.stat().st_size > _LARGEST_REPLY:
        msg = f"{path}: too large to read; ask for a smaller box or fewer hours"
        raise InputError(msg, path=path)
    with reply.open("rb") as stream:
        head = json.loads(stream.readline(10_000_000))
        if "error" in head:
            raise _error(head)
        arrays = {}
        for name, dtype, shape in head["arrays"]:
            count = int(np.prod(shape))
            arrays[name] = np.fromfile(stream, dtype=np.dtype(dtype), count=count).reshape(shape)
    meta = Meta(**head["meta"])
    grid = RegularGrid(arrays.pop("latitude"), arrays.pop("longitude"))
    time = arrays.pop("time").astype("datetime64[ns]")
    number = arrays.pop("number", None)
    values: dict[str, NDArray[np.float64] | None] = {
        name: arrays.get(f"values {name}") for name in head["labels"]
    }
    return Normalised(time, number, grid, meta, values, head["labels"])


def _error(head: dict[str, Any]) -> RouteplanError:
    message = str(head["message"])
    if head["error"] == "CoverageError":
        bounds, hours = head.get("bounds"), head.get("time_range")
        times = None
        if hours is not None:
            times = (np.datetime64(hours[0], "ns"), np.datetime64(hours[1], "ns"))
        return CoverageError(
            message, bounds=None if bounds is None else tuple(bounds), time_range=times
        )
    error = InputError(message, field=head.get("field"), path=head.get("path"))
    if "trace" in head:
        error.__cause__ = RuntimeError(str(head["trace"]))
    return error


def _child() -> None:
    """Entry point of the child process."""
    _end_with_parent()
    order = json.loads(sys.stdin.buffer.read())
    _limit(int(order["memory_limit"]), float(order["time_limit_s"]))
    from routeplan._forecast.read import read_forecast

    hours = order["time_range"]
    request = Request(
        None if order["bounds"] is None else tuple(order["bounds"]),
        None if hours is None else (np.datetime64(hours[0], "ns"), np.datetime64(hours[1], "ns")),
        order["values"],
    )
    target = Path(sys.argv[1])
    try:
        result = read_forecast(tuple(Path(p) for p in order["paths"]), request)
    except RouteplanError as err:
        target.write_text(json.dumps(_describe(err)) + "\n")
    except Exception as err:
        head = {
            "error": "InputError",
            "message": f"{order['paths'][0]}: cannot be read ({_one_line(err)})",
            "path": order["paths"][0],
            "trace": traceback.format_exc(),
        }
        target.write_text(json.dumps(head) + "\n")
    else:
        _send(result, target)


def _limit(memory: int, seconds: float) -> None:
    """Limit this process where the system can; the parent limits the time in any case."""
    try:
        import resource
    except ImportError:
        return  # not on Windows
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
    resource.setrlimit(resource.RLIMIT_CPU, (int(seconds) + 1, int(seconds) + 1))


def _end_with_parent() -> None:
    """End when whoever wants the answer was killed, where the system can."""
    if sys.platform == "linux":
        with contextlib.suppress(OSError, AttributeError):
            ctypes.CDLL(None).prctl(_KILL_WITH_PARENT, signal.SIGKILL)


def _describe(err: RouteplanError) -> dict[str, Any]:
    head: dict[str, Any] = {"error": type(err).__name__, "message": str(err)}
    if isinstance(err, CoverageError):
        head["bounds"] = err.bounds
        if err.time_range is not None:
            head["time_range"] = [
                int(np.datetime64(t).astype("datetime64[ns]").astype(np.int64))
                for t in err.time_range
            ]
    elif isinstance(err, InputError):
        head["field"] = err.field
        head["path"] = None if err.path is None else str(err.path)
    return head


def _send(result: Normalised, target: Path) -> None:
    arrays: dict[str, NDArray[Any]] = {
        "time": result.time.astype("datetime64[ns]").astype(np.int64),
        "latitude": result.grid.latitude.astype(np.float64),
        "longitude": result.grid.longitude.astype(np.float64),
    }
    if result.number is not None:
        arrays["number"] = result.number.astype(np.int64)
    for name, values in result.values.items():
        if values is not None:
            arrays[f"values {name}"] = values.astype(np.float64)
    meta = {name: getattr(result.meta, name) for name in Meta.__slots__}
    head = {
        "arrays": [[name, array.dtype.str, list(array.shape)] for name, array in arrays.items()],
        "labels": result.labels,
        "meta": meta,
    }
    with target.open("wb") as stream:
        stream.write(json.dumps(head).encode() + b"\n")
        for array in arrays.values():
            np.ascontiguousarray(array).tofile(stream)


def _one_line(err: Exception) -> str:
    return " ".join(f"{type(err).__name__}: {err}".split())[:200]
