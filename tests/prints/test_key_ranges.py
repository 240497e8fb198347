"""Ranges of a print file's numbers that follow from what a number means; how far the others go is our own choice."""

from __future__ import annotations

import pytest

from carvegen.prints.file.keys import LISTS, TABLES, keys_of

EVERY = {f"{table}.{each.key}": each for table in (*TABLES, *LISTS) for each in keys_of(table) if each.bounded}


def ends(key: str) -> tuple[float, float]:
    return EVERY[key].at_least, EVERY[key].at_most


@pytest.mark.parametrize("key", ["blocks.opacity", "marked.strength"])
def test_a_degree_goes_from_none_to_full(key) -> None:
    """An ink that hides nothing to one that hides all; a mark without effect to its full one."""
    assert ends(key) == (0, 1)


@pytest.mark.parametrize("key", ["blocks.grain_deg", "register.paper_grain_deg"])
def test_a_direction_may_be_any(key) -> None:
    """A whole turn, to either side of right."""
    assert ends(key) == (-180, 180)


@pytest.mark.parametrize(
    ("key", "least", "most"),
    [
        # 0 is an upright wall, which cuts the paper, 90 none at all; 30 to 45 is common practice, no source
        ("blocks.bevel_deg", 30, 45),
        ("files.ramp_deg", 2, 10),  # 0 never goes down, 90 plunges; gentle ramps are common practice, no source
    ],
)
def test_an_angle_lies_between_none_and_a_right_one_and_takes_what_is_usual(key, least, most) -> None:
    from_, to = ends(key)
    assert 0 < from_ <= least < most <= to < 90


def test_papers_for_embossing_may_be_typed() -> None:
    """250 to 350 g/m²: common practice, no source."""
    least, most = ends("print.paper_g_m2")
    assert least <= 250 < 350 <= most


def test_humidity_of_the_air_is_a_share_of_what_it_can_hold() -> None:
    least, most = ends("register.humidity_percent")
    assert 0 <= least < most <= 100


def test_no_length_and_no_change_is_negative_and_every_default_may_be_typed() -> None:
    sizes = [value for value in EVERY.values() if value.key.endswith(("_mm", "_percent"))]
    assert len(sizes) > 10
    assert [size.key for size in sizes if size.at_least < 0] == []
    numbers = [each for each in EVERY.values() if isinstance(each.default, int | float)]
    assert len(numbers) > 10
    assert [number.key for number in numbers if not number.at_least <= number.default <= number.at_most] == []
