"""The server: on this computer alone, at an address with a random token, until the page has been closed for a while."""

from __future__ import annotations

import asyncio
import contextlib
import os
import secrets
import signal
import socket
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from carvegen.base.errors import InputError
from carvegen.base.files import scratch_folder
from carvegen.interfaces.page.guard import Address, last

if TYPE_CHECKING:
    from carvegen.facts.profiles import Library
    from carvegen.interfaces.page.app import Page
    from carvegen.interfaces.page.guard import Guard

__all__ = ["Served", "serve"]

_HOST = "127.0.0.1"
_IDLE_S = 60.0  #: after the last window was closed the server ends
_LOOK_S = 0.5


@dataclass(frozen=True, kw_only=True)
class Served:
    """How to serve a print."""

    path: Path | None  #: of the print; None: the page begins one
    folder: Path  #: in which it may begin one
    port: int = 0  #: 0: any that is free
    idle_s: float = _IDLE_S
    options: tuple[str, ...] = ()  #: with which the program was started, as they were typed


def serve(
    served: Served, shelf: Library, *, at: Callable[[str], None], left: Callable[[Path | None], None] = lambda _: None
) -> None:
    """Serve the page until its windows are closed, or Ctrl-C.

    Parameters
    ----------
    at
        Is told the address once it can be asked.
    left
        Is told the print that was open last once it ends because no window shows it any more.

    Raises
    ------
    InputError
        If the port is taken.
    """
    from carvegen.interfaces.page.app import Page

    door, token = _opened(served)
    port = door.getsockname()[1]
    host = f"{_HOST}:{port}"
    with _ended_in_order(), scratch_folder() as scratch:
        page = Page(
            served.path, shelf, served.folder, scratch, address=Address(port=port, token=token), options=served.options
        )
        try:
            ready, ends = partial(at, f"http://{host}/{token}/"), lambda: left(page.path)
            asyncio.run(_run(page, page.app(host, token), door, served.idle_s, ready=ready, left=ends))
        finally:
            page.end()


@contextlib.contextmanager
def _ended_in_order() -> Iterator[None]:
    """SIGTERM, and a terminal that is closed (SIGHUP), end it as Ctrl-C does: all is written, nothing left behind.

    A signal that is ignored stays so: whoever starts a program with `nohup` wants it to outlive the terminal.
    """
    if threading.current_thread() is not threading.main_thread():
        yield  # signals are the main thread's
        return
    here = {signal.SIGTERM: signal.default_int_handler} | ({signal.SIGHUP: _hung_up} if os.name == "posix" else {})
    heeded = [number for number in here if signal.getsignal(number) is not signal.SIG_IGN]
    before = {number: signal.signal(number, here[number]) for number in heeded}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _hung_up(*_: object) -> None:
    """Go the one road that the server knows: it ends at this signal, and sends it again once it has."""
    signal.raise_signal(signal.SIGTERM)


def _opened(served: Served) -> tuple[socket.socket, str]:
    """A door to serve at, and the token: those the print had last, so that an open window comes back, or others."""
    before = None if served.path is None else last(served.path)
    if before is not None and served.port in (0, before.port):
        with contextlib.suppress(InputError):  # somebody else is there now: who knows an old token is of no use to them
            return _door(before.port), before.token
    return _door(served.port), secrets.token_urlsafe(24)


async def _run(
    page: Page, app: Guard, door: socket.socket, idle_s: float, *, ready: Callable[[], None], left: Callable[[], None]
) -> None:
    """Serve until the windows are left."""
    import uvicorn

    server = uvicorn.Server(uvicorn.Config(
        app, log_level="error", access_log=False, server_header=False, date_header=False, lifespan="off",
        timeout_keep_alive=30, timeout_graceful_shutdown=2, h11_max_incomplete_event_size=64_000,
    ))  # fmt: skip

    async def until_left() -> None:
        while not server.started:
            await asyncio.sleep(_LOOK_S / 10)
        ready()
        while not server.should_exit and not (page.visited and page.idle_s > idle_s):
            await asyncio.sleep(_LOOK_S)
        if not server.should_exit:
            page.left()
            left()
        server.should_exit = True
        page.hang_up()  # a window that still listens would be cut off with a traceback

    watch = asyncio.create_task(until_left())
    try:
        await server.serve(sockets=[door])
    finally:
        watch.cancel()


def _door(port: int) -> socket.socket:
    door = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if os.name == "posix":  # elsewhere it would let another server in at the same port
        door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        door.bind((_HOST, port))
    except OSError as error:
        door.close()
        raise InputError(
            f"can't be used ({error.strerror})", value=port, field="port", hint="take another, or none"
        ) from None
    return door
