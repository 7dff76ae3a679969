"""Compile kernels in a process of their own, so that other work goes on meanwhile.

The process hands the machine code back through a pipe, module by module as asked, and leaves
nothing behind: it ends with its parent, or when nobody reads what it has to say. It has the
compiler leave the code as it is, which halves the time; `build` then makes it fast once, whole.
"""

from __future__ import annotations

import atexit
import contextlib
import os
import pickle
import subprocess
import sys
import threading
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import IO

__all__ = ["begin", "code_from_beside"]

Arguments = Mapping[str, tuple[str, ...]]

_PACKAGE_ROOT = str(Path(__file__).resolve().parents[2])
_LONGEST_S = 180.0
_LARGEST = 1 << 24  # bytes of a piece
_LENGTH = 8  # bytes that tell how long a piece is
_CODE = (
    "import sys; sys.path.insert(0, sys.argv[1]);"
    "from routeplan._kernel.beside import compile_here; compile_here()"
)


class _Beside:
    """A process that compiles some modules."""

    def __init__(self, wanted: Iterable[tuple[str, Arguments]]) -> None:
        wanted = [(module, dict(arguments)) for module, arguments in wanted]
        self.promised = {module for module, _ in wanted}
        self._made: dict[str, bytes] = {}
        self._lock = threading.Lock()
        self._child = subprocess.Popen(
            [sys.executable, "-c", _CODE, _PACKAGE_ROOT],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "NUMBA_OPT": "0"},
        )
        self._last = threading.Timer(_LONGEST_S, self.end)
        self._last.daemon = True
        self._last.start()
        atexit.register(self.end)
        assert self._child.stdin is not None
        with contextlib.suppress(OSError):  # it ended at once: nothing comes back
            pickle.dump(wanted, self._child.stdin)
            self._child.stdin.close()

    def code(self, module: str) -> bytes | None:
        """Wait for the code of a module; None if it does not come."""
        with self._lock:
            while module in self.promised and module not in self._made:
                assert self._child.stdout is not None
                name, code = _read(self._child.stdout), _read(self._child.stdout)
                made = name.decode(errors="replace")
                if made in self.promised and code:
                    self._made[made] = code
                    self.promised.discard(made)
                else:
                    self.promised.clear()
            if not self.promised:
                self.end()
            return self._made.pop(module, None)

    def end(self) -> None:
        """Let the process end, at once."""
        self._last.cancel()
        atexit.unregister(self.end)
        self._child.kill()
        self._child.wait()


_running: list[_Beside] = []


def begin(wanted: Iterable[tuple[str, Arguments]]) -> None:
    """Begin to compile modules that nobody compiles yet; at once back."""
    wanted = [w for w in wanted if not any(w[0] in beside.promised for beside in _running)]
    if not wanted:
        return
    with contextlib.suppress(OSError):  # no process to be had: compiled here when it is needed
        _running.append(_Beside(wanted))


def code_from_beside(module: str, arguments: Arguments) -> bytes | None:
    """Machine code of a module by a process of its own; None if that cannot be had."""
    begin([(module, arguments)])
    for beside in _running:
        code = beside.code(module)
        if code is not None:
            return code
    return None


def compile_here() -> None:
    """Compile what is asked for on standard input, and write the code to standard output."""
    import gc

    gc.disable()  # a compiler makes much, keeps it all, and then ends
    wanted = pickle.load(sys.stdin.buffer)
    from routeplan._kernel.build import compiled

    for module, arguments in wanted:
        for piece in (module.encode(), compiled(module, arguments)):
            sys.stdout.buffer.write(len(piece).to_bytes(_LENGTH, "little") + piece)
        sys.stdout.buffer.flush()


def _read(stream: IO[bytes]) -> bytes:
    """Next piece; empty at the end."""
    head = stream.read(_LENGTH)
    length = int.from_bytes(head, "little")
    piece = stream.read(length) if len(head) == _LENGTH and length <= _LARGEST else b""
    return piece if len(piece) == length else b""
