"""`routeplan page`: the local page."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from routeplan._show.clioptions import quantity
from routeplan._show.console import write
from routeplan.errors import InputError

__all__ = ["page"]

_LONGEST_S = 7 * 86_400.0


def page(
    port: Annotated[
        int, typer.Option("--port", metavar="N", help="Where to listen; 0: any free port.")
    ] = 8420,
    address: Annotated[
        str, typer.Option("--address", metavar="IP", help="127.0.0.1 or ::1, nothing else.")
    ] = "127.0.0.1",
    keep: Annotated[
        str,
        typer.Option("--keep", metavar='"4 h"', help="When trips nobody looks at are removed."),
    ] = "4 h",
) -> None:
    """Open the page for your browser: loopback only, until interrupted."""
    from routeplan.page import PageConfig, serve  # a web server, which no other command needs

    keep_s = quantity("--keep", keep, "time", least=60.0)
    if keep_s > _LONGEST_S:
        msg = f"--keep: {keep!r} is too long; allowed are 1 minute to 7 days"
        raise InputError(msg, field="--keep", value=keep)

    def started(url: str) -> None:
        write(f"{url}\n", "utf-8")
        sys.stderr.write("Open this address in a browser; Ctrl-C ends it and removes all files.\n")

    serve(PageConfig(address=address, port=port, keep_s=keep_s), started=started)
