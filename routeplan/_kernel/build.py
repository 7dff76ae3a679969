"""Compile kernels to machine code with numba. Imported only where that has to be done.

Kernels work on pointers, not on arrays: an array is seven words for the compiler, each with its
own care, and code for pointers is made in about half the time. The price is that shapes and
strides are counted by hand, and that nothing checks an index.
"""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from typing import Any

import llvmlite.binding as llvm
import numba
from numba import types

from routeplan._kernel.engine import target_machine

__all__ = ["compiled"]

_TYPES = {
    "i4": types.int32,
    "i8": types.int64,
    "f4": types.float32,
    "f8": types.float64,
    "u1": types.uint8,
}


def compiled(module: str, arguments: Mapping[str, tuple[str, ...]]) -> bytes:
    """Object file with the functions of a module, under their own names."""
    found = importlib.import_module(module)
    machine = target_machine()
    whole: Any = llvm.parse_assembly("")
    whole.triple, whole.data_layout = machine.triple, str(machine.target_data)
    for name, codes in arguments.items():
        whole.link_in(_one(getattr(found, name), name, codes))
    for function in whole.functions:
        if not function.is_declaration and function.name not in arguments:
            function.linkage = "internal"
    builder = llvm.create_pass_builder(machine, llvm.create_pipeline_tuning_options(3))
    # Once all is known to be called from here alone, what cannot fail is seen not to, and what
    # would tell Python of a failure goes.
    first = llvm.create_new_module_pass_manager()
    first.add_sroa_pass()
    first.add_simplify_cfg_pass()
    first.add_ipsccp_pass()
    first.run(whole, builder)
    builder.getModulePassManager().run(whole, builder)
    _refuse_python(module, whole)
    code: bytes = machine.emit_object(whole)
    return code


def _one(function: Any, name: str, codes: tuple[str, ...]) -> Any:
    """One function as a module of LLVM with its name."""
    pointer: Any = types.CPointer
    kinds = [pointer(_TYPES[c[:-1]]) if "*" in c else _TYPES[c] for c in codes]
    kernel = numba.cfunc(types.void(*kinds), error_model="numpy", nogil=True)(function)
    text = kernel.inspect_llvm().replace(kernel.native_name, name)
    return llvm.parse_assembly(text)


def _refuse_python(module: str, whole: Any) -> None:
    """See to it that the code stands on its own: it must run where numba is not loaded."""
    needs = {f.name for f in whole.functions if f.is_declaration and not f.name.startswith("llvm.")}
    alien = {n for n in needs if n.startswith(("Py", "numba_", "NRT_"))}
    # A name that this system's libraries lack would end the process when the code is loaded.
    alien |= {n for n in needs if llvm.address_of_symbol(n) is None}
    if alien:
        msg = (
            f"kernels of {module} use {', '.join(sorted(alien))}: they may raise or allocate "
            "nothing, and call only what the system's mathematical library has"
        )
        raise RuntimeError(msg)
