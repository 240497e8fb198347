"""The vendor's chip-load chart beside what others say: it is one vendor's, so a second must not contradict it."""

from __future__ import annotations

import pytest

from carvegen.facts import feeds


@pytest.mark.parametrize(
    "material", ["mdf", "cherry", "basswood", "birch-plywood", "embossing-hdpe", "embossing-acrylic", "linoleum"]
)
def test_the_charts_chips_meet_the_usual_band(material) -> None:
    """Between 1/8 and 1/4 in every material's chips pass through 0.1 to 0.2 mm a tooth (source: chip-rules)."""
    least, most = feeds.chips(material, 3.175)[0], feeds.chips(material, 6.35)[1]
    assert least < 0.15 < most
    assert least >= 0.1 / 2.5
    assert most <= 0.2 * 2.5


@pytest.mark.parametrize(("diameters", "least", "most"), [(2, 0.20, 0.25), (3, 0.40, 0.50)])
def test_deeper_cuts_take_as_much_off_as_others_say(diameters, least, most) -> None:
    """20 to 25 % less at two diameters deep, 40 to 50 % less at three (source: chip-rules)."""
    assert least <= 1 - feeds.depth_factor(3.0 * diameters, 3.0) <= most
