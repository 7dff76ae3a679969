"""The one way to ecCodes in this package: after PROJ, and quiet.

The ecCodes wheels make their libraries' symbols visible to every library that is loaded after
them. PROJ, when it comes second, is then bound to the wrong ones: pyproj finds no database and
the process dies when it ends (ecCodes 2.50 with pyproj 3.7, seen 2026-11). The other order
works, so PROJ is loaded first.
"""

from __future__ import annotations

import contextlib
import os
import sys
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["load_eccodes", "quiet"]

# Where ecCodes writes its messages is one setting for the whole process.
_LOCK = threading.RLock()


def load_eccodes() -> Any:
    """Import ecCodes, which takes a quarter of a second, so only where it is needed."""
    import pyproj  # noqa: F401, I001  # must come first, see above
    import eccodes

    return eccodes


@contextlib.contextmanager
def quiet() -> Iterator[Any]:
    """Keep ecCodes from writing about damaged files to standard error; yields the module."""
    eccodes = load_eccodes()
    with _LOCK, Path(os.devnull).open("w") as nowhere:
        eccodes.codes_context_set_logging(nowhere)
        try:
            yield eccodes
        finally:
            eccodes.codes_context_set_logging(sys.__stderr__ or nowhere)
