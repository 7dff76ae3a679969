"""Open damaged copies of a forecast one after the other; run as a program by a test.

Prints a line for each: its number and what came of it. A crash of the decoder ends this
process; whoever started it sees at which number and starts again after it.
"""

import resource
import sys
import time
from pathlib import Path

import numpy as np


def damaged(content, kind, number):
    """Copy `number` of a file's content, cut short or with one bit turned."""
    rng = np.random.default_rng([number, kind == "cut"])
    if kind == "cut":
        return content[: int(rng.integers(0, len(content)))]
    out = bytearray(content)
    out[int(rng.integers(0, len(out)))] ^= 1 << int(rng.integers(0, 8))
    return bytes(out)


def main(source, kind, first, last, scratch):
    from routeplan.errors import RouteplanError
    from routeplan.forecast import open_forecast

    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_AS, (8 * 1024**3,) * 2)
    content = Path(source).read_bytes()
    path = Path(scratch) / Path(source).name
    for number in range(int(first), int(last)):
        path.write_bytes(damaged(content, kind, number))
        print(number, "start", flush=True)
        started = time.perf_counter()
        try:
            open_forecast(path)
            outcome = "opened"
        except RouteplanError as err:
            text = str(err)
            outcome = "refused" if "\n" not in text and str(path) in text else f"badly {text!r}"
        except BaseException as err:
            outcome = f"raised {err!r}"
        print(number, f"{time.perf_counter() - started:.3f}", outcome, flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
