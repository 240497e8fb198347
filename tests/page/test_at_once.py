"""Several things at once, and what can't be used: each has an answer in words."""

from __future__ import annotations

import asyncio
import contextlib
import dis
import gc
import os
import pickle
import signal
import sys
import threading
import time
import types
from collections.abc import Iterator
from pathlib import Path

import httpx
import numpy as np
import pytest
import shapely
from click.testing import CliRunner
from starlette.requests import Request

from carvegen import geometry
from carvegen.artwork.density import density_of
from carvegen.base.errors import CarvegenError, InputError
from carvegen.base.files import scratch_folder
from carvegen.base.limits import Limits
from carvegen.facts.profiles import Library
from carvegen.interfaces.cli.whole_print import mark
from carvegen.interfaces.page.app import Page
from carvegen.interfaces.page.beginning import offers
from carvegen.interfaces.page.gestures import gesture
from carvegen.interfaces.page.print_checks import nearby_findings
from carvegen.interfaces.page.serving import Served, _ended_in_order, serve
from carvegen.interfaces.page.session import OnlyLooksError, Session
from carvegen.interfaces.page.work.processes import BackgroundWork
from carvegen.motifs.snowfall import readable
from carvegen.motifs.snowfall.settings import Settings
from carvegen.prints.picture.known import Known
from tests.cases import SHELF
from tests.page.page import AFTER, Hand, page_in, print_file, stroke, until
from tests.page.slow_work import slow
from tests.page.test_serving import HOST, JSON, OWN, SNOWFALL, TOKEN, _built, asked, drawing


def at_once(page: Page, *posts: tuple[str, dict]) -> list[httpx.Response]:
    async def run() -> list[httpx.Response]:
        transport = httpx.ASGITransport(app=page.app(HOST, TOKEN))
        async with httpx.AsyncClient(transport=transport, base_url=f"http://{HOST}", timeout=60) as client:
            return await asyncio.gather(*(client.post(f"/{TOKEN}/{name}", **more) for name, more in posts))

    return asyncio.run(run())


@pytest.fixture
def page(tmp_path):
    page = page_in(tmp_path, print_file(tmp_path, after=SNOWFALL))
    yield page
    page.end()


def test_each_upload_stays_what_it_is(page) -> None:
    data = [drawing(20 + k, 10, "<rect width='5' height='5'/>") for k in range(6)]
    answers = at_once(page, *(("upload/x.svg", {"headers": OWN, "content": one}) for one in data))
    for answer, each in zip(answers, data, strict=True):
        assert answer.status_code == 200, answer.text
        assert page._uploads[answer.json()["upload"]].path.read_bytes() == each


def test_prints_are_begun_one_after_the_other(page) -> None:
    begin = ("begin", {"headers": JSON, "json": {"with": "print", "print": "print.toml"}})
    answers = at_once(page, begin, begin, begin)
    assert [answer.status_code for answer in answers] == [200, 200, 200]
    assert not page.session.only_looks
    page.end()
    page.end()  # closed twice


def test_a_closed_session_begins_nothing(tmp_path, monkeypatch) -> None:
    begun: list[object] = []
    monkeypatch.setattr(BackgroundWork, "start", lambda *_, **__: begun.append(1))
    session = Session(print_file(tmp_path, after=""), SHELF, lambda _: None)
    until(lambda: session._later is not None and session._later.ident is not None)  # it is there before it runs
    waits = session._later
    session.close()
    session._check_later()
    session._check()
    waits.join(20)
    assert session._later is waits, "no other was begun"
    assert not begun


def test_the_hand_goes_on_while_work_is_begun_and_what_was_let_go_of_meanwhile_is_stopped(
    tmp_path, monkeypatch
) -> None:
    """The first process takes seconds to come: its modules are read before."""
    hand, free, stopped = Hand(print_file(tmp_path, after="")), [], []
    until(lambda: hand.session._later is not None)
    hand.session._later.cancel()

    def other_thread() -> None:
        free.append(hand.session._lock.acquire(timeout=0.1))
        if free[0]:
            hand.session._lock.release()

    def start(*_: object, **__: object) -> None:
        other = threading.Thread(target=other_thread)
        other.start()
        other.join()
        assert free == [True]
        hand.close()

    monkeypatch.setattr(BackgroundWork, "start", start)
    monkeypatch.setattr(hand.session._checks, "stop", lambda: stopped.append(len(free)))
    hand.session._check()
    assert stopped == [1, 1], "by what closed it, and again once it was begun"


def test_a_gesture_waits_while_the_print_is_opened_again_and_is_done_to_the_new_desk(tmp_path, monkeypatch) -> None:
    """A thread that took the desk before it was exchanged: what it did would have been lost at the next saving."""
    hand = Hand(print_file(tmp_path, after=SNOWFALL))
    session, old = hand.session, hand.session.desk
    real, stale = Session.desk.fget, iter([old])
    with session._lock:
        session._again()
    until(session._ready.is_set)
    monkeypatch.setattr(Session, "desk", property(lambda own: next(stale, None) or real(own)))
    session.do(*gesture({"id": "a", "do": "stroke", "meaning": "stays", "breadth": 2, "points": stroke(5, 5, 9, 9)}))
    hand.close()
    assert session._desk is not old
    assert len(session._desk.marks.own) == 1
    assert len(old.marks.own) == 0


def test_a_closed_session_takes_no_gesture_and_says_nothing(tmp_path) -> None:
    hand = Hand(print_file(tmp_path, after=SNOWFALL))
    hand.close()
    heard = len(hand.heard)
    said = {"id": "a", "do": "stroke", "meaning": "stays", "breadth": 2, "points": stroke(5, 5, 9, 9)}
    with pytest.raises(OnlyLooksError):
        hand.session.do(*gesture(said))
    hand.session._say_work("checking")
    assert len(hand.heard) == heard


def test_a_window_that_is_gone_before_it_is_answered_does_not_listen(page) -> None:
    """It would hold the print, and the server would never end."""
    ask = Request({"type": "http", "method": "GET", "query_string": b"window_id=1", "headers": []})
    asyncio.run(page.events(ask))
    assert not page._listeners


def test_a_print_that_comes_meanwhile_is_not_taken_for_another(page, tmp_path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "a" / "a.toml").write_text("[print]\n")
    begin = [
        ("begin", {"headers": JSON, "json": {"with": "print", "print": name}}) for name in ("print.toml", "../b", 0)
    ]
    assert [answer.status_code for answer in at_once(page, *begin)] == [200, 422, 422]
    assert page.session.path == tmp_path / "print.toml"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="POSIX")
def test_a_pipe_is_no_print(tmp_path) -> None:
    os.mkfifo(tmp_path / "pipe.toml")
    assert offers(SHELF, tmp_path)["prints"] == []


@pytest.mark.parametrize("body", [{"block": ["sky"]}, {"block": "sky", "corners": [10**400, *range(7)]}])
def test_what_is_said_of_a_photograph_is_looked_at(page, tmp_path, body) -> None:
    _built(tmp_path, sky=shapely.box(3, 3, 37, 27))
    at_once(page, ("upload/x.svg", {"headers": OWN, "content": drawing(20, 10, "<rect width='5' height='5'/>")}))
    proof, sheet, upload = at_once(
        page,
        ("proof", {"headers": JSON, "json": {"upload": 0, **body}}),
        ("sheet", {"headers": JSON, "json": {"paper": ["A4"]}}),
        ("understood", {"headers": JSON, "json": {"upload": False}}),
    )
    assert (proof.status_code, sheet.status_code, upload.status_code) == (422, 422, 422)


@pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="POSIX")
@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP"])
def test_a_server_that_is_told_to_end_leaves_nothing_behind(tmp_path, name) -> None:
    left: list[Path] = []
    served = Served(path=print_file(tmp_path, after=SNOWFALL), folder=tmp_path)

    def ready(_: str) -> None:
        left.extend(made)
        os.kill(os.getpid(), getattr(signal, name))

    made: list[Path] = []
    number = getattr(signal, name)
    before = signal.signal(number, signal.SIG_DFL)  # the suite itself may run under `nohup`
    try:
        with pytest.MonkeyPatch.context() as here:
            here.setattr("carvegen.interfaces.page.serving.scratch_folder", lambda: kept_in_sight(made))
            with pytest.raises(KeyboardInterrupt):
                serve(served, SHELF, at=ready)
        assert signal.getsignal(number) == signal.SIG_DFL
    finally:
        signal.signal(number, before)
    assert left
    assert not left[0].exists()


def test_a_server_that_no_window_shows_any_more_tells_so(tmp_path) -> None:
    path, ended = print_file(tmp_path, after=SNOWFALL), list[Path | None]()
    served = Served(path=path, folder=tmp_path, idle_s=0.3)
    serve(served, SHELF, at=lambda url: threading.Thread(target=httpx.get, args=(url,)).start(), left=ended.append)
    assert ended == [path]


def test_the_terminal_says_that_the_page_has_ended_and_what_opens_it_again(tmp_path, monkeypatch) -> None:
    path = print_file(tmp_path, after=SNOWFALL)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("carvegen.interfaces.page.serving.serve", lambda *_, left, **__: left(path))
    result = CliRunner().invoke(mark.command, [path.name, "--no-browser"], catch_exceptions=False)
    assert "no window has shown the page" in result.output
    assert "carvegen mark print.toml" in result.output


def test_what_opens_it_again_has_the_options_that_it_was_started_with(tmp_path, monkeypatch) -> None:
    """In the terminal and on the page."""
    path, served = print_file(tmp_path, after=SNOWFALL), list[Served]()
    (tmp_path / "my own" / "materials").mkdir(parents=True)
    monkeypatch.chdir(tmp_path)

    def serves(own: Served, *_, left, **__) -> None:
        served.append(own)
        left(path)

    monkeypatch.setattr("carvegen.interfaces.page.serving.serve", serves)
    typed = ["print.toml", "--port", "8123", "--profiles", "my own", "--no-browser"]
    result = CliRunner().invoke(mark.command, typed, catch_exceptions=False)
    command = "carvegen mark print.toml --profiles 'my own' --port 8123"
    assert result.output.rstrip().endswith(command)
    (tmp_path / "scratch").mkdir()
    page = Page(path, SHELF, tmp_path, tmp_path / "scratch", options=served[0].options)
    (state,) = asked(page, ("GET", f"/{TOKEN}/print", {"headers": OWN}))
    page.end()
    assert state.json()["start"] == command


@pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="POSIX")
def test_a_signal_that_is_ignored_stays_so() -> None:
    """By POSIX `nohup`, which has a program ignore SIGHUP: it is to outlive its terminal."""
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        with _ended_in_order():
            assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
            assert signal.getsignal(signal.SIGTERM) is signal.default_int_handler
        assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGHUP, before)


@contextlib.contextmanager
def kept_in_sight(made: list[Path]):
    with scratch_folder() as folder:
        made.append(folder)
        yield folder


def test_a_density_of_shapes_is_asked_by_one_thread_at_a_time(monkeypatch) -> None:
    """Two at once end the process where the outline is long: GEOS builds a prepared shape's index while it is asked."""
    inside, most = [], []

    def asked(*_: object) -> list[bool]:
        inside.append(1)
        most.append(len(inside))
        time.sleep(0.02)
        inside.pop()
        return [True]

    monkeypatch.setattr(shapely, "intersects_xy", asked)
    share = density_of("box", placed=lambda _: [shapely.box(0, 0, 1, 1)], size_mm=(1, 1))
    threads = [threading.Thread(target=share, args=(np.zeros((1, 2)),)) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(10)
    assert most == [1, 1, 1, 1]


LIMITS = Limits(land_along_mm=0.5, land_across_mm=0.5, cut_mm=0.5, dot_mm=0.5)


def test_a_figure_that_growing_pictures_share_is_asked_by_one_thread_at_a_time(monkeypatch) -> None:
    inside, most = [], []

    def asked(shapes: object, _: object) -> object:
        inside.append(1)
        most.append(len(inside))
        time.sleep(0.02)
        inside.pop()
        return shapes

    monkeypatch.setattr(readable, "_uncut", asked)
    figure = readable.Figure(seen=shapely.box(0, 0, 1, 1), settings=Settings(), limits=LIMITS)
    threads = [threading.Thread(target=readable.uncut, args=(geometry.empty(), figure)) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(10)
    assert most == [1, 1, 1, 1]


def test_nothing_that_threads_share_is_prepared_but_what_they_ask_in_turn(tmp_path) -> None:
    """GEOS builds a prepared shape's index while it is asked: two threads at once end the process, now and then."""
    more = '[[motifs]]\nmotif = "snowload"\non = ["POST"]\n[[marked]]\nmeaning = "more"\nshape = "box 15 9 2 2"\n'
    after = AFTER.replace("circle 33 24 2", "circle 17 14 1.5") + more
    hand = Hand(print_file(tmp_path, after=after, size=(20, 18)))
    for name, preset in (("snowfall 1", "steady"), ("snowload 1", "deep"), ("snowload 2", "deep")):
        hand.session.thumbnail(name, preset)
    hand.does("stroke", meaning="more", points=stroke(10, 12, 11, 13), breadth=2)
    hand.does("try", motif="snowfall 1", points=[[15, 7], [17, 7], [17, 9]])
    nearby_findings(hand.session.desk.scene(window := shapely.box(0, 0, 20, 18)), window)
    seen, prepared = _held_by(hand.session.desk)
    hand.close()
    assert seen > 200  # all of the desk was looked through
    assert prepared == 0


def _held_by(thing: object) -> tuple[int, int]:
    """How many geometries a thing holds, by whatever ways, and how many of them are prepared, but in figures."""
    looked, rest, geometries = set[int](), [thing], dict[int, shapely.Geometry]()
    while rest:
        one = rest.pop()
        if id(one) in looked or isinstance(one, (types.ModuleType, type, readable.Figure)):
            continue
        looked.add(id(one))
        if isinstance(one, shapely.Geometry):
            geometries[id(one)] = one
        elif isinstance(one, np.ndarray):
            rest += one.ravel().tolist() if one.dtype == object else []
        elif isinstance(one, types.FunctionType):
            rest += [cell.cell_contents for cell in one.__closure__ or ()]
        else:
            rest += gc.get_referents(one)
    return len(geometries), int(shapely.is_prepared(list(geometries.values())).sum())


def test_what_is_known_of_a_drawing_is_asked_by_many_threads() -> None:
    known, faults = Known(), list[BaseException]()

    def ask(k: int) -> None:
        try:
            for turn in range(20_000):
                assert known.once(("a", turn % 60), lambda: turn % 60) == turn % 60  # noqa: B023
        except BaseException as error:  # the thread's own
            faults.append(error)

    before = sys.getswitchinterval()
    sys.setswitchinterval(1e-6)
    threads = [threading.Thread(target=ask, args=(k,)) for k in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    sys.setswitchinterval(before)
    assert not faults


def test_a_fault_in_a_process_is_said() -> None:
    failed: list[CarvegenError] = []
    behind = BackgroundWork()
    behind.start(slow, Path("broken"), None, say=lambda _: None, done=failed.append, failed=failed.append)
    until(lambda: bool(failed))
    assert "ZeroDivisionError" in str(failed[0])


def test_a_print_beside_which_nothing_can_be_written_is_refused_in_words(tmp_path) -> None:
    path = print_file(tmp_path, after="")
    (tmp_path / ".carvegen-journal").write_text("")
    with pytest.raises(InputError, match="can't be used"):
        Session(path, SHELF, lambda _: None)


@pytest.mark.parametrize(
    "said", [{"size": ["x", 2]}, {"size": [0, 0]}, {"size": [10**400, 2]}, {"units": [1]}, {"size": [None, [1]]}]
)
def test_bad_input_is_hers_not_a_fault_of_ours(page, said) -> None:
    at_once(page, ("upload/x.svg", {"headers": OWN, "content": drawing(20, 10, "<rect width='5' height='5'/>")}))
    (answer,) = at_once(page, ("understood", {"headers": JSON, "json": {"upload": 0, **said}}))
    assert answer.status_code == 422
    assert answer.json()["what"]


@pytest.mark.parametrize("more", [{"breadth": 10**400}, {"points": [[10**400, 1], [2, 2]]}])
def test_a_number_beyond_all_numbers_is_refused(page, more) -> None:
    said = {"id": "a", "do": "stroke", "meaning": "stays", "breadth": 3, "points": [[1, 1], [2, 2]], **more}
    (answer,) = at_once(page, ("do", {"headers": JSON, "json": said}))
    assert answer.status_code == 422


def test_a_profile_that_is_changed_is_read_again_here_and_in_the_process_of_a_build(tmp_path) -> None:
    (tmp_path / "materials").mkdir()
    own = tmp_path / "materials" / "linoleum.toml"
    own.write_text(text := SHELF.path("materials", "linoleum").read_text())
    shelf = Library((tmp_path,))
    name = shelf.material("linoleum").name
    own.write_text(text.replace(f'"{name}"', '"another lino"', 1))
    assert pickle.loads(pickle.dumps(shelf)).material("linoleum").name == "another lino"
    assert shelf.material("linoleum").name == "another lino"


#: Where arrays come that were made for that call alone.
_HANDED_OVER = ["blocks/comparison.py", "geometry/medial.py", "toolpaths/simulation/simulated_block.py"]
_SOURCE = Path(geometry.__file__).parents[1]


def test_only_what_a_function_has_made_itself_is_prepared_in_it() -> None:
    """What it was handed may be held by others, too, and asked by another thread: `geometry.prepared` copies that."""
    handed = [
        path.relative_to(_SOURCE).as_posix()
        for path in sorted(_SOURCE.rglob("*.py"))
        if "shapely.prepare(" in (text := path.read_text(encoding="utf-8"))
        for code in _codes(compile(text, str(path), "exec"))
        for _ in _prepared_though_handed(code)
    ]
    assert handed == _HANDED_OVER


def _codes(code: types.CodeType) -> Iterator[types.CodeType]:
    yield code
    for each in code.co_consts:
        if isinstance(each, types.CodeType):
            yield from _codes(each)


def _prepared_though_handed(code: types.CodeType) -> Iterator[str]:
    """Names of what it prepares: parameters, and what hangs on them, but for what it sets itself."""
    steps = [step for step in dis.get_instructions(code) if step.opname not in {"PRECALL", "CACHE"}]
    made = {step.argval for step in steps if step.opname in {"STORE_FAST", "STORE_ATTR"}}
    for before, step, then in zip(steps, steps[1:], [*steps[2:], steps[-1]], strict=False):
        if before.argval == "prepare" and step.opname.startswith("LOAD_FAST"):
            name = then.argval if then.opname == "LOAD_ATTR" else step.argval
            if step.argval in code.co_varnames[: code.co_argcount + code.co_kwonlyargcount] and name not in made:
                yield name
