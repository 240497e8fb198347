"""What is drawn of a picture that was laid on a plan, and the carving sheet by it."""

from __future__ import annotations

import io
from types import SimpleNamespace

import numpy as np
import pypdf
import pytest
import shapely
from PIL import Image

from carvegen.blocks.comparison import DifferenceKind, DifferentPlace
from carvegen.writers.whole_print import ringed_png
from carvegen.writers.whole_print.templates import carving_sheet


@pytest.mark.parametrize("width", [150, 320, 480, 560, 700, 1600])
@pytest.mark.parametrize("words", [ringed_png._FIT_LEGEND, ringed_png.RING_LEGEND])
def test_the_legend_stays_inside_however_narrow_the_picture_is(width, words):
    """Below 600 pixels its last words ran off."""
    whole = np.asarray(ringed_png._with_legend(Image.new("RGB", (width, 40)), words))
    legend = whole[40:].astype(int)
    room = (legend == ringed_png._PAPER).all(axis=-1)
    assert room[:, -4:].all()
    assert room[-3:].all()
    for colour, _ in words:
        assert (np.abs(legend - colour).sum(axis=-1) < 9).sum() > 30


@pytest.mark.parametrize(("long", "ringed"), [(9.0, True), (60.0, False)])
def test_a_long_place_is_outlined_with_its_number_beside_it_and_no_ring_goes_round_half_the_print(long, ringed):
    """A bar on a face of 90 x 60 mm, at 4 pixels a millimetre. By hand: where its ring would be, and its outline is."""
    size, at = (90.0, 60.0), (15 + long / 2, 30.0)
    laid = SimpleNamespace(
        plan=SimpleNamespace(size_mm=size), px_per_mm=4.0,
        seen_at=lambda _: SimpleNamespace(image=Image.new("RGB", (360, 240), "white")),
    )  # fmt: skip
    bar = DifferentPlace(
        block="key", kind=DifferenceKind.TO_CUT, shape=shapely.box(15, 29, 15 + long, 31), width_mm=2.0, at=at
    )
    drawn = np.asarray(Image.open(io.BytesIO(ringed_png.ringed_png(laid, [bar], shapely.Polygon()))).convert("RGB"))
    marked = (np.abs(drawn[:240].astype(int) - ringed_png.NOW_LAND).sum(axis=-1) < 30).nonzero()
    beyond = np.ptp(marked[0]) / 4 / 2  # mm above and below the middle of the bar
    assert beyond == pytest.approx((long**2 + 4) ** 0.5 / 2 + 1 if ringed else 2, abs=0.5)
    black = (drawn[:240].max(axis=-1) < 60).nonzero()
    near = abs(black[1].mean() / 4 - at[0]) + abs(60 - black[0].mean() / 4 - at[1])
    assert near < 10, "the number is beside the broadest place"


def test_the_largest_of_each_kind_are_ringed_first():
    """What is gone for good was told with a number that no ring had, behind sixty places that are still to cut."""
    spots = [SimpleNamespace(kind="still to cut")] * 70 + [SimpleNamespace(kind="gone")] * 6
    numbers = [number for number, _ in ringed_png._in_turn(spots)[:60]]
    assert sorted(numbers) == [*range(1, 55), *range(71, 77)]


@pytest.mark.parametrize("hidden_mm2", [0.0, 132.0])
def test_a_carving_sheet_says_how_much_was_not_seen(hidden_mm2):
    """Under a hand the block looked as if nothing were left to cut."""
    sheet = carving_sheet("sky", shapely.box(2, 2, 38, 28), [], (40.0, 30.0), hidden_mm2)
    text = "".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(sheet)).pages)
    assert ("132 mm² could not be seen in the picture" in text) is bool(hidden_mm2)
