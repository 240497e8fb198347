"""What may be asked of paths, and what is usual: both ends of each range."""

from __future__ import annotations

import math

from carvegen.base.parameters import parameters
from carvegen.toolpaths.settings import PathSettings

#: Each length and angle that may be set: what is usual, the least and the most.
RANGES = {
    "line_spacing_mm": (0.1, 0.02, 5), "lead_in_mm": (0, 0, 20), "rest_mm": (2, 0, 50), "ramp_deg": (5, 0.5, 30),
    "pass_mm": (0, 0, 50),
}  # fmt: skip


def test_what_may_be_asked_and_what_is_usual() -> None:
    numbers = {each.name: each for each in parameters(PathSettings)}
    for name, (usual, least, most) in RANGES.items():
        each = numbers[name]
        assert each.default == usual, name
        assert each.allows(float(least)), name
        assert each.allows(float(most)), name
        assert not each.allows(math.nextafter(least, -math.inf)), name
        assert not each.allows(math.nextafter(most, math.inf)), name
    steps = numbers["shoulder_steps"]
    assert (steps.default, [steps.allows(value) for value in (0, 6, -1, 7)]) == (2, [True, True, False, False])
