"""What may be written in a print's file, and what is usual: both ends of each range."""

from __future__ import annotations

import math
from typing import Any

import pytest

from carvegen.base.parameters import parameters
from carvegen.prints.file import keys

#: Each number that may be set: what is usual, the least and the most.
RANGES: list[tuple[Any, dict[str, tuple[float | None, float, float]]]] = [
    (keys.PrintTable, {
        "trap_mm": (0.5, 0, 3), "register_error_mm": (0.5, 0, 3), "paper_g_m2": (300, 20, 1200),
        "paper_mm": (None, 0.02, 3), "margin_mm": (0, 0, 200), "bleed_mm": (0, 0, 50),
    }),
    (keys.PrintBlock, {
        "opacity": (0.3, 0, 1), "thickness_mm": (None, 0.5, 100), "depth_mm": (None, 0.1, 50),
        "grain_deg": (0, -180, 180), "bevel_deg": (45, 5, 75), "edge_mm": (0.2, 0, 2), "corner_mm": (0.5, 0.1, 10),
        "counter_thickness_mm": (None, 0.3, 100),
    }),
    (keys.PrintMark, {"strength": (1, 0, 1)}),
]  # fmt: skip


@pytest.mark.parametrize(("settings", "ranges"), RANGES)
def test_what_may_be_asked_and_what_is_usual(settings, ranges) -> None:
    numbers = {each.name: each for each in parameters(settings)}
    for name, (usual, least, most) in ranges.items():
        each = numbers[name]
        assert each.default == usual, name
        assert each.allows(float(least)), name
        assert each.allows(float(most)), name
        assert not each.allows(math.nextafter(least, -math.inf)), name
        assert not each.allows(math.nextafter(most, math.inf)), name


@pytest.mark.parametrize(
    ("settings", "name", "ends"),
    [
        (keys.PrintTable, "size_mm", ((5.0, 5.0), (2000.0, 2000.0), (4.9, 5.0), (5.0, 2001.0))),
        (keys.PrintMark, "attempt", (1, 10**6, 0, 10**6 + 1)),
        (keys.PrintTable, "seed", (0, 2**63 - 1, -1, 2**63)),
    ],
)
def test_whole_numbers_and_sizes_that_may_be_asked(settings, name: str, ends) -> None:
    [each] = (each for each in parameters(settings) if each.name == name)
    assert [each.allows(value) for value in ends] == [True, True, False, False]
