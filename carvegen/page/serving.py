"""The server: on this computer alone, at an address with a random token, until the page has been closed for a while."""

from __future__ import annotations

import asyncio
import os
import secrets
import socket
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from carvegen.base.errors import InputError

if TYPE_CHECKING:
    from carvegen.facts.profiles import Library

__all__ = ["Served", "serve"]

_HOST = "127.0.0.1"
_IDLE_S = 60.0  #: after the last window was closed the server ends
_LOOK_S = 0.5


@dataclass(frozen=True, kw_only=True)
class Served:
    """How to serve a print."""

    path: Path
    port: int = 0  #: 0: any that is free
    idle_s: float = _IDLE_S


def serve(its: Served, shelf: Library, *, at: Callable[[str], None]) -> None:
    """Serve the page until its windows are closed, or Ctrl-C; `at` is told the address once it can be asked.

    Raises
    ------
    InputError
        If the port is taken.
    """
    import uvicorn

    from carvegen.page.app import Page
    from carvegen.page.session import Session

    door = _door(its.port)
    host, token = f"{_HOST}:{door.getsockname()[1]}", secrets.token_urlsafe(24)
    page = Page(lambda tell: Session(its.path, shelf, tell))
    config = uvicorn.Config(
        page.app(host, token), log_level="error", access_log=False, server_header=False, date_header=False,
        lifespan="off", timeout_keep_alive=30, timeout_graceful_shutdown=2, h11_max_incomplete_event_size=64_000,
    )  # fmt: skip
    server = uvicorn.Server(config)

    async def until_left() -> None:
        while not server.should_exit:
            await asyncio.sleep(_LOOK_S)
            if page.visited and page.idle_s > its.idle_s:
                server.should_exit = True

    async def run() -> Any:  # noqa: ANN401
        watch = asyncio.create_task(until_left())
        asyncio.get_running_loop().call_later(0.2, at, f"http://{host}/{token}/")
        try:
            await server.serve(sockets=[door])
        finally:
            watch.cancel()

    try:
        asyncio.run(run())
    finally:
        page.session.close()


def _door(port: int) -> socket.socket:
    door = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if os.name == "posix":  # elsewhere it would let another server in at the same door
        door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        door.bind((_HOST, port))
    except OSError as error:
        door.close()
        raise InputError(
            f"can't be used ({error.strerror})", value=port, field="port", hint="take another, or none"
        ) from None
    return door
