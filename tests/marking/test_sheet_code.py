"""The code of dots on a marking sheet, against the standard: a sheet on paper must be read by every later version."""

from __future__ import annotations

import binascii

import numpy as np
import pytest

from carvegen.base.units import PAPERS
from carvegen.marking.pencil.areas import _depth_in
from carvegen.marking.pencil.evened import PX_PER_MM
from carvegen.marking.pencil.layout import MarkingSheet, formats
from tests.cases import box


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_the_last_seven_dots_are_those_of_crc_32_over_the_first_seventeen(paper) -> None:
    """CRC-32 of ISO 3309, from the standard library, over three bytes; its seven lowest bits."""
    sheet = MarkingSheet(name="trial", window=(0.0, 0.0, 900.0, 700.0))
    for form in formats(paper):
        for page in sheet.pages(form):
            bits = "".join("01"[int(dot)] for dot in sheet.code(form, page))
            body, check = int(bits[:17], 2), int(bits[17:], 2)
            assert check == binascii.crc32(body.to_bytes(3, "big")) % 128


def test_a_pencil_s_depth_is_that_of_the_pixels_whose_middles_lie_in_the_shape() -> None:
    """Black strokes over two columns of pixels; a shape over the middles of the left one's alone."""
    lead, depth = np.zeros((40, 40), dtype=bool), np.zeros((40, 40), dtype=np.float32)
    lead[:, 10:12] = True
    depth[:, 10], depth[:, 11] = 0.25, 0.75
    px = 1 / PX_PER_MM
    assert _depth_in(box(10.1 * px, 2 * px, 0.8 * px, 30 * px), lead, depth) == pytest.approx(0.25, abs=0.01)
    assert _depth_in(box(11.1 * px, 2 * px, 0.8 * px, 30 * px), lead, depth) == pytest.approx(0.75, abs=0.01)
