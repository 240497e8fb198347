"""The routes of the page; all work is done in threads."""

from __future__ import annotations

import asyncio
import json
import secrets
import time
from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from carvegen.artwork import bounds
from carvegen.base.errors import CarvegenError, InputError
from carvegen.interfaces.page.beginning import (
    Upload,
    begun,
    first_look,
    names_as_files,
    offers,
    received,
    thin_out,
    understood,
    upload_of,
)
from carvegen.interfaces.page.gestures import cut_by, gesture
from carvegen.interfaces.page.guard import Guard, forget, remember
from carvegen.interfaces.page.session import OnlyLooksError, Session
from carvegen.interfaces.page.wording import command_for, own_fault
from carvegen.interfaces.page.work.handed_over import INLINE
from carvegen.interfaces.page.work.photographs import DRAWN, MARKED

if TYPE_CHECKING:
    from carvegen.facts.profiles import Library
    from carvegen.interfaces.page.guard import Address

__all__ = ["CLIENT", "Page"]

#: The files of the client, and what they are; nothing else is served from its folder.
CLIENT = {
    "index.html": "text/html; charset=utf-8",
    "page.css": "text/css; charset=utf-8",
    "icon.svg": "image/svg+xml",
    **dict.fromkeys(
        (
            "page.js", "transport.js", "packed.js", "picture.js", "view.js", "overlay.js", "hand.js", "tools.js",
            "slips.js", "begin.js", "cutting.js",
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
_MOST_PAGES = 40
_BEAT_S = 10.0  #: an event stream that has nothing to say says so as often
_MOST_WINDOWS, _MOST_DIGITS = 10**9, 12
_CLAIM_S = 15.0  #: so long a window that has asked for the print may take to listen
_BACK_S = 5.0  #: so long a window that held the print may take to come back, before one that looks gets it

Handler = Callable[[Request], Awaitable[Response]]


class Page:
    """The page of one server: who listens, who holds the print, and the routes."""

    def __init__(
        self, path: Path | None, shelf: Library, folder: Path, scratch: Path, *, address: Address | None = None,
        options: Sequence[str] = (),
    ) -> None:  # fmt: skip
        self._loop: asyncio.AbstractEventLoop | None = None
        self._listeners: dict[asyncio.Queue[dict[str, Any]], int] = {}
        self._asked = 0
        self._options = options
        self._windows = secrets.randbelow(_MOST_WINDOWS)  #: not 0: a window of a program before this may come back
        self._holder: tuple[int, float] | None = None  #: the window that may change the print, and since when
        self._freed = time.monotonic()  #: when nobody came to hold it: at the start, and as that window is closed
        self._shelf, self._folder, self._scratch, self._address = shelf, folder, scratch, address
        self._uploads: list[Upload] = []
        self._taken_in = 0  #: how many were begun to be handed in, whole or not: each has a name of its own
        self._beginning = asyncio.Lock()
        self._session: Session | None = None
        self.last_seen = time.monotonic()
        self.visited = False
        self._over = False  #: the server ends: nobody listens any more
        if path is not None:
            self._session = self._laid(path)

    def _laid(self, path: Path) -> Session:
        """A print on the table; where it is served is noted, so that its window can come back."""
        session = Session(path, self._shelf, self.tell)
        if self._address is not None and not session.only_looks:
            remember(path, self._address)
        return session

    def left(self) -> None:
        """All windows are closed: none will come back."""
        if self._session is not None and not self._session.only_looks:
            forget(self._session.path)

    @property
    def session(self) -> Session:
        """The print that is worked on.

        Raises
        ------
        InputError
            If none was begun.
        """
        if self._session is None:
            raise InputError("no print is open yet", hint="begin with the sample, a print, a drawing or a scan")
        return self._session

    @property
    def path(self) -> Path | None:
        """Of the print that is open; None if none is."""
        return None if self._session is None else self._session.path

    def hang_up(self) -> None:
        """End what windows listen to; in the server's own thread."""
        self._over = True
        self._send({"kind": "over"})

    def end(self) -> None:
        """Write what is left."""
        if self._session is not None:
            self._session.close()

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
        """How long no window has listened or asked; 0 while one does."""
        return 0.0 if self._listeners or self._asked else time.monotonic() - self.last_seen

    def _holds(self, window: int) -> bool:
        """Whether a window may change the print; the first that asks may, until it is closed."""
        if self._holder is not None:
            held, since = self._holder
            if held == window or held in self._listeners.values() or time.monotonic() - since < _CLAIM_S:
                return held == window
        self._holder = (window, time.monotonic())
        return True

    def _check_holds(self, body: dict[str, Any]) -> None:
        """Refuse what would change or stop something, but of the window that holds the print; takes its id out.

        Without an id nothing is done either while a window holds it.

        Raises
        ------
        OnlyLooksError
            If another window does.
        """
        window = body.pop("window_id", None)
        known = type(window) is int and window > 0
        if known and self._holds(window):
            return
        held, since = self._holder or (0, -_CLAIM_S)
        if known or held in self._listeners.values() or time.monotonic() - since < _CLAIM_S:
            raise OnlyLooksError

    # ── routes ──

    async def client(self, request: Request) -> Response:
        """A file of the client, of a fixed list."""
        name = request.path_params.get("name", "index.html")
        if name not in CLIENT or not (_HERE / name).is_file():
            return PlainTextResponse("no such page", 404)
        return Response((_HERE / name).read_bytes(), media_type=CLIENT[name])

    async def state(self, request: Request) -> Response:
        """The print, without its shapes."""
        if self._session is None:
            return JSONResponse({"begin": True})
        description = await run_in_threadpool(self._session.state)
        window_id = request.query_params.get("window_id", "")
        known = window_id.isdecimal() and len(window_id) < _MOST_DIGITS and int(window_id) > 0
        if not known:
            self._windows += 1
        window = int(window_id) if known else self._windows
        waits = request.query_params.get("looks") == "1" and (self._holder or (0,))[0] != window
        held_by = "program" if description["only_looks"] else "window" if waits or not self._holds(window) else ""
        start = command_for(self.path, self._options)
        held = {"window_id": window, "only_looks": bool(held_by), "held_by": held_by}
        return JSONResponse({**description, "start": start, **held})

    async def turn(self, request: Request) -> Response:
        """Whether the print is free for a window that only looked; it holds it from then on."""
        body = await _json_of(request)
        window, session = body.get("window_id"), self.session
        looked = session.only_looks
        if not looked and self._holder is None and time.monotonic() - self._freed < _BACK_S:
            return JSONResponse({"free": False})  # the window that is used may come back: its strokes wait
        if type(window) is not int or window <= 0 or not await run_in_threadpool(session.take_hold):
            return JSONResponse({"free": False})
        if looked and self._address is not None:
            remember(session.path, self._address)
        return JSONResponse({"free": self._holds(window)})

    async def do(self, request: Request) -> Response:
        """A gesture; what it has changed, packed."""
        body = await _json_of(request)
        self._check_holds(body)
        opening = body.pop("opening", "")
        return _packed(await run_in_threadpool(self.session.do, *gesture(body), str(opening)))

    async def foreseen(self, request: Request) -> Response:
        """What would go by a mark that is still being drawn."""
        _, mark = gesture({"id": "foreseen", **await _json_of(request)})
        return JSONResponse(await run_in_threadpool(self.session.foreseen, mark))

    async def events(self, request: Request) -> Response:
        """What happens behind, as it happens."""
        window = request.query_params.get("window_id", "0")
        number = int(window) if window.isdecimal() and len(window) < _MOST_DIGITS else 0

        async def lines() -> AsyncIterator[str]:
            queue: asyncio.Queue[dict[str, Any]] = asyncio.Queue()
            stage = "" if self._session is None else self._session.stage
            queue.put_nowait({"kind": "stage", "text": stage, "part": None})
            try:
                self._listeners[queue] = number  # here: a window that is gone before it is answered never listens
                while not self._over:
                    try:
                        yield f"data: {json.dumps(await asyncio.wait_for(queue.get(), _BEAT_S))}\n\n"
                    except TimeoutError:
                        yield ": here\n\n"
            finally:
                self._listeners.pop(queue, None)
                self.last_seen = time.monotonic()

        return StreamingResponse(lines(), media_type="text/event-stream")

    async def file(self, request: Request) -> Response:
        """One of these files, by its name in the list: no other name reaches the disk."""
        result = await run_in_threadpool(self.session.files)
        file = next((file for file in result if file.name == request.path_params["name"]), None)
        if file is None:
            return PlainTextResponse("no such file", 404)
        data = await run_in_threadpool(file.data)
        shown = INLINE.get(file.paths[0].suffix) if file.kind != "machine" else None
        if shown is None:
            name = file.name.replace("/", "-")
            saved = {"content-disposition": f"attachment; filename*=utf-8''{quote(name)}"}
            return Response(data, media_type="application/octet-stream", headers=saved)
        return Response(data, media_type=shown, headers={"content-security-policy": _FILES_POLICY})

    async def draw_sheet(self, request: Request) -> Response:
        """Begin the sheet that is marked with coloured pencils; an event says when it is there."""
        body = await _json_of(request)
        self._check_holds(body)
        await run_in_threadpool(self.session.draw_sheet, body.get("paper"))
        return Response(status_code=202)

    async def sheet(self, _: Request) -> Response:
        """The sheet, to be printed."""
        path = self.session.sheet()
        if path is None:
            return PlainTextResponse("no sheet was drawn yet", 404)
        return FileResponse(path, media_type=INLINE[".pdf"], headers={"content-security-policy": _FILES_POLICY})

    async def offers(self, _: Request) -> Response:
        """What may be begun with."""
        await run_in_threadpool(self._shelf.look_again)
        return JSONResponse(await run_in_threadpool(offers, self._shelf, self._folder))

    async def begin(self, request: Request) -> Response:
        """Begin a print, or open one that lies there; the one before is left as it is."""
        body = await _json_of(request)
        if self._session is not None:
            self._check_holds(body)
        async with self._beginning:
            path = await run_in_threadpool(begun, body, self._uploads, self._shelf, self._folder)
            before = self._session
            same = before is not None and before.path == path
            if before is not None and same:
                await run_in_threadpool(before.close)
            self._session, self._holder = await run_in_threadpool(self._laid, path), None
            self._freed = time.monotonic()
            if before is not None and not same:
                await run_in_threadpool(before.close)
        return JSONResponse({"name": path.parent.name})

    async def upload(self, request: Request) -> Response:
        """Take a drawing or a picture in; its name is of no use here."""
        data = await _body_of(request, max(bounds.MAX_BYTES.values()))
        self._taken_in += 1
        upload = await run_in_threadpool(received, data, self._scratch, self._taken_in - 1)
        self._uploads.append(upload)
        thin_out(self._uploads)  # here, where no other takes any off meanwhile
        return JSONResponse({"upload": self._uploads.index(upload), "kind": upload.kind})

    async def understood(self, request: Request) -> Response:
        """What is understood of an upload, packed."""
        body = await _json_of(request)
        return _packed(await run_in_threadpool(understood, upload_of(self._uploads, body.get("upload")), body))

    async def corners(self, request: Request) -> Response:
        """Where the corners of a photographed block seem to lie, and how large the picture says that it is."""
        body = await _json_of(request)
        upload = upload_of(self._uploads, body.get("upload"))
        return JSONResponse(await run_in_threadpool(first_look, upload))

    async def names(self, request: Request) -> Response:
        """What blocks are called in the files, and which names can't be."""
        body = await _json_of(request)
        return JSONResponse(await run_in_threadpool(names_as_files, body.get("names")))

    async def proof(self, request: Request) -> Response:
        """A photograph of a proof or a block laid on the plan: what is said of it."""
        body = await _json_of(request)
        picture = upload_of(self._uploads, body.get("upload")).path
        return JSONResponse(await run_in_threadpool(self.session.compared, picture, body, self._scratch))

    async def read_sheet(self, request: Request) -> Response:
        """What is understood of photographs of the coloured sheet; nothing is a mark yet."""
        body = await _json_of(request)
        numbers = body.get("uploads")
        if not isinstance(numbers, list) or not 0 < len(numbers) <= _MOST_PAGES:
            raise InputError(f"must be 1 to {_MOST_PAGES} photographs", field="uploads")
        pages = [upload_of(self._uploads, number).path for number in numbers]
        return JSONResponse(await run_in_threadpool(self.session.read_sheet, pages, self._scratch))

    async def proof_file(self, request: Request) -> Response:
        """What was drawn of a photograph: with rings, with marks, or what is still to cut of a block, to be printed."""
        name = request.path_params["name"]
        path = self._scratch / name
        if not (name == MARKED or DRAWN.fullmatch(name)) or not path.is_file():
            return PlainTextResponse("no such picture", 404)
        return FileResponse(path, media_type=INLINE[path.suffix], headers={"content-security-policy": _FILES_POLICY})

    async def close(self, request: Request) -> Response:
        """A window was closed."""
        body = await _json_of(request)
        if self._holder is not None and body.get("window_id") == self._holder[0]:
            self._holder, self._freed = None, time.monotonic()
        return Response(status_code=204)

    def _answers(self, work: Callable[[Session, Request], Any], media_type: str = "application/json") -> Handler:
        """A handler that answers with what is asked of the print: JSON, or bytes of another type."""

        async def answer(request: Request) -> Response:
            result = await run_in_threadpool(work, self.session, request)
            return Response(result, media_type=media_type) if isinstance(result, bytes) else JSONResponse(result)

        return answer

    def _begins(self, work: Callable[[Session], None], status: int) -> Handler:
        """A handler of the window that holds the print for what goes on behind; its progress comes by events."""

        async def begin(request: Request) -> Response:
            self._check_holds(await _json_of(request))
            await run_in_threadpool(work, self.session)
            return Response(status_code=status)

        return begin

    def routes(self) -> list[Route]:
        """All there are."""
        shapes, picture = "application/octet-stream", "image/png"
        get = {
            "/": self.client, "/print": self.state, "/events": self.events, "/begin": self.offers,
            "/shapes": self._answers(lambda session, _: session.shapes(), shapes),
            "/blocks": self._answers(lambda session, _: session.blocks(), shapes),
            "/tries/{mark}": self._answers(lambda session, ask: session.tries(ask.path_params["mark"]), shapes),
            "/findings": self._answers(lambda session, _: session.findings()),
            "/cautions": self._answers(lambda session, _: session.cautions()),
            "/files": self._answers(lambda session, _: session.handed_over()),
            "/weather/{motif}/{preset}.png": self._answers(lambda session, ask: session.thumbnail(
                ask.path_params["motif"], ask.path_params["preset"]), picture),
            "/weather/{motif}.png": self._answers(lambda session, ask: session.by_hand(
                ask.path_params["motif"], dict(ask.query_params)), picture),
            "/cut-by": self._answers(lambda session, ask: session.drawn_land(cut_by(
                ask.query_params.get("material", ""), ask.query_params.get("cutter", ""),
                ask.query_params.getlist("for")))),
            "/proof/{name}": self.proof_file, "/file/{name:path}": self.file, "/sheet": self.sheet,
        }  # fmt: skip
        post = {
            "/begin": self.begin, "/upload/{name}": self.upload, "/understood": self.understood,
            "/corners": self.corners, "/names": self.names, "/proof": self.proof, "/pencil": self.read_sheet,
            "/do": self.do, "/close": self.close, "/turn": self.turn,
            "/build": self._begins(Session.build, 202), "/stop": self._begins(Session.stop, 204),
            "/look": self._begins(Session.look, 202), "/stop-looking": self._begins(Session.stop_looking, 204),
            "/drawing": self._begins(Session.put_off, 204), "/foreseen": self.foreseen,
            "/sheet": self.draw_sheet,
        }  # fmt: skip
        return [
            *(Route(path, self._seen(handler), methods=["GET"]) for path, handler in get.items()),
            *(Route(path, self._seen(handler), methods=["POST"]) for path, handler in post.items()),
            Route("/{name}", self._seen(self.client), methods=["GET"]),
        ]

    def _seen(self, handler: Handler) -> Handler:
        async def seen(request: Request) -> Response:
            self._loop = asyncio.get_running_loop()
            self.visited = True
            self._asked += 1
            try:
                return await handler(request)
            except OnlyLooksError:
                return _refusal(409, "another window holds this print", "close it there, or look on here")
            except CarvegenError as error:
                error.named(str)
                return _refusal(422, str(error), error.hint)
            except HTTPException:
                raise
            except Exception as error:  # nobody is to meet a traceback
                return _refusal(500, str(own_fault(error)), own_fault(error).hint)
            finally:
                self._asked -= 1
                self.last_seen = time.monotonic()

        return seen

    def app(self, host: str, token: str) -> Guard:
        """The application behind its guard."""
        return Guard(inner=Starlette(routes=self.routes()), host=host, token=token)


def _refusal(status: int, what: str, remedy: str) -> Response:
    return JSONResponse({"what": what, "why": what, "remedy": remedy}, status)


def _packed(data: bytes) -> Response:
    return Response(data, media_type="application/octet-stream")


async def _json_of(request: Request) -> dict[str, Any]:
    """The JSON object of a post; refused if it is too large, of another type, or no object."""
    if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
        raise HTTPException(415, "only JSON")
    try:
        body = json.loads(await _body_of(request, _MOST_BYTES) or b"{}")
    except (ValueError, RecursionError):
        raise HTTPException(400, "no JSON") from None
    if not isinstance(body, dict):
        raise HTTPException(400, "no JSON object")
    return body


async def _body_of(request: Request, most: int) -> bytes:
    """What a post brings, if it is no more than that."""
    body = bytearray()
    async for part in request.stream():
        body += part
        if len(body) > most:
            raise HTTPException(413, f"It is larger than {most / 1e6:g} MB, the most that is read: save it smaller.")
    return bytes(body)
