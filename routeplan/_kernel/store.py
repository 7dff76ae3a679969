"""Machine code of kernels on disk.

A file is named after all that decides what is in it: the sources, the versions of the compiler
and the processor. It is written whole, and carries a digest, so that half a file or another
processor's code is never run. Where the cache cannot be written the code is made each time.
"""

from __future__ import annotations

import contextlib
import hashlib
import logging
from collections.abc import Mapping
from importlib.metadata import version
from importlib.util import find_spec
from pathlib import Path

from routeplan._download.cache import cache_dir, write_whole
from routeplan._kernel.beside import begin, code_from_beside

__all__ = ["begin_missing", "machine_code", "place_of"]

_DIGEST = 32  # bytes, SHA-256
_log = logging.getLogger(__name__)

Arguments = Mapping[str, tuple[str, ...]]


def machine_code(module: str, arguments: Arguments) -> bytes:
    """Object file of the kernels of a module: from disk, or made now and left there."""
    place = place_of(module, arguments)
    with contextlib.suppress(OSError):
        kept = place.read_bytes()
        code = kept[_DIGEST:]
        if code and hashlib.sha256(code).digest() == kept[:_DIGEST]:
            return code
        _log.warning("%s is damaged and is made anew", place)
    code = code_from_beside(module, arguments) or _code_from_here(module, arguments)
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        write_whole(place, hashlib.sha256(code).digest() + code)
    except OSError as fault:
        _log.info("machine code of %s kept in memory: %s", module, fault)
    return code


def _code_from_here(module: str, arguments: Arguments) -> bytes:
    from routeplan._kernel.build import compiled  # numba, only where nothing else helps

    return compiled(module, arguments)


def begin_missing(wanted: Mapping[str, Arguments]) -> None:
    """Begin to compile, in a process of its own, the modules whose code is not on disk."""
    begin(item for item in wanted.items() if not place_of(*item).exists())


def place_of(module: str, arguments: Arguments) -> Path:
    """File for the machine code of a module's kernels."""
    from routeplan._kernel.engine import host

    spec = find_spec(module)
    assert spec is not None
    assert spec.origin is not None
    seen = hashlib.sha256(repr(sorted(arguments.items())).encode())
    seen.update(f"{version('numba')} {version('llvmlite')} {host()}".encode())
    for folder in (Path(spec.origin).parent, Path(__file__).parent):
        for source in sorted(folder.glob("*.py")):
            seen.update(hashlib.sha256(source.read_bytes()).digest())
    short = module.rpartition(".")[2]
    return cache_dir() / f"kernels-{short}-{seen.hexdigest()[:20]}.o"
