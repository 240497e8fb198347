"""Lines of words on a printed page."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from reportlab.lib.utils import simpleSplit

from carvegen.writers.pdf.pdf_words import FONT, PT, split, width_mm

TEXTS = st.text("abcimw .-…ß", max_size=120)


@given(TEXTS, st.floats(8, 120), st.sampled_from([2.83, 3.6]))
def test_lines_are_no_wider_than_asked_and_hold_all_words(text, width, size) -> None:
    lines = split(text, width, size)
    assert "".join("".join(lines).split()) == "".join(text.split())
    assert all(width_mm(line, size) <= width + 1e-6 for line in lines)


@pytest.mark.parametrize("width", [12.0, 40.0, 90.0])
def test_words_that_fit_are_set_as_reportlab_sets_them(width) -> None:
    text = "Cover the edges of the plate, and keep fingers and loose sleeves away from the press, " * 3
    assert list(split(text, width, 2.83)) == simpleSplit(text, FONT, 2.83 * PT, width * PT)
