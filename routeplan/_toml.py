"""TOML of strangers: the standard library's reader behind a bound on what makes it slow."""

from __future__ import annotations

import tomllib
from typing import Any

__all__ = ["loads_toml"]

_MOST_DOTS = 500  # in a line


def loads_toml(text: str) -> dict[str, Any]:
    """The tables of a text.

    The time for a key of n dotted parts grows with n² (measured: 60,000 parts in 120 kB take two
    minutes), so lines of many dots are refused.

    Raises
    ------
    tomllib.TOMLDecodeError
    RecursionError
        Where it is nested too deep.
    """
    for number, line in enumerate(text.splitlines(), start=1):
        if line.count(".") > _MOST_DOTS:
            msg = f"more than {_MOST_DOTS} dots in one line (at line {number})"
            raise tomllib.TOMLDecodeError(msg)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        raise
    except ValueError:  # whole numbers longer than the interpreter converts
        msg = "a whole number has too many digits"
        raise tomllib.TOMLDecodeError(msg) from None
