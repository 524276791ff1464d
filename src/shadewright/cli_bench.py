"""The command that opens the bench: a page in the browser, on this machine."""

from __future__ import annotations

from typing import Annotated

import typer


def bench(
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="Port to listen at; 0 takes any free one.")] = 8713,
    host: Annotated[
        str, typer.Option("--host", help="Address to listen at; others than this machine's own need the token printed.")
    ] = "127.0.0.1",
    browser: Annotated[bool, typer.Option("--browser/--no-browser", help="Open the page in the browser.")] = True,
) -> None:
    """Open a page in the browser to design, turn and make hoods by hand; leave it with Ctrl+C.

    Example: shadewright bench
    """
    from shadewright.web.serve import Opening, open_bench

    open_bench(Opening(host, port, browser))
