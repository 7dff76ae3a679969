"""Opening a forecast file of the user's, with what the file beside it says.

Plumbing of the command line and `tripfile`.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["beside", "open_given"]

_LARGEST_SIDECAR = 1_000_000  # bytes; our own have a few hundred


def open_given(path: Path, bounds: tuple[float, float, float, float]) -> xr.Dataset:
    """Open a file of the user's in a process of its own, with what the file beside it says.

    A file that `forecast get` wrote has one beside it with its run, attribution and licence.
    """
    from routeplan.forecast import open_forecast_guarded  # loads xarray

    data = open_forecast_guarded(path, bounds=bounds)
    return data.assign_attrs(beside(path))


def beside(path: Path) -> dict[str, Any]:
    """Run, source, attribution and licence of a file that was downloaded; else nothing."""
    about = Path(f"{path}.json")
    if not about.is_file() or about.stat().st_size > _LARGEST_SIDECAR:
        return {}
    from routeplan._provider.store import read_stored

    found = read_stored(path)
    if found is None:
        return {}
    return {
        "source": found.title,
        "reference_time": f"{found.run}Z",
        "attribution": found.attribution,
        "licence": found.licence,
    }
