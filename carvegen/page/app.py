"""The routes of the page: the only place that awaits; all work is done in threads."""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from carvegen.base.errors import CarvegenError
from carvegen.page.gestures import gesture
from carvegen.page.guard import Guard
from carvegen.page.session import OnlyLooksError
from carvegen.page.work.handed_over import INLINE, listed

if TYPE_CHECKING:
    from carvegen.page.session import Session

__all__ = ["CLIENT", "Page"]

#: The files of the client, and what they are; nothing else is served from its folder.
CLIENT = {
    "index.html": "text/html; charset=utf-8",
    "page.css": "text/css; charset=utf-8",
    "icon.svg": "image/svg+xml",
    **dict.fromkeys(
        (
            "page.js", "transport.js", "packed.js", "picture.js", "view.js", "overlay.js", "hand.js", "tools.js",
            "slips.js", "begin.js",
        ),
        "text/javascript; charset=utf-8",
    ),
}  # fmt: skip
_HERE = Path(__file__).parent / "client"
_MOST_BYTES = 4_000_000  #: of a gesture
#: For files that a build has made, shown by themselves: their own scripts and styles, nothing else, no page of ours.
_FILES_POLICY = (
    "sandbox allow-scripts; default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; "
    "img-src data: blob:; frame-ancestors 'none'"
)
_BEAT_S = 10.0  #: an event stream that has nothing to say says so as often
_CLAIM_S = 15.0  #: so long a window that has asked for the print may take to listen

Handler = Callable[[Request], Awaitable[Response]]


class Page:
    """The page of one server: who listens, who holds the print, and the routes."""

    def __init__(self, session: Callable[[Callable[[dict[str, Any]], None]], Session]) -> None:
        self._loop: asyncio.AbstractEventLoop | None = None
        self._listeners: dict[asyncio.Queue[dict[str, Any]], int] = {}
        self._windows = 0
        self._holder: tuple[int, float] | None = None  #: the window that may change the print, and since when
        self.last_seen = time.monotonic()
        self.visited = False
        self.session = session(self.tell)

    # ── who listens ──

    def tell(self, event: dict[str, Any]) -> None:
        """Send an event to all windows; from any thread."""
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._send, event)

    def _send(self, event: dict[str, Any]) -> None:
        for queue in self._listeners:
            queue.put_nowait(event)

    @property
    def idle_s(self) -> float:
        """How long no window has listened or asked; 0 while one listens."""
        return 0.0 if self._listeners else time.monotonic() - self.last_seen

    def _holds(self, window: int) -> bool:
        """Whether a window may change the print; the first that asks may, until it is closed."""
        if self._holder is not None:
            held, since = self._holder
            if held == window or held in self._listeners.values() or time.monotonic() - since < _CLAIM_S:
                return held == window
        self._holder = (window, time.monotonic())
        return True

    # ── routes ──

    async def client(self, request: Request) -> Response:
        """A file of the client, of a fixed list."""
        name = request.path_params.get("name", "index.html")
        if name not in CLIENT or not (_HERE / name).is_file():
            return PlainTextResponse("no such page", 404)
        return Response((_HERE / name).read_bytes(), media_type=CLIENT[name])

    async def state(self, request: Request) -> Response:
        """The print, without its shapes."""
        told = await run_in_threadpool(self.session.state)
        said = request.query_params.get("window_id", "")
        window = int(said) if said.isdecimal() and 0 < int(said) <= self._windows else self._windows + 1
        self._windows = max(self._windows, window)
        looks = told["only_looks"] or not self._holds(window)
        return JSONResponse({**told, "window_id": window, "only_looks": looks})

    async def shapes(self, _: Request) -> Response:
        """All shapes, packed."""
        return _packed(await run_in_threadpool(self.session.shapes))

    async def do(self, request: Request) -> Response:
        """A gesture; what it has changed, packed."""
        said = await _json_of(request)
        window = said.pop("window_id", None)
        if window is not None and not self._holds(window):
            raise OnlyLooksError
        return _packed(await run_in_threadpool(self.session.do, *gesture(said)))

    async def events(self, request: Request) -> Response:
        """What happens behind, as it happens."""
        window = request.query_params.get("window_id", "0")
        queue: asyncio.Queue[dict[str, Any]] = asyncio.Queue()
        self._listeners[queue] = int(window) if window.isdecimal() else 0
        queue.put_nowait({"kind": "stage", "text": self.session.stage, "part": None, "left_s": None})

        async def lines() -> AsyncIterator[str]:
            try:
                while True:
                    try:
                        yield f"data: {json.dumps(await asyncio.wait_for(queue.get(), _BEAT_S))}\n\n"
                    except TimeoutError:
                        yield ": here\n\n"
            finally:
                self._listeners.pop(queue, None)
                self.last_seen = time.monotonic()

        return StreamingResponse(lines(), media_type="text/event-stream")

    async def findings(self, _: Request) -> Response:
        """What would break."""
        return JSONResponse(await run_in_threadpool(self.session.findings))

    async def build(self, request: Request) -> Response:
        """Begin a build; its progress comes by events."""
        await _json_of(request)
        await run_in_threadpool(self.session.build)
        return Response(status_code=202)

    async def stop(self, request: Request) -> Response:
        """Stop a build."""
        await _json_of(request)
        await run_in_threadpool(self.session.stop)
        return Response(status_code=204)

    async def files(self, _: Request) -> Response:
        """What the last build has handed over."""
        return JSONResponse(await run_in_threadpool(lambda: listed(self.session.files())))

    async def file(self, request: Request) -> Response:
        """One of these files, by its number in the list: no name of the page's reaches the disk."""
        found = await run_in_threadpool(self.session.files)
        number = int(request.path_params["number"])
        if number >= len(found):
            return PlainTextResponse("no such file", 404)
        path = found[number].path
        shown = INLINE.get(path.suffix) if found[number].kind != "machine" else None
        if shown is None:
            return FileResponse(path, filename=path.name, media_type="application/octet-stream")
        policy = {"content-security-policy": _FILES_POLICY}
        return FileResponse(path, media_type=shown, headers=policy)

    async def cautions(self, _: Request) -> Response:
        """Open questions and cautions."""
        return JSONResponse(await run_in_threadpool(self.session.cautions))

    async def close(self, request: Request) -> Response:
        """A window was closed."""
        said = await _json_of(request)
        if self._holder is not None and said.get("window_id") == self._holder[0]:
            self._holder = None
        return Response(status_code=204)

    def routes(self) -> list[Route]:
        """All there are."""
        get = {
            "/": self.client, "/print": self.state, "/shapes": self.shapes, "/events": self.events,
            "/findings": self.findings, "/files": self.files, "/file/{number:int}": self.file,
            "/cautions": self.cautions,
        }  # fmt: skip
        post = {"/do": self.do, "/close": self.close, "/build": self.build, "/stop": self.stop}
        return [
            *(Route(path, self._seen(handler), methods=["GET"]) for path, handler in get.items()),
            *(Route(path, self._seen(handler), methods=["POST"]) for path, handler in post.items()),
            Route("/{name}", self._seen(self.client), methods=["GET"]),
        ]

    def _seen(self, handler: Handler) -> Handler:
        async def seen(request: Request) -> Response:
            self._loop = asyncio.get_running_loop()
            self.last_seen, self.visited = time.monotonic(), True
            try:
                return await handler(request)
            except OnlyLooksError:
                return _refusal(409, "another window holds this print", "close it there, or look on here")
            except CarvegenError as error:
                error.named(str)
                return _refusal(422, str(error), error.hint)

        return seen

    def app(self, host: str, token: str) -> Guard:
        """The application behind its guard."""
        return Guard(inner=Starlette(routes=self.routes()), host=host, token=token)


def _refusal(status: int, what: str, remedy: str) -> Response:
    return JSONResponse({"what": what, "why": what, "remedy": remedy}, status)


def _packed(data: bytes) -> Response:
    return Response(data, media_type="application/octet-stream")


async def _json_of(request: Request) -> dict[str, Any]:
    """The JSON object of a post.

    Raises
    ------
    CarvegenError
        If it is too large, of another type, or no object.
    """
    from starlette.exceptions import HTTPException

    if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
        raise HTTPException(415, "only JSON")
    body = bytearray()
    async for part in request.stream():
        body += part
        if len(body) > _MOST_BYTES:
            raise HTTPException(413, "too large")
    try:
        said = json.loads(bytes(body) or b"{}")
    except (ValueError, RecursionError):
        raise HTTPException(400, "no JSON") from None
    if not isinstance(said, dict):
        raise HTTPException(400, "no JSON object")
    return said
