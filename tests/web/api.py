"""What the tests of the API share: designs as JSON, and a bench on loopback with a client of it."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import httpx
import uvicorn

from lenses import camera, hood, prime, zoom
from shadewright.model.hood import RimShape
from shadewright.web.answers import as_tree
from shadewright.web.app import Size
from shadewright.web.guard import Rules
from shadewright.web.serve import configured


@contextmanager
def opened(*, token: str | None = None, size: Size | None = None) -> Iterator[httpx.Client]:
    """A bench on a free port of this machine, and a client of it."""
    listening = socket.create_server(("127.0.0.1", 0))
    server = uvicorn.Server(configured(Rules(token), size or Size(1, 1, 1)))
    thread = threading.Thread(target=server.run, args=([listening],))
    thread.start()
    try:
        with httpx.Client(base_url=f"http://127.0.0.1:{listening.getsockname()[1]}", timeout=120) as client:
            until = time.monotonic() + 30
            while not server.started and time.monotonic() < until:
                time.sleep(0.02)
            yield client
    finally:
        server.should_exit = True
        thread.join(30)
        listening.close()


def design(shape: RimShape = RimShape.PLAIN, *, lens: Any = None, **wishes: object) -> dict[str, Any]:
    """An invented lens on an invented camera, with wishes for a hood."""
    return {"lens": as_tree(lens or prime()), "camera": as_tree(camera()), "hood": as_tree(hood(shape, **wishes))}


def zoom_design(**wishes: object) -> dict[str, Any]:
    """An invented zoom, with wishes for a petal hood."""
    return design(RimShape.PETAL, lens=zoom(), **wishes)
