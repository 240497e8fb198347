"""What Hypothesis draws: any settings that a motif declares, limits, and blocks small enough to be quick."""

from __future__ import annotations

import dataclasses
import math
import os
from collections.abc import Iterable
from typing import Any, TypeVar

import numpy as np
import pytest
import shapely
from hypothesis import reject, settings
from hypothesis import strategies as st

from carvegen.base.errors import InputError
from carvegen.base.limits import Limits
from carvegen.base.parameters import Parameter, parameters
from carvegen.motifs import motif
from carvegen.motifs.snowfall.outlines import SMALLEST_REACH

SEEDS = st.integers(0, 2**32)
#: Whether there is time for more of what some stand for: `python -m tests.robustness laws`.
MANY = os.environ.get("HYPOTHESIS_PROFILE") in ("all", "ci")
takes_long = pytest.mark.skipif(not MANY, reason="takes long: python -m tests.robustness laws")
T = TypeVar("T")


def examples(count: int) -> settings:
    """A law tries `count` examples by default, 25 or more where there is time for many, 64 or more in `ci`."""
    return settings(max_examples=max(count, {"all": 25, "ci": 64}.get(os.environ.get("HYPOTHESIS_PROFILE", ""), 0)))


def few(cases: Iterable[T], count: int) -> list[T]:
    """So many of the cases, evenly spread over them; all of them where there is time for many."""
    every = list(cases)
    return every if MANY or len(every) <= count else [every[k * len(every) // count] for k in range(count)]


@dataclasses.dataclass(frozen=True)
class Case:
    """A motif with settings, on a block of a size, under limits, with a seed."""

    motif: str
    settings: Any
    limits: Limits
    size: tuple[float, float]
    seed: int


def log_floats(low: float, high: float) -> st.SearchStrategy[float]:
    """Lengths over several octaves, each as likely as the next; below a thousandth of the top only `low` itself."""
    if low <= 0:
        return st.just(low) | log_floats(high / 1000, high)
    inner = st.floats(math.log(low), math.log(high)).map(lambda value: min(max(math.exp(value), low), high))
    return st.sampled_from([low, high]) | inner if low < high else st.just(low)


def value(parameter: Parameter) -> st.SearchStrategy[float]:
    if parameter.unit == "flag":
        return st.booleans()
    if parameter.unit == "choice":
        return st.sampled_from(parameter.among)
    if parameter.unit == "mm":
        return log_floats(parameter.at_least, parameter.at_most)
    ends = st.sampled_from([parameter.at_least, parameter.at_most, parameter.default])
    return ends | st.floats(parameter.at_least, parameter.at_most)


@st.composite
def settings_of(draw: st.DrawFn, name: str, **fixed: Any) -> Any:
    """Settings of a motif, from the ranges that it declares; a smallest and a largest are put in order."""
    kind = motif(name).Settings
    declared = {parameter.name: parameter for parameter in parameters(kind)}
    drawn = {each.name: draw(value(each)) for each in declared.values()}
    drawn |= {field: values for field, values in fixed.items() if field in declared}
    if drawn.get("smallest_mm", 0) > drawn.get("largest_mm", math.inf):
        drawn |= {"smallest_mm": min(drawn["largest_mm"], 50), "largest_mm": drawn["smallest_mm"]}
    try:
        return kind(**drawn)
    except InputError:  # settings that forbid one another are refused with a reason; other tests look at it
        reject()


@st.composite
def limits(draw: st.DrawFn) -> Limits:
    along = draw(log_floats(0.2, 3))
    return Limits(
        land_along_mm=along,
        land_across_mm=draw(st.just(along) | log_floats(0.1, 3)),
        cut_mm=draw(log_floats(0.2, 2)),
        dot_mm=draw(log_floats(0.1, 3)),
        grain_deg=draw(st.floats(-180, 180)),
    )


@st.composite
def cases(draw: st.DrawFn, name: str, **fixed: Any) -> Case:
    """Blocks with room for no shape up to some hundred; a quarter as large where there is no time for many."""
    settings, each = draw(settings_of(name, **fixed)), draw(limits())
    smallest = max(getattr(settings, "smallest_mm", 0.8), each.cut_mm / SMALLEST_REACH) + each.land_mm
    most = 16 if MANY else 8
    size = tuple(max(5.0, 2 * each.land_mm + min(smallest, 8) * draw(log_floats(0.5, most))) for _ in range(2))
    return Case(name, settings, each, size, draw(SEEDS))


@st.composite
def blobs(draw: st.DrawFn, *, corners: int = 9, hole: bool = True) -> shapely.Polygon:
    """A star-shaped polygon with unequal corners, perhaps with a hole; no two edges are parallel but by chance."""
    seed, count, holed = draw(SEEDS), draw(st.integers(3, corners)), hole and draw(st.booleans())
    rng = np.random.default_rng(seed)
    shell = _star(rng, count, 0.25, 1.0) * 10
    holes = [_star(rng, count, 0.2, 0.9) * 2.4] if holed else []
    blob = shapely.Polygon(shell, holes)
    return blob if blob.is_valid else shapely.Polygon(shell)


def _star(rng: np.random.Generator, count: int, low: float, high: float) -> np.ndarray:
    angle = (np.arange(count) + rng.uniform(0.1, 0.9, count)) * 2 * np.pi / count + rng.uniform(0, 2 * np.pi)
    reach = rng.uniform(low, high, count)
    return np.column_stack([reach * np.cos(angle), reach * np.sin(angle)])
