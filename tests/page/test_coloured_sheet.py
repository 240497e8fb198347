"""A coloured marking sheet on the page: what the command reads of it, and only once she has looked at it."""

from __future__ import annotations

import io

import pytest
import shapely

from carvegen.base.errors import InputError
from carvegen.interfaces.page.app import Page
from carvegen.interfaces.page.gestures import gesture
from tests.cases import layer, small_print
from tests.page.page import page_in
from tests.page.test_serving import JSON, OWN, TOKEN, asked
from tests.pencil_sheets import QUICK, SMALL, Case, drawn_of, flat, read_once, small_strokes

CASE = Case(strokes=small_strokes(), shadow=True, **QUICK)


@pytest.fixture(scope="module")
def photograph() -> bytes:
    out = io.BytesIO()
    flat(CASE).save(out, "PNG", compress_level=1)
    return out.getvalue()


@pytest.fixture(autouse=True, scope="module")
def pages_read_once():
    """The sheet that tests/prints reads, too."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("carvegen.marking.pencil.sheet_reading.read_page", read_once)
        yield


def paged(folder, name: str) -> Page:
    left, bottom, right, top = SMALL.window
    path = folder / "print.toml"
    drawn = layer("POST", "box 5 2 8 20")
    path.write_text(small_print(drawn, blocks={"key": ["POST"]}, size=(right - left, top - bottom), name=name))
    return page_in(folder, path)


def test_marks_of_a_coloured_sheet_are_looked_at_and_taken(tmp_path, photograph) -> None:
    """By the outlines that were hatched."""
    page = paged(tmp_path, SMALL.name)
    _, answer = asked(
        page, ("POST", f"/{TOKEN}/upload/x.png", {"headers": OWN, "content": photograph}),
        ("POST", f"/{TOKEN}/pencil", {"headers": JSON, "json": {"uploads": [0]}}),
    )  # fmt: skip
    report = answer.json()
    assert [line.split(":")[0] for line in report["lines"]] == ["comes out", "stays", "carver decides", "more"]
    assert page.session.state()["marks"] == [], "nothing is a mark before she has looked"
    (picture,) = asked(page, ("GET", f"/{TOKEN}/proof/pencil-marks.png", {"headers": OWN}))
    assert picture.content[:4] == b"\x89PNG"
    take = {"id": "g1", "do": "take marks", "sheet": report["sheet"]}
    page.session.do(*gesture(take))
    marks, drawn = page.session.desk.marks.own, drawn_of(CASE)
    assert {mark.meaning for mark in marks} == set(drawn)
    for meaning, shapes in drawn.items():
        hers, seen = (
            shapely.union_all(shapes),
            shapely.union_all([each.shape for each in marks if each.meaning is meaning]),
        )
        assert hers.symmetric_difference(seen).area < 0.12 * hers.area
    page.session.do(*gesture({"id": "g2", "do": "undo"}))
    assert page.session.state()["marks"] == []
    with pytest.raises(InputError, match="of the photograph: is no longer at hand"):  # of a block's photograph, too
        page.session.do(*gesture({"id": "g3", "do": "take marks", "sheet": "gone"}))
    page.end()


def test_the_sheet_of_another_print_is_refused_by_the_name_that_she_knows(tmp_path, photograph) -> None:
    page = paged(tmp_path, "another")
    _, answer, none, many = asked(
        page, ("POST", f"/{TOKEN}/upload/x.png", {"headers": OWN, "content": photograph}),
        *(("POST", f"/{TOKEN}/pencil", {"headers": JSON, "json": {"uploads": each}}) for each in ([0], [], [7])),
    )  # fmt: skip
    assert (answer.status_code, none.status_code, many.status_code) == (422, 422, 422)
    assert "photograph 1" in answer.json()["what"]
    assert str(tmp_path) not in answer.text
    page.end()
