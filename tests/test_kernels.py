"""Compiled loops: made once, kept on disk, called without numba, and safe to share."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from _smallkernel import ARGUMENTS, MODULE, smallest, still_speed

import routeplan._kernel.beside as beside
import routeplan._kernel.store as store
from routeplan._kernel.build import compiled
from routeplan._kernel.kernels import Kernels, compile_beside

PROGRAM = [sys.executable, str(Path(__file__).with_name("_smallkernel.py"))]


@pytest.fixture
def cache(tmp_path, monkeypatch):
    monkeypatch.setenv("ROUTEPLAN_CACHE_DIR", str(tmp_path / "cache"))
    return tmp_path / "cache"


def files(folder):
    return sorted(p.suffix for p in folder.iterdir())


def never(*_):
    pytest.fail("compiled again")


def works(kernels):
    return still_speed(kernels) == pytest.approx(1.0, rel=1e-6)


def test_code_is_made_once_and_kept_and_then_needs_no_numba(cache, monkeypatch):
    assert works(smallest())
    assert files(cache) == [".o"]
    monkeypatch.setattr(store, "code_from_beside", never)
    assert works(smallest())
    told = subprocess.run(PROGRAM, capture_output=True, text=True, check=True, timeout=120).stdout
    assert told == "1.000000 False"


def test_begun_ahead_it_is_compiled_in_one_process_only(cache, monkeypatch):
    kernels = smallest()
    compile_beside(kernels)
    started = [b for b in beside._running if MODULE in b.promised]
    assert len(started) == 1
    monkeypatch.setattr(beside.subprocess, "Popen", never)
    compile_beside(kernels, smallest())
    assert works(kernels)
    assert started[0]._child.poll() is not None
    assert files(cache) == [".o"]
    compile_beside(smallest())  # on disk: nothing to begin


def test_several_processes_at_once_do_not_disturb_each_other(cache):
    started = [subprocess.Popen(PROGRAM, stdout=subprocess.PIPE, text=True) for _ in range(2)]
    told = [process.communicate(timeout=120)[0] for process in started]
    assert [process.returncode for process in started] == [0, 0]
    assert {line.split()[0] for line in told} == {"1.000000"}
    assert files(cache) == [".o"]


@pytest.mark.parametrize(
    "spoil", [lambda b: b[: len(b) // 2], lambda b: b[:99] + b"\0" + b[100:], lambda _: b""]
)
def test_damaged_code_is_never_run(cache, spoil):
    good = b"machine code" * 40
    cache.mkdir()
    place = store.place_of(MODULE, ARGUMENTS)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(store, "code_from_beside", lambda *_: good)
        assert store.machine_code(MODULE, ARGUMENTS) == good
        place.write_bytes(spoil(place.read_bytes()))
        patch.setattr(store, "code_from_beside", lambda *_: b"made anew")
        assert store.machine_code(MODULE, ARGUMENTS) == b"made anew"
        patch.setattr(store, "code_from_beside", never)
        assert store.machine_code(MODULE, ARGUMENTS) == b"made anew"


def test_another_source_processor_or_signature_has_another_file(cache, monkeypatch):
    place = store.place_of(MODULE, ARGUMENTS)
    assert place.parent == cache
    assert store.place_of(MODULE, {"speeds": ("f8",)}) != place
    assert store.place_of("routeplan._shore.rays", ARGUMENTS) != place
    monkeypatch.setattr("routeplan._kernel.engine.host", lambda: "another processor")
    assert store.place_of(MODULE, ARGUMENTS) != place


def test_a_cache_that_cannot_be_written_is_no_harm(tmp_path, monkeypatch):
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    monkeypatch.setenv("ROUTEPLAN_CACHE_DIR", str(blocked / "cache"))
    assert works(smallest())


@pytest.mark.usefixtures("cache")
def test_without_another_process_it_is_compiled_here(monkeypatch):
    def refused(*_, **__):
        raise OSError

    monkeypatch.setattr(beside.subprocess, "Popen", refused)
    assert works(smallest())


@pytest.mark.usefixtures("cache")
@pytest.mark.parametrize("code", ["raise SystemExit(3)", "print('nonsense, and not little of it')"])
def test_a_process_that_fails_is_made_good_here(monkeypatch, code):
    monkeypatch.setattr(beside, "_CODE", code)
    assert works(smallest())
    assert not any(MODULE in b.promised for b in beside._running)


@pytest.mark.usefixtures("cache")
def test_whoever_ends_early_leaves_no_process_behind():
    program = (
        "from _smallkernel import smallest\n"
        "import routeplan._kernel.beside as beside\n"
        "from routeplan._kernel.kernels import compile_beside\n"
        "compile_beside(smallest()); print(beside._running[0]._child.pid, flush=True)\n"
        "raise KeyboardInterrupt\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", program],
        capture_output=True, text=True, timeout=120, check=False, cwd=Path(__file__).parent,
    )  # fmt: skip
    assert "KeyboardInterrupt" in run.stderr
    with pytest.raises(ProcessLookupError):
        os.kill(int(run.stdout), 0)


@pytest.mark.usefixtures("cache")
def test_arrays_must_be_as_the_kernel_wants_them():
    kernels = smallest()
    row, values = np.ones(10), np.zeros(4)
    with pytest.raises(TypeError, match="wants float64 in one piece, not float32"):
        kernels("speeds", row, 4, *[values.astype(np.float32)] * 4, values)
    with pytest.raises(TypeError, match="wants float64 in one piece"):
        kernels("speeds", row, 2, *[values[::2]] * 4, values)
    with pytest.raises(TypeError, match="takes 7 values, not 2"):
        kernels("speeds", row, 4)


def test_what_may_raise_is_no_kernel():
    with pytest.raises(RuntimeError, match="they may raise or allocate nothing"):
        compiled("_smallkernel", {"root": ("f8", "f8*")})


def test_every_module_of_kernels_compiles():
    from routeplan._passage import kernels as passage
    from routeplan._shore import kernels as shore

    found = [k for m in (passage, shore) for k in vars(m).values() if isinstance(k, Kernels)]
    assert len(found) == 5
    compile_beside(*found)
    for kernels in found:
        kernels._load()
        assert kernels.ready


def test_what_numba_itself_keeps_is_compiled_anew_where_there_is_no_place(monkeypatch):
    import numba

    from routeplan._kernel.jit import compiled as by_numba

    made = []

    def njit(**options):
        if options.get("cache"):
            msg = "cannot cache function: no locator available"
            raise RuntimeError(msg)
        made.append(options)
        return lambda function: function

    monkeypatch.setattr(numba, "njit", njit)
    assert by_numba(abs) is abs
    assert made == [{"nogil": True, "error_model": "numpy"}]
