"""Opening the bench: a socket on this machine, a token where others may come in, and the browser."""

from __future__ import annotations

import os
import secrets
import socket
import threading
import webbrowser
from dataclasses import dataclass

import uvicorn

from shadewright.errors import BenchError
from shadewright.web.app import Size, create_app
from shadewright.web.guard import LOOPBACK, Rules
from shadewright.words import say

USUAL_PORT = 8713
MOST_CONNECTIONS = 400


@dataclass(frozen=True)
class Opening:
    """Where the bench is opened. port: 0 takes any free one."""

    host: str = "127.0.0.1"
    port: int = USUAL_PORT
    browser: bool = True


def usual_size() -> Size:
    """As many processes as this machine has cores for."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return Size(looking=min(max(cores, 2), 8), thinking=max(1, min(cores // 2, 4)), jobs=max(1, min(cores // 2, 4)))


def open_bench(opening: Opening) -> None:
    """Open the bench and stay until interrupted. Raises BenchError where the address cannot be had."""
    listening = _listen(opening)
    with listening:
        port = listening.getsockname()[1]
        token = None if opening.host in LOOPBACK else secrets.token_urlsafe(24)
        name = f"[{opening.host}]" if ":" in opening.host else opening.host
        if opening.host in ("0.0.0.0", "::"):
            name = socket.gethostname()
        address = f"http://{name}:{port}/"
        server = uvicorn.Server(configured(Rules(token), usual_size()))
        say(f"The bench is open at {address}" + (f"?token={token}" if token else ""))
        if token:
            say(
                "  Anybody on the network who has this address can use it, and what passes can be read on the way: "
                "open it on networks that you trust only."
            )
        say("  Leave it with Ctrl+C.")
        if opening.browser:
            threading.Timer(0.3, webbrowser.open, [address + (f"?token={token}" if token else "")]).start()
        server.run(sockets=[listening])


def configured(rules: Rules, size: Size) -> uvicorn.Config:
    """How the bench is served: no log of who asked what, no name of the server, few seconds to finish at the end."""
    return uvicorn.Config(
        create_app(rules=rules, size=size), log_level="error", access_log=False, server_header=False,
        timeout_graceful_shutdown=2, limit_concurrency=MOST_CONNECTIONS, ws="none", timeout_keep_alive=60,
    )  # fmt: skip


def _listen(opening: Opening) -> socket.socket:
    """A listening socket. Raises BenchError."""
    family = socket.AF_INET6 if ":" in opening.host else socket.AF_INET
    listening = socket.socket(family, socket.SOCK_STREAM)
    try:
        if os.name == "posix":
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((opening.host, opening.port))
        listening.listen(128)
    except (OSError, OverflowError) as error:
        listening.close()
        why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise BenchError(
            f"--host {opening.host} --port {opening.port}: the bench cannot be opened there ({why.lower()}); "
            "give another --port, or --port 0 for any free one."
        ) from None
    return listening
