"""Machine code in memory, by llvmlite alone."""

from __future__ import annotations

import functools
from typing import Any

import llvmlite.binding as llvm

__all__ = ["engine_of", "host", "target_machine"]


def host() -> str:
    """Processor that code is made for, with all it can do."""
    features = llvm.get_host_cpu_features().flatten()
    return f"{llvm.get_process_triple()} {llvm.get_host_cpu_name()} {features}"


@functools.cache
def _ready() -> None:
    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()


def target_machine() -> Any:
    """Machine that makes code for this processor, at the highest level."""
    _ready()
    target = llvm.Target.from_triple(llvm.get_process_triple())
    features = llvm.get_host_cpu_features().flatten()
    return target.create_target_machine(
        cpu=llvm.get_host_cpu_name(), features=features, opt=3, jit=True
    )


def engine_of(code: bytes) -> Any:
    """Engine that holds an object file in memory, ready to be called; keep it alive."""
    machine = target_machine()
    engine = llvm.create_mcjit_compiler(llvm.parse_assembly(""), machine)
    engine.add_object_file(llvm.ObjectFileRef.from_data(code))
    engine.finalize_object()
    return engine
