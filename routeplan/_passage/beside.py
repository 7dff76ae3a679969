"""Begin to compile before a plan; see `routeplan._kernel`."""

from __future__ import annotations

from collections.abc import Callable

from routeplan._kernel.kernels import compile_beside as _begin
from routeplan._passage import kernels as _passage
from routeplan._shore import kernels as _shore

__all__ = ["compile_beside"]


def compile_beside() -> Callable[[], None]:
    """Begin to compile if this was not done before."""
    _begin(*_shore.COMPILED, *_passage.COMPILED)
    return lambda: None
