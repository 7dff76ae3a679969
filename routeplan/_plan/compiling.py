"""What a plan needs compiled, begun before anything else is done."""

from __future__ import annotations

from routeplan._kernel.kernels import compile_beside
from routeplan._passage import kernels as _passage
from routeplan._shore import kernels as _shore

__all__ = ["compile_ahead"]


def compile_ahead(*, passages: bool = True) -> None:
    """Begin to compile, in a process of its own, what was never compiled on this machine.

    The coastline's questions come first; `passages` says whether anybody paddles.
    """
    wanted = (*_shore.COMPILED, *(_passage.COMPILED if passages else ()))
    compile_beside(*wanted)
