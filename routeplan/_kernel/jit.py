"""How functions are compiled by numba: parts of kernels, and what is called as numba has it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba

__all__ = ["compiled", "part"]


def part(inline: str = "never") -> Callable[[Any], Any]:
    """Compile for use from compiled functions only, which is quicker to compile."""
    options: dict[str, Any] = {
        "no_cpython_wrapper": True,
        "no_cfunc_wrapper": True,
        "inline": inline,
    }
    return lambda function: numba.njit(nogil=True, error_model="numpy", **options)(function)


def compiled(function: Any) -> Any:
    """Compile for use from Python by numba itself, with its cache where there is a place for it.

    What is kept does not notice a change of functions in another file: after changing one,
    remove the kept code.
    """
    try:
        return numba.njit(cache=True, nogil=True, error_model="numpy")(function)
    except RuntimeError:  # neither the package folder nor the user's cache can be written
        return numba.njit(nogil=True, error_model="numpy")(function)
