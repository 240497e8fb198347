"""Who is let in before any route: right host, right token, own page; and where a window that is open finds it again."""

from __future__ import annotations

import contextlib
import json
import os
import re
import secrets
from collections.abc import Awaitable, Callable, Iterator, Mapping, MutableMapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from carvegen.marking.journal import FOLDER

__all__ = ["HEADERS", "Address", "Guard", "forget", "last", "pointer_to", "refused", "remember"]

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

#: Nothing from elsewhere, no inline script, no frame around it, nothing kept by the browser.
HEADERS = {
    "content-security-policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; "
    "require-trusted-types-for 'script'; trusted-types 'none'",
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cache-control": "no-store",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}


@dataclass(frozen=True, kw_only=True)
class Guard:
    """Stands before the routes.

    Refused are a foreign Host (so that a name which resolves to this computer reaches nothing), a wrong token, an
    Origin or Sec-Fetch-Site of another page, and posts whose Origin is not said.
    """

    inner: App
    host: str  #: with the port
    token: str

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request in, or say why not."""
        if scope["type"] == "lifespan":
            await self.inner(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        headers = {name.decode("latin-1").lower(): value.decode("latin-1") for name, value in scope["headers"]}
        no = refused(scope["method"], scope["path"], headers, host=self.host, token=self.token)
        if no is not None:
            await _say(no, send)
            return
        path = scope["path"][len(self.token) + 1 :] or "/"
        await self.inner({**scope, "path": path, "raw_path": path.encode()}, receive, _with_headers(send))


def refused(method: str, path: str, headers: Mapping[str, str], *, host: str, token: str) -> tuple[int, str] | None:
    """Why a request is not let in; None if it is."""
    if headers.get("host") != host:
        return 421, "this page has another address"
    own = path.split("/")[1] if path.startswith("/") else ""
    if not secrets.compare_digest(own.encode(), token.encode()):
        return 404, "no such page"
    if method not in ("GET", "POST"):
        return 405, "only GET and POST"
    origin = headers.get("origin")
    if (origin is not None and origin != f"http://{host}") or (origin is None and method != "GET"):
        return 403, "asked from another page"
    opened = method == "GET" and path == f"/{token}/" and headers.get("sec-fetch-mode") == "navigate"
    if headers.get("sec-fetch-site", "none") not in ("same-origin", "none") and not opened:
        return 403, "asked from another page"  # only the page itself is opened from elsewhere: by a file of ours
    return None


def _with_headers(send: Send) -> Send:
    async def sent(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            own = {name for name, _ in message["headers"]}
            more = [(name.encode(), value.encode()) for name, value in HEADERS.items() if name.encode() not in own]
            message = {**message, "headers": [*message["headers"], *more]}
        await send(message)

    return sent


async def _say(no: tuple[int, str], send: Send) -> None:
    status, words = no
    head = [(b"content-type", b"text/plain; charset=utf-8"), (b"connection", b"close")]
    out = _with_headers(send)
    await out({"type": "http.response.start", "status": status, "headers": head})
    await out({"type": "http.response.body", "body": words.encode()})


_TOKEN = re.compile(r"[A-Za-z0-9_-]{32}")
_PORTS = range(1024, 65536)


@dataclass(frozen=True, kw_only=True)
class Address:
    """A port of this computer, and the token without which nothing is answered there."""

    port: int
    token: str


def last(path: Path) -> Address | None:
    """The address that the page of the print at `path` had last; None if it had none, or its file is not our own."""
    try:
        with _file(path).open(encoding="utf-8") as file:
            if os.name == "posix" and os.fstat(file.fileno()).st_mode & 0o077:
                return None  # others could have read it
            record = json.loads(file.read(1000))
        address = Address(port=record["port"], token=record["token"])
        good = address.port in _PORTS and _TOKEN.fullmatch(address.token)
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return address if good else None


def remember(path: Path, address: Address) -> None:
    """Note an address, for its owner's eyes alone; without a word where that can't be: the next has another then."""
    file = _file(path)
    beside = file.with_name(f".{file.name}.next")
    try:
        _write_private(beside, json.dumps(asdict(address)))
        beside.replace(file)
    except OSError:
        return


@contextlib.contextmanager
def pointer_to(url: str, folder: Path) -> Iterator[Path | None]:
    """A file in a folder, for its owner's eyes alone, that leads a browser to an address; gone on leaving.

    What a browser is started with can be read by everybody on the computer, so that is this file and not the token.
    None where no file can be written.
    """
    file = folder / f"open-the-page-{secrets.token_hex(4)}.html"
    try:
        _write_private(file, f'<!doctype html><meta http-equiv="refresh" content="0; url={url}"><a href="{url}">on</a>')
    except OSError:
        yield None
        return
    try:
        yield file
    finally:
        with contextlib.suppress(OSError):
            file.unlink(missing_ok=True)


def _write_private(file: Path, text: str) -> None:
    """Write a file that its owner alone may read, from the start."""
    file.unlink(missing_ok=True)
    with os.fdopen(os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as out:
        out.write(text)


def forget(path: Path) -> None:
    """No window is open any more: the next address is another."""
    try:
        _file(path).unlink(missing_ok=True)
    except OSError:
        return


def _file(path: Path) -> Path:
    return path.parent / FOLDER / f"{path.stem}.address"
