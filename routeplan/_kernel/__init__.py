"""Compiled loops: machine code made once by numba, kept on disk and called without it.

numba takes most of a second to load before it can call what it compiled long ago. So each kernel
is compiled to a plain function of pointers and numbers, and its machine code is kept in the cache
folder; from then on only llvmlite, which is small, is needed to put it into memory.
"""
