"""Every error that routeplan raises on purpose.

RouteplanError
├── InputError (ValueError)       bad user input
│   └── GPXError                  in a GPX file
├── CoverageError (ValueError)    a data source does not cover what is asked
└── DownloadError (OSError)       a server did not deliver

The command line turns each into one line on standard error and exit status 2.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

__all__ = ["CoverageError", "DownloadError", "GPXError", "InputError", "RouteplanError"]


class RouteplanError(Exception):
    """Root of all errors raised on purpose."""


class InputError(RouteplanError, ValueError):
    """Something the user gave cannot be used.

    The message is one line: which file or field, what is wrong, what is allowed.
    `field`, `value` and `path` carry the same for programs; each may be None.
    """

    def __init__(
        self,
        message: str,
        *,
        field: str | None = None,
        value: Any = None,
        path: str | Path | None = None,
    ) -> None:
        super().__init__(message)
        self.field = field
        self.value = value
        self.path = None if path is None else Path(path)


class GPXError(InputError):
    """A GPX file cannot be used; `line` is the line in the file where it is known."""

    def __init__(
        self,
        message: str,
        *,
        path: str | Path | None = None,
        line: int | None = None,
        field: str | None = None,
        value: Any = None,
    ) -> None:
        super().__init__(message, field=field, value=value, path=path)
        self.line = line


class CoverageError(RouteplanError, ValueError):
    """A data source does not cover the route; `bounds` is (west, south, east, north) [degrees]."""

    def __init__(
        self,
        message: str,
        *,
        bounds: tuple[float, float, float, float] | None = None,
        time_range: tuple[Any, Any] | None = None,
        mask: Any = None,
    ) -> None:
        super().__init__(message)
        self.bounds = bounds
        self.time_range = time_range
        self.mask = mask


class DownloadError(RouteplanError, OSError):
    """A download failed for good; `status` is the HTTP status where there was one."""

    def __init__(self, message: str, *, url: str | None = None, status: int | None = None) -> None:
        super().__init__(message)
        self.url = url
        self.status = status
