"""Clip paths in shares of a group's size, and lines whose width holds on the page."""

from __future__ import annotations

import time

import pytest
import shapely

from carvegen.artwork import bounds
from carvegen.artwork.svg import read_svg
from carvegen.base.errors import InputError
from tests.bench.svg_against_resvg import _compared, _coverage
from tests.strategies import MANY, few

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm" viewBox="0 0 200 200">'
CLIP = '<clipPath id="c" clipPathUnits="objectBoundingBox"><circle cx=".4" cy=".5" r=".3"/></clipPath>'
TWO = '<rect x="10" y="10" width="30" height="30"/><ellipse cx="90" cy="60" rx="40" ry="20"/>'
PX = 25.4 / 96


def read(body):
    return read_svg(f"{HEAD}{body}</svg>".encode())


@pytest.mark.parametrize(
    "body",
    few([
        f'<g clip-path="url(#c)" transform="translate(20 9) rotate(8)">{TWO}</g>',
        f'<g clip-path="url(#c)"><g transform="scale(1.4)">{TWO}</g></g>',
        f'<defs><g id="a">{TWO}</g></defs><use href="#a" x="12" y="20" clip-path="url(#c)"/>',
        f'<g clip-path="url(#c)"><g clip-path="url(#c)">{TWO}</g><rect width="9" height="5"/></g>',
    ], 2),
)  # fmt: skip
def test_shares_of_a_groups_size_as_resvg_has_them(body):
    """Shapes that are not turned within the group: resvg takes the box of a turned ellipse wider than it is."""
    text = f"{HEAD}{CLIP}{body}</svg>"
    assert _compared(read_svg(text.encode()), _coverage(text)) == "agrees"


def test_a_page_width_does_not_scale():
    """SVG 2 section 8.13: 4 px are 4/96 inch on the page, whatever viewBox and transforms do to the path."""
    line = '<path d="M5 5H25" stroke="black" stroke-width="4" fill="none" {}/>'
    held = line.format('vector-effect="non-scaling-stroke"')
    result = read(f'<g transform="scale(3 2)">{held}</g>')
    assert shapely.area(result.shapes).sum() == pytest.approx(30 * 4 * PX, rel=1e-3)
    plain = read(f'<g transform="scale(3 2)">{line.format("")}</g>')
    assert shapely.area(plain.shapes).sum() == pytest.approx(30 * 4 * 2 * 0.5, rel=1e-3)


def test_a_page_width_needs_a_page():
    line = '<path d="M5 5H25" stroke="black" vector-effect="non-scaling-stroke"/>'
    with pytest.raises(InputError, match="page has no size") as caught:
        read_svg(f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9">{line}</svg>'.encode())
    assert caught.value.hint


def test_groups_in_groups_that_are_all_measured_end_soon(monkeypatch):
    """Each measures what lies in it, so the work grows as the square; it is bounded: here by a part of the budget."""
    monkeypatch.setattr(bounds, "MAX_POINTS", bounds.MAX_POINTS if MANY else bounds.MAX_POINTS // 30)
    body = '<g clip-path="url(#c)">' * 200 + TWO * 400 + "</g>" * 200
    begin = time.process_time()
    with pytest.raises(InputError):
        read(CLIP + body)
    assert time.process_time() - begin < (10 if MANY else 3)
