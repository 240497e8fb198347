"""Lands that drawings show."""

from __future__ import annotations

from dataclasses import replace

import pytest

from carvegen.artwork.drawing import known_words
from carvegen.base.errors import InputError
from carvegen.blocks import from_drawing
from carvegen.blocks.from_drawing import drawn_land
from tests.cases import box, shapes


def drawing(words: str, size: str = 'width="30mm" height="20mm"') -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} viewBox="0 0 30 20"><desc>{words}</desc>'
        '<g id="LAND SEEN"><path d="M20 5H40V25H20Z"/></g></svg>'
    )


def test_a_land_read_from_a_picture_ends_at_the_edge_of_its_face(tmp_path):
    """It measured land beside the block."""
    path = tmp_path / "land.svg"
    path.write_text(drawing(known_words(0.3)))
    land, size = drawn_land(path)
    assert size == pytest.approx((30, 20))
    assert land.bounds == pytest.approx((20, 0, 30, 15), abs=0.01)
    assert land.area == pytest.approx(150, abs=0.1)


def test_a_land_of_no_size_is_refused(tmp_path):
    path = tmp_path / "land.svg"
    path.write_text(drawing(known_words(0.3), size=""))
    with pytest.raises(InputError, match="does not say how large"):
        drawn_land(path)


def test_what_holds_only_the_new_cuts_of_a_block_is_no_land_of_it(monkeypatch, tmp_path):
    path = tmp_path / "land.svg"
    path.write_text(drawing(known_words(0.3)))
    whole = from_drawing.read(path, outlines=True, without=())
    monkeypatch.setattr(from_drawing, "read", lambda *_, **__: replace(whole, new_cuts_only=True))
    with pytest.raises(InputError, match="only what is new") as raised:
        drawn_land(path)
    assert "lands/" in raised.value.hint


@pytest.mark.parametrize(("apart", "said"), [(0, True), (20, False)])
def test_a_cut_that_lies_on_a_cut_out_is_cut_out_and_that_is_said(apart: float, said: bool) -> None:
    """Squares of 10 mm that overlap by half, or lie apart: plane areas."""
    cuts, notes = from_drawing._apart(shapes(box(0, 0, 10, 10)), shapes(box(5 + apart, 0, 10, 10)))
    assert [cut.area for cut in cuts] == [50 if said else 100]
    assert bool(notes) == said
    assert from_drawing._apart(shapes(), cuts) == (pytest.approx([]), "")
