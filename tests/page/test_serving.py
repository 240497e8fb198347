"""The page is closed to all but its own window on this computer; a server that is killed has lost and doubled nothing.

What a browser sends is from the Fetch Standard (WHATWG: Origin, Sec-Fetch-Site) and RFC 9110 (Host); from memory.
"""

from __future__ import annotations

import asyncio
import io
import os
import re
import signal
import sys
import time
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import httpx
import pytest
import shapely
from PIL import Image, ImageDraw

from carvegen.delivery.build_record import RECORD, BuildRecord
from carvegen.facts.profiles import Library
from carvegen.interfaces.page.app import CLIENT, Page
from carvegen.interfaces.page.gestures import gesture
from carvegen.interfaces.page.guard import HEADERS
from tests.artwork.scan import on_plan_pictures
from tests.cli.running import Forked, needs_fork
from tests.page.page import Hand, page_in, print_file, stroke, unpacked
from tests.strategies import takes_long

HOST, TOKEN = "127.0.0.1:8123", "a-token-of-this-test"
OWN = {"host": HOST, "origin": f"http://{HOST}", "sec-fetch-site": "same-origin"}
JSON = {**OWN, "content-type": "application/json"}
SNOWFALL = '[[motifs]]\nmotif = "snowfall"\nsettings = { snow = 0.1, smallest_mm = 1.0, largest_mm = 2.0 }\n'


def drawing(width: int, height: int, shapes: str) -> bytes:
    size = f'width="{width}mm" height="{height}mm" viewBox="0 0 {width} {height}"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{shapes}</svg>'.encode()


def asked(page: Page, *requests: tuple[str, str, dict[str, Any]]) -> list[httpx.Response]:
    """The answers, each request without the headers that a client adds by itself."""

    async def run() -> list[httpx.Response]:
        transport = httpx.ASGITransport(app=page.app(HOST, TOKEN))
        result = []
        async with httpx.AsyncClient(transport=transport, base_url=f"http://{HOST}", timeout=60) as client:
            for method, path, more in requests:
                result.append(await client.request(method, path, **more))
        return result

    return asyncio.run(run())


@pytest.fixture
def page(tmp_path):
    page = page_in(tmp_path)
    yield page
    page.end()


@pytest.fixture
def printed(tmp_path):
    page = page_in(tmp_path, print_file(tmp_path, after=SNOWFALL))
    yield page
    page.end()


@pytest.fixture
def wide_print(tmp_path):
    """The page on a print as large as the pictures of `on_plan_pictures`, and its folder."""
    page = page_in(tmp_path, print_file(tmp_path, after="", size=on_plan_pictures.SIZE))
    yield page, tmp_path
    page.end()


@pytest.mark.parametrize(
    ("method", "path", "headers", "status"),
    [
        ("GET", f"/{TOKEN}/begin", OWN, 200),
        ("GET", f"/{TOKEN}/begin", {"host": HOST}, 200),  # typed into the address line
        ("GET", f"/{TOKEN}/begin", {**OWN, "host": "evil.example:8123"}, 421),  # a name that resolves to us
        ("GET", f"/{TOKEN}/begin", {**OWN, "host": "localhost:8123"}, 421),
        ("GET", f"/{TOKEN}/begin", {**OWN, "host": "127.0.0.1"}, 421),
        ("GET", "/a-guess/begin", OWN, 404),
        ("GET", "/begin", OWN, 404),
        ("GET", "/", OWN, 404),
        ("GET", f"/{TOKEN}/begin", {**OWN, "origin": "http://evil.example"}, 403),
        ("GET", f"/{TOKEN}/begin", {"host": HOST, "sec-fetch-site": "cross-site"}, 403),
        ("GET", f"/{TOKEN}/begin", {"host": HOST, "sec-fetch-site": "same-site"}, 403),  # another port of ours
        ("POST", f"/{TOKEN}/begin", {**JSON, "origin": "http://evil.example"}, 403),
        ("POST", f"/{TOKEN}/begin", {**JSON, "origin": "null"}, 403),
        ("POST", f"/{TOKEN}/begin", {**JSON, "origin": f"https://{HOST}"}, 403),
        ("POST", f"/{TOKEN}/begin", {"host": HOST, "content-type": "application/json"}, 403),
        ("POST", f"/{TOKEN}/begin", {**OWN, "content-type": "text/plain"}, 415),  # what a form can send unasked
        ("POST", f"/{TOKEN}/begin", JSON, 422),
        ("PUT", f"/{TOKEN}/begin", JSON, 405),
        ("OPTIONS", f"/{TOKEN}/do", {**OWN, "origin": "http://evil.example"}, 405),  # no leave for another page
        ("GET", f"/{TOKEN}/app.py", OWN, 404),
    ],
)
def test_who_is_let_in(page, method, path, headers, status) -> None:
    body = {"content": b"{}"} if method == "POST" else {}
    (answer,) = asked(page, (method, path, {"headers": headers, **body}))
    assert answer.status_code == status
    assert "access-control-allow-origin" not in answer.headers
    assert all(answer.headers[name] == value for name, value in HEADERS.items())


@pytest.mark.parametrize("name", ["../app.py", "client/../app.py", "file/../print.toml", "file//etc/passwd", "file/.."])
def test_no_path_leads_out(printed, name) -> None:
    """Asked without a client between, which would fold the dots before they are sent."""
    sent: list[dict[str, Any]] = []

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Any) -> None:
        sent.append(dict(message))

    headers = [(key.encode(), value.encode()) for key, value in OWN.items()]
    path = f"/{TOKEN}/{name}"
    scope = {
        "type": "http", "method": "GET", "path": path, "raw_path": path.encode(), "query_string": b"",
        "headers": headers, "http_version": "1.1", "scheme": "http", "server": ("127.0.0.1", 8123), "root_path": "",
    }  # fmt: skip
    asyncio.run(printed.app(HOST, TOKEN)(scope, receive, send))
    assert sent[0]["status"] == 404


def test_the_policy_lets_nothing_in_from_elsewhere() -> None:
    policy = dict(rule.strip().split(" ", 1) for rule in HEADERS["content-security-policy"].split(";"))
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == "'self'"
    assert policy["connect-src"] == "'self'"
    assert policy["frame-ancestors"] == policy["form-action"] == policy["base-uri"] == "'none'"
    assert "unsafe" not in HEADERS["content-security-policy"]


def test_only_the_client_s_own_files_are_served(page) -> None:
    folder = Path(sys.modules["carvegen.interfaces.page.app"].__file__).parent / "client"
    there = [name for name in CLIENT if (folder / name).is_file()]
    answers = asked(page, *(("GET", f"/{TOKEN}/{name}", {"headers": OWN}) for name in there))
    assert there
    assert all(answer.content == (folder / name).read_bytes() for name, answer in zip(there, answers, strict=True))


def test_uploads_are_drawings_or_pictures_of_a_size_that_can_be_read(page, tmp_path, monkeypatch) -> None:
    monkeypatch.setitem(sys.modules["carvegen.artwork.bounds"].MAX_BYTES, "SVG", 300)
    svg = drawing(20, 10, '<rect width="5" height="5"/>')
    post = [("POST", f"/{TOKEN}/upload/..%5cx.svg", {"headers": OWN, "content": data})
            for data in (svg, svg + b"<!-- " + 300 * b"x" + b"-->", b"MZ\x90 a program")]  # fmt: skip
    good, large, other = asked(page, *post)
    assert good.json() == {"upload": 0, "kind": "SVG"}
    assert (large.status_code, other.status_code) == (422, 422)
    assert [path.name for path in (tmp_path / "scratch").iterdir()] == ["upload-0.svg"]
    (seen,) = asked(page, ("POST", f"/{TOKEN}/understood", {"headers": JSON, "json": {"upload": 0}}))
    report, shapes = unpacked(seen.content)
    assert report["size"] == [20, 10]
    assert [layer["name"] for layer in report["layers"]] == report["usual"]["blocks"][1]["layers"] == ["drawing"]
    assert sum(shape.area for shape in shapes.values()) == pytest.approx(25)


def test_of_all_that_is_handed_in_the_oldest_goes_and_what_is_too_large_is_told_how_large_it_may_be(
    page, monkeypatch
) -> None:
    limits = sys.modules["carvegen.artwork.bounds"].MAX_BYTES
    monkeypatch.setattr("carvegen.interfaces.page.beginning.MOST_HELD", 300)
    svg = drawing(20, 10, '<rect width="5" height="5"/>')
    assert 150 > len(svg) > 100
    post = ("POST", f"/{TOKEN}/upload/x.svg", {"headers": OWN, "content": svg})
    read = [("POST", f"/{TOKEN}/understood", {"headers": JSON, "json": {"upload": k}}) for k in range(3)]
    *_, gone, there, last = asked(page, post, post, post, *read)
    assert (gone.status_code, there.status_code, last.status_code) == (422, 200, 200)
    assert "choose the file once more" in gone.json()["remedy"]
    for kind in limits:
        monkeypatch.setitem(limits, kind, 2_000_000)
    (large,) = asked(page, ("POST", f"/{TOKEN}/upload/x.svg", {"headers": OWN, "content": 2_000_001 * b"x"}))
    assert (large.status_code, "larger than 2 MB" in large.text) == (413, True)


def test_a_profile_that_comes_while_the_page_is_open_is_offered(tmp_path) -> None:
    (tmp_path / "mine" / "cutters").mkdir(parents=True)
    page = page_in(tmp_path, shelf=Library([tmp_path / "mine"]))
    cutters = []
    for _ in range(2):
        (offers,) = asked(page, ("GET", f"/{TOKEN}/begin", {"headers": OWN}))
        cutters.append({cutter["key"] for cutter in offers.json()["cutters"]})
        shipped = page._shelf.path("cutters", "v-60").read_text(encoding="utf-8")
        (tmp_path / "mine" / "cutters" / "my-gouge.toml").write_text(shipped, encoding="utf-8")
    assert cutters[1] - cutters[0] == {"my-gouge"}


def test_a_print_begins_with_a_drawing_in_a_folder_of_its_own(page, tmp_path) -> None:
    svg = drawing(40, 30, '<g id="POST"><rect x="5" y="5" width="5" height="25"/></g>')
    block = {
        "name": "key",
        "role": "key",
        "ink": "#1f2b3d",
        "layers": ["POST"],
        "material": "linoleum",
        "cutter": "v-60",
    }
    said = {"with": "drawing", "upload": 0, "name": "../../My Pier", "blocks": [{**block, "name": "../"}]}
    _, bad, good = asked(
        page,
        ("POST", f"/{TOKEN}/upload/x.svg", {"headers": OWN, "content": svg}),
        ("POST", f"/{TOKEN}/begin", {"headers": JSON, "json": said}),
        ("POST", f"/{TOKEN}/begin", {"headers": JSON, "json": {**said, "blocks": [block]}}),
    )
    assert bad.status_code == 422
    assert "plain name" in bad.json()["what"]
    assert good.json() == {"name": "my-pier"}
    assert sorted(path.name for path in tmp_path.iterdir()) == ["my-pier", "scratch"]
    assert page.session.state()["name"] == "../../My Pier"


def test_a_second_window_only_looks_until_the_first_is_closed(printed) -> None:
    mine, again = (("GET", f"/{TOKEN}/print?window_id={window}", {"headers": OWN}) for window in (1, 2))

    def do(window: int, name: str) -> tuple[str, str, dict[str, Any]]:
        said = {"id": name, "do": "stroke", "meaning": "stays", "breadth": 2, "points": stroke(5, 5, 9, 9)}
        return ("POST", f"/{TOKEN}/do", {"headers": JSON, "json": {**said, "window_id": window}})

    close = ("POST", f"/{TOKEN}/close", {"headers": JSON, "json": {"window_id": 1}})
    one, two, first, second, _, later, now = asked(
        printed, mine, again, do(1, "a"), do(2, "b"), close, again, do(2, "b")
    )
    assert (one.json()["only_looks"], two.json()["only_looks"], later.json()["only_looks"]) == (False, True, False)
    assert (first.status_code, second.status_code, now.status_code) == (200, 409, 200)


def test_a_window_that_looks_is_told_why_and_gets_the_print_when_it_asks_after_the_other_was_closed(
    printed, monkeypatch
) -> None:
    monkeypatch.setattr("carvegen.interfaces.page.app._BACK_S", 0.0)

    def ask(window: int) -> tuple[str, str, dict[str, Any]]:
        return "POST", f"/{TOKEN}/turn", {"headers": JSON, "json": {"window_id": window}}

    see = [("GET", f"/{TOKEN}/print?window_id={window}", {"headers": OWN}) for window in (1, 2)]
    close = ("POST", f"/{TOKEN}/close", {"headers": JSON, "json": {"window_id": 1}})
    answers = asked(printed, *see, ask(2), ask(1), close, ask(2), ask(1), ask(0))
    assert [answer.json()["held_by"] for answer in answers[:2]] == ["", "window"]
    assert [answer.json()["free"] for answer in (*answers[2:4], *answers[5:])] == [False, True, True, False, False]


@pytest.mark.parametrize("seconds", [0.0, 4.9, 6.0])
def test_a_window_that_waits_gets_no_print_before_the_one_that_was_used_may_be_back(
    printed, monkeypatch, seconds
) -> None:
    """After a restart, and as a window is laid anew: what it was drawn while nobody answered is to come first."""
    turn = ("POST", f"/{TOKEN}/turn", {"headers": JSON, "json": {"window_id": 2}})
    looks, back = (
        ("GET", f"/{TOKEN}/print?window_id={window}{more}", {"headers": OWN})
        for window, more in ((2, "&looks=1"), (1, ""))
    )
    close = ("POST", f"/{TOKEN}/close", {"headers": JSON, "json": {"window_id": 1}})
    begun = time.monotonic()
    monkeypatch.setattr(printed, "_freed", begun)
    monkeypatch.setattr("carvegen.interfaces.page.app.time", SimpleNamespace(monotonic=lambda: begun + seconds))
    waits, asks, mine, other = asked(printed, looks, turn, back, looks)
    assert (waits.json()["held_by"], asks.json()["free"]) == ("window", seconds == 6.0)
    assert (mine.json()["held_by"], other.json()["held_by"]) == (("window", "") if seconds == 6.0 else ("", "window"))
    if seconds < 6:
        monkeypatch.setattr(printed, "_freed", begun - 100)
        _, once_more = asked(printed, close, turn)
        assert not once_more.json()["free"]


def test_a_page_gets_a_print_that_another_program_held(printed) -> None:
    (there := printed.session.path.parent / "there").mkdir()
    other = page_in(there, printed.session.path)
    see = ("GET", f"/{TOKEN}/print?window_id=1", {"headers": OWN})
    turn = ("POST", f"/{TOKEN}/turn", {"headers": JSON, "json": {"window_id": 1}})
    looks, held = asked(other, see, turn)
    assert (looks.json()["held_by"], held.json()["free"]) == ("program", False)
    printed.end()
    held, mine = asked(other, turn, see)
    other.end()
    assert (held.json()["free"], mine.json()["held_by"]) == (True, "")


def test_a_window_that_only_looks_neither_builds_nor_stops_nor_begins(printed) -> None:
    windows = [("GET", f"/{TOKEN}/print?window_id={window}", {"headers": OWN}) for window in (1, 2)]
    bodies = [
        ("build", {}),
        ("stop", {}),
        ("sheet", {"paper": "A4"}),
        ("begin", {"with": "print", "print": "print.toml"}),
        ("do", {}),
    ]
    posts = [
        ("POST", f"/{TOKEN}/{name}", {"headers": JSON, "json": {**body, **own}})
        for name, body in bodies for own in ({"window_id": 2}, {}, {"window_id": "1"}, {"window_id": True})
    ]  # fmt: skip
    session = printed.session
    answers = asked(printed, *windows, *posts)
    assert {answer.status_code for answer in answers[2:]} == {409}
    assert printed.session is session
    (stopped,) = asked(printed, ("POST", f"/{TOKEN}/stop", {"headers": JSON, "json": {"window_id": 1}}))
    assert stopped.status_code == 204


@needs_fork
def test_ctrl_c_with_a_window_open_ends_it_in_order_and_does_not_say_that_nothing_was_changed(tmp_path) -> None:
    program = Forked(tmp_path, "mark", print_file(tmp_path, after=SNOWFALL), "--no-browser")
    address = re.search(r"http://\S+/", program.stdout.readline())[0]
    with httpx.Client(base_url=address, timeout=60) as own, own.stream("GET", "events") as events:
        lines = events.iter_lines()
        assert next(lines).startswith("data: ")
        os.kill(program.pid, signal.SIGINT)
        assert [*lines]  # to the end: a stream that is broken off raises
    ended = program.ended()
    assert (ended.code, ended.err) == (0, "")
    assert "What was done on the page is in the print's files." in ended.out


@needs_fork
def test_the_server_is_killed_and_comes_back(tmp_path) -> None:
    path = print_file(tmp_path, after=SNOWFALL)
    said = {"id": "s1", "do": "stroke", "meaning": "stays", "breadth": 3, "points": stroke(5, 5, 30, 9)}
    program = Forked(tmp_path, "mark", path, "--no-browser")
    address = re.search(r"http://127\.0\.0\.1:\d+/[\w-]{20,}/", program.stdout.readline())[0]
    origin = address.rpartition("/")[0].rpartition("/")[0]
    with httpx.Client(base_url=address, headers={"origin": origin}, timeout=60) as own:
        window = own.get("print").json()["window_id"]
        assert own.post("do", json={**said, "window_id": window}).status_code == 200
    os.kill(program.pid, signal.SIGKILL)
    program.ended()
    hand = Hand(path)  # the lock of a dead process holds nothing
    assert not hand.session.only_looks
    assert hand.session.do(*gesture(said))
    assert len(hand.session.state()["marks"]) == 1
    assert hand.session.state()["undo"] == 1
    hand.close()


def _built(folder: Path, **lands: shapely.Geometry) -> None:
    (folder / "built" / "lands").mkdir(parents=True)
    for name, land in lands.items():
        (folder / "built" / "lands" / f"{name}.wkb").write_bytes(shapely.to_wkb(land))
    (folder / "built" / RECORD).write_text(BuildRecord(steps={}).to_text())


def _png(picture: Image.Image) -> bytes:
    out = io.BytesIO()
    picture.save(out, "PNG")
    return out.getvalue()


def _photographed(land: shapely.Geometry, **how: Any) -> bytes:
    painted = on_plan_pictures.painted(land, 5.0)
    return _png(Image.fromarray(on_plan_pictures.photographed(painted, px=5.0, size=(760, 578), **how)[0]))


def _proved(page: Page, picture: bytes, *said: dict[str, object], number: int = 0) -> list[Any]:
    """What is answered on a photograph, each time with something else said of it."""
    sent = [("POST", f"/{TOKEN}/proof", {"headers": JSON, "json": {"upload": number, **each}}) for each in said]
    return asked(page, ("POST", f"/{TOKEN}/upload/proof.png", {"headers": OWN, "content": picture}), *sent)[1:]


def test_too_little_to_lay_a_photograph_by_is_laid_by_its_corners(printed, tmp_path) -> None:
    """The block as it is built, drawn as a scan with one patch too much ink and one too little."""
    _built(tmp_path, sky=shapely.box(3, 3, 37, 27).difference(shapely.box(10, 10, 20, 20)))
    scan = Image.new("L", (800 + 200, 600 + 200), 255)
    draw = ImageDraw.Draw(scan)
    draw.rectangle((160, 160, 839, 639), fill=20)
    draw.rectangle((300, 300, 499, 499), fill=255)  # 10 to 20 mm: 20 pixels a millimetre, y down
    draw.rectangle((300, 300, 359, 499), fill=20)  # 3 x 10 mm that should be cut still stand
    draw.rectangle((700, 200, 739, 239), fill=255)  # 2 x 2 mm are cut that should stand
    corners = [100, 700, 900, 700, 900, 100, 100, 100]
    asks, answer, lost = _proved(
        printed, _png(scan), {"block": "sky"}, {"block": "sky", "corners": corners}, {"block": "moon"}
    )
    assert "Too little is drawn" in asks.json()["fault"]
    assert lost.status_code == 422
    (drawn,) = asked(printed, ("GET", f"/{TOKEN}/proof/{answer.json()['picture']}", {"headers": OWN}))
    assert drawn.content[:4] == b"\x89PNG"
    of = {line.split(":")[0]: float(re.search(r"([\d.]+) mm²", line)[1]) for line in answer.json()["lines"][1:]}
    assert of == {
        "still to cut": pytest.approx(30, abs=1.5), "cut where the plan cuts nothing":
        pytest.approx(4, abs=0.5),
    }  # fmt: skip
    printed.session.do(*gesture({"id": "f", "do": "take marks", "sheet": answer.json()["follow"]}))
    (mark,) = printed.session.state()["marks"]  # on that block alone the plan follows what is gone
    assert (mark["meaning"], mark["blocks"]) == ("comes out", ["sky"])
    assert shapely.Polygon(mark["rings"][0]).area == pytest.approx(4, abs=0.5)


@takes_long  # in the browser and by `compare` it is laid, too
def test_a_photograph_is_laid_on_the_plan_by_the_drawing_itself(wide_print) -> None:
    """Places are where they were planted, in the words of `compare`; what is still to cut can be printed."""
    page, folder = wide_print
    to_cut, unplanned = shapely.box(20, 60, 26, 66), shapely.box(100, 60, 104, 65)
    plan = on_plan_pictures.sky().difference(to_cut).union(unplanned.buffer(3))
    land = plan.union(to_cut).difference(unplanned)
    _built(folder, sky=plan)
    (answer,) = _proved(page, _photographed(land, mirrored=True, turn=12.0), {"block": "sky"})
    report = answer.json()
    report["lines"] = [
        each for each in report["lines"] if not each.startswith("note: look twice at 1:")
    ]  # 36 mm² are much
    assert report["fault"] == ""
    assert report["lines"][0].startswith(
        "sky: the picture shows the block itself, mirrored, and is drawn as it prints; laid on the plan by the drawing"
    )
    assert [one.split(":")[0] for one in report["lines"][1::2]] == ["still to cut", "cut where the plan cuts nothing"]
    places = [re.findall(r"[\d.]+", line.partition(":")[2]) for line in report["lines"][2::2]]  # mm², x, y, mm
    result = [[float(item) for item in lot[:3]] for lot in places]
    assert result == [pytest.approx(entry, rel=0.08) for entry in ([36, 23, 63], [20, 102, 62.5])]
    picture, sheet, other = asked(
        page, *(("GET", f"/{TOKEN}/proof/{this}", {"headers": OWN})
                for this in (report["picture"], report["sheets"][0]["file"], "upload-0.picture"))
    )  # fmt: skip
    assert (picture.content[:4], sheet.content[:5]) == (b"\x89PNG", b"%PDF-")
    assert other.status_code == 404
    (refused,) = _proved(page, _photographed(on_plan_pictures.sky(31)), {"block": "sky"}, number=1)
    assert refused.json()["fault"].startswith("It does not fit the plan: ")
