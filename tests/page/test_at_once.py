"""Several things at once, and what can't be used: each has an answer in words."""

from __future__ import annotations

import asyncio
import pickle
from pathlib import Path

import httpx
import pytest

from carvegen.base.errors import CarvegenError, InputError
from carvegen.facts.profiles import Library
from carvegen.page.app import Page
from carvegen.page.session import Session
from carvegen.page.work.processes import BackgroundWork
from tests.cases import SHELF
from tests.page.page import page_in, print_file, until
from tests.page.slow_work import slow
from tests.page.test_serving import HOST, JSON, OWN, SNOWFALL, TOKEN, drawing


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
    answers = at_once(page, *(("upload/x.svg", {"headers": OWN, "content": its}) for its in data))
    for answer, its in zip(answers, data, strict=True):
        assert answer.status_code == 200, answer.text
        assert page._uploads[answer.json()["upload"]].path.read_bytes() == its


def test_prints_are_begun_one_after_the_other(page) -> None:
    begin = ("begin", {"headers": JSON, "json": {"with": "print", "n": 0}})
    answers = at_once(page, begin, begin, begin)
    assert [its.status_code for its in answers] == [200, 200, 200]
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
