"""The smallest kernel there is, for the tests of how kernels are kept and called.

It takes about a second to compile. Run as a program it says whether numba was needed.
"""

import sys

import numpy as np

from routeplan._kernel.kernels import Kernels
from routeplan.propulsion import craft, craft_row

MODULE = "routeplan._passage.power"
ARGUMENTS = {"speeds": "f8* i8 f8* f8* f8* f8* f8*"}


def smallest():
    return Kernels(MODULE, ARGUMENTS)


def still_speed(kernels):
    """Speed in still air and water by that of the craft's own: one."""
    board = craft("touring board")
    nothing, out = np.zeros(1), np.empty(1)
    kernels("speeds", craft_row(board), 1, nothing, nothing, nothing, nothing, out)
    return out[0] / board.still_water_speed_ms


def root(a, out):
    """It raises, which a kernel must not."""
    if a < 0.0:
        msg = "negative"
        raise ValueError(msg)
    out[0] = a**0.5


if __name__ == "__main__":
    sys.stdout.write(f"{still_speed(smallest()):.6f} {'numba' in sys.modules}")
