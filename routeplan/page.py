"""The local page: open a route and a forecast in a browser, on this machine only.

    serve(PageConfig(port=8420))           # until interrupted
    app = make_app(PageConfig(port=8420))  # the same as an ASGI application

The server process reads no file of anybody: routes and forecasts are decoded and planned in
processes of their own, with limits on time and memory, one for each trip. Needs a system that
can fork (Linux, macOS).
"""

from __future__ import annotations

import os
from dataclasses import replace
from typing import TYPE_CHECKING

from routeplan._page.config import PageConfig
from routeplan.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable

    from starlette.types import ASGIApp

__all__ = ["PageConfig", "make_app", "serve"]


def make_app(config: PageConfig | None = None) -> ASGIApp:
    """The page as an application for an ASGI server that runs its lifespan.

    Parameters
    ----------
    config : PageConfig, optional
        `port` must be that of the server: requests for other hosts are refused.

    Raises
    ------
    InputError
        If this system cannot fork.
    """
    _check_system()
    from routeplan._page.server import application

    return application(config or PageConfig())


def serve(
    config: PageConfig | None = None, *, started: Callable[[str], None] | None = None
) -> None:
    """Serve the page until interrupted; then all files of all trips are removed.

    Parameters
    ----------
    config : PageConfig, optional
        With port 0 a free one is taken.
    started : callable, optional
        Called with the address, once connections are accepted.

    Raises
    ------
    InputError
        If the address is not a loopback one, the port cannot be had or this system cannot fork.
    """
    _check_system()
    from routeplan._page.server import bind, run

    config = config or PageConfig()
    with bind(config.address, config.port) as listener:
        port = listener.getsockname()[1]
        name = f"[{config.address}]" if ":" in config.address else config.address
        if started is not None:
            started(f"http://{name}:{port}/")
        run(replace(config, port=port), listener)


def _check_system() -> None:
    if not hasattr(os, "fork"):
        msg = "the page needs a system that can fork processes: Linux or macOS"
        raise InputError(msg)
