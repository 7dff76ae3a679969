"""Kernels as Python calls them: arrays and numbers in, machine code from the store behind."""

from __future__ import annotations

import ctypes
import threading
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from routeplan._kernel.store import begin_missing, machine_code

__all__ = ["CODES", "Kernels", "compile_beside"]

CODES = {
    "i4": np.dtype(np.int32),
    "i8": np.dtype(np.int64),
    "f4": np.dtype(np.float32),
    "f8": np.dtype(np.float64),
    "u1": np.dtype(np.uint8),
}
"""Types of elements; with a star behind it a code is an array of them."""

_NUMBERS: dict[str, Any] = {"i8": ctypes.c_int64, "f8": ctypes.c_double}


class Kernels:
    """The kernels of one module, compiled together.

    Parameters
    ----------
    module : str
        Module of the functions. They and what they call lie in its folder, and no other file
        decides what they do.
    arguments : mapping of str to str
        Codes of the arguments of each function: "f8* i8" is an array and a number.
    """

    def __init__(self, module: str, arguments: Mapping[str, str]) -> None:
        self.module = module
        self.arguments = {name: tuple(codes.split()) for name, codes in arguments.items()}
        self._found: dict[str, tuple[Callable[..., None], tuple[Any, ...]]] = {}
        self._engine: Any = None
        self._lock = threading.Lock()

    def __call__(self, name: str, *values: Any) -> None:
        """Call a kernel; what it has to say it writes into arrays.

        The interpreter is free for other threads meanwhile.

        Raises
        ------
        TypeError
            If there are too many or too few values, or an array has other elements than the
            kernel takes, or does not lie in one piece.
        """
        if name not in self._found:
            self._load()
        function, wanted = self._found[name]
        if len(values) != len(wanted):
            msg = f"kernel {name} takes {len(wanted)} values, not {len(values)}"
            raise TypeError(msg)
        function(
            *[
                value if dtype is None else _address(name, value, dtype)
                for value, dtype in zip(values, wanted, strict=True)
            ]
        )

    @property
    def ready(self) -> bool:
        """Whether the code is in memory."""
        return bool(self._found)

    def _load(self) -> None:
        """Put the machine code into memory, once."""
        with self._lock:
            if self._found:
                return
            from routeplan._kernel.engine import engine_of  # llvmlite, where kernels are used

            self._engine = engine_of(machine_code(self.module, self.arguments))
            found: dict[str, tuple[Callable[..., None], tuple[Any, ...]]] = {}
            for name, codes in self.arguments.items():
                types: list[Any] = [ctypes.c_void_p if "*" in c else _NUMBERS[c] for c in codes]
                address = self._engine.get_function_address(name)
                wanted = tuple(CODES[c[:-1]] if "*" in c else None for c in codes)
                found[name] = (ctypes.CFUNCTYPE(None, *types)(address), wanted)
            self._found = found


def compile_beside(*kernels: Kernels) -> None:
    """Begin to compile, in a process of its own, what was not compiled before; at once back.

    Whoever calls such a kernel meanwhile waits for it.
    """
    begin_missing({k.module: k.arguments for k in kernels if not k.ready})


def _address(name: str, array: Any, dtype: Any) -> int:
    """Address of an array that must be as the kernel wants it."""
    if array.dtype != dtype or not array.flags.c_contiguous:
        msg = f"kernel {name} wants {dtype} in one piece, not {array.dtype}, {array.strides}"
        raise TypeError(msg)
    return int(array.ctypes.data)
