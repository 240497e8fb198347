"""One budget of work a file: small files that ask for very much are refused within 5 s of CPU and 1 GB."""

from __future__ import annotations

import subprocess
import sys
import time

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from carvegen import geometry
from carvegen.artwork import bounds, read
from carvegen.artwork.bounds import Budget
from carvegen.artwork.outlines.crossings import crossings, take_overlaps
from carvegen.base.errors import InputError
from tests.strategies import few, takes_long

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="90mm" height="90mm" viewBox="0 0 90 90" stroke="#000">'
RNG = np.random.Generator(np.random.PCG64(3))
BARS = "".join(f"M0 {k * 0.036:.3f}h90v.018h-90z" for k in range(2500))


def _lines(count: int) -> str:
    return "".join("M{:.2f} {:.2f}L{:.2f} {:.2f}".format(*RNG.uniform(0, 90, 4)) for _ in range(count))


def _strokes(count: int, width: float) -> str:
    return "".join(f'<path fill="none" stroke-width="{width}" d="{_lines(1)}"/>' for _ in range(count))


def _dxf(count: int, unit: str) -> str:
    one = "".join(f"0\nLINE\n8\n0\n10\n{k}\n20\n0\n11\n{k}\n21\n9\n" for k in range(1000))
    return (
        f"0\nSECTION\n2\nHEADER\n{unit}0\nENDSEC\n0\nSECTION\n2\nENTITIES\n{one * (count // 1000)}0\nENDSEC\n0\nEOF\n"
    )


def _seconds(work) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


#: What a file holds, its kind, and what is said of it.
FILES = {
    "fine dashes": ("svg", lambda: '<path d="M0 9L90 9" stroke-dasharray="1e-4 1e-4"/>', "dashes"),
    "400 lines of dashes": (
        "svg", lambda: f'<path stroke-dasharray="1e-3" d="{"".join(f"M0 {k / 5}h90" for k in range(400))}"/>', "dashes",
    ),
    "dashes in many elements": (
        "svg", lambda: '<path d="M0 9h90" stroke-width=".1" stroke-dasharray="1e-2"/>' * 400, "dashes",
    ),
    "20,000 thick lines": ("svg", lambda: _strokes(20_000, 3), "cross|over one another"),
    "20,000 thin lines": ("svg", lambda: _strokes(20_000, 0.05), "cross|over one another"),
    "thick lines in one path": (
        "svg", lambda: f'<path fill="none" stroke-width="3" d="{_lines(20_000)}"/>', "cross|over one another",
    ),
    "a scribble": (
        "svg", lambda: f'<path fill="none" stroke-width="3" d="M0 0{_lines(10_000).replace("M", "L")}"/>',
        "cross",
    ),
    "wide round dots": (
        "svg", lambda: '<path fill="none" stroke-linecap="round" stroke-width="40" stroke-dasharray="0 .05" '
        f'd="{"M0 45H90" * 20}"/>', "points",
    ),
    "discs over one another": (
        "svg", lambda: "".join(f'<circle cx="{x:.2f}" cy="45" r="20"/>' for x in RNG.uniform(20, 70, 20_000)),
        "over one another|cross|points",
    ),
    "two layers of bars": (
        "svg", lambda: "".join(
            f'<g id="{name}" stroke="none" transform="rotate({turn} 45 45)"><path d="{BARS}"/></g>'
            for name, turn in (("a", 0), ("b", 90))
        ), "cross|over one another",
    ),
    "bars that clip bars": (
        "svg", lambda: f'<clipPath id="c"><path d="{BARS}"/></clipPath>'
        + '<rect clip-path="url(#c)" width=".2" height="90" stroke="none"/>' * 1500, "cross|clip",
    ),
    "a million lines without a unit": ("dxf", lambda: _dxf(1_000_000, ""), "has no units"),
    "a million lines": ("dxf", lambda: _dxf(1_000_000, "9\n$INSUNITS\n70\n4\n"), "more than 200000 entities"),
}  # fmt: skip

READ = """
import resource, sys
from pathlib import Path
from carvegen.artwork import read
from carvegen.base.errors import InputError
resource.setrlimit(resource.RLIMIT_CPU, (6, 6))
try:
    read(Path(sys.argv[1]))
except InputError as error:
    print(error, "|", error.hint)
used = resource.getrusage(resource.RUSAGE_SELF)
print(used.ru_utime + used.ru_stime, Path("/proc/self/status").read_text().split("VmHWM:")[1].split()[0])
"""


@pytest.mark.skipif(sys.platform != "linux", reason="asks Linux for the peak of memory")
@pytest.mark.parametrize("name", few(FILES, 1))
def test_much_work_is_refused_within_five_seconds_and_a_gigabyte(tmp_path, name):
    """VmHWM (proc(5)) is its own peak of memory: ru_maxrss begins, as was measured, with that of what started it."""
    kind, made, said = FILES[name]
    path = tmp_path / f"a.{kind}"
    path.write_text(made() if kind == "dxf" else f"{HEAD}{made()}</svg>")
    done = subprocess.run([sys.executable, "-c", READ, path], capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr[-500:]
    refusal, figures = done.stdout.splitlines()
    message, _, hint = refusal.partition(" | ")
    assert any(word in message for word in said.split("|")), message
    assert hint.strip() not in ("", "None")
    seconds, peak_kb = map(float, figures.split())
    assert seconds < 5
    assert peak_kb < 1e6


@given(st.integers(2, 60), st.integers(0, 2**32 - 1), st.integers(0, 400))
@settings(deadline=None)
def test_crossings_are_those_that_shapely_counts_or_more_than_are_asked_for(count, seed, most):
    ends = np.random.Generator(np.random.PCG64(seed)).uniform(0, 10, (count, 2, 2))
    lines = shapely.linestrings(ends)
    left, right = shapely.STRtree(lines).query(lines, predicate="intersects")
    met = int((left < right).sum())
    assert crossings(ends) == met
    assert crossings(ends, most) > most if met > most else crossings(ends, most) == met


def test_no_more_crossings_are_looked_at_than_a_budget_leaves():
    across = np.array([[[0, k], [2000, k]] for k in range(750)], dtype=float) + 0.5
    ends = np.concatenate([across, across[:, :, ::-1]])
    budget = Budget()
    budget.take("crossings", 200_000)
    most = budget.left("crossings")
    assert most == 50_000
    assert _seconds(lambda: crossings(ends, most)) < 0.5 * _seconds(lambda: crossings(ends))


@takes_long  # fewer are counted above
def test_very_many_crossings_are_about_right():
    across = np.array([[[0, k], [2000, k]] for k in range(1500)], dtype=float) + 0.5
    ends = np.concatenate([across, across[:, :, ::-1]])
    assert crossings(ends) == pytest.approx(1500**2, rel=0.2)


@takes_long  # a full-sized block
def test_a_full_block_and_a_cross_hatched_drawing_are_within_the_budget():
    flakes = shapely.buffer(shapely.points(RNG.uniform(0, 2000, (50_000, 2))), 0.5)
    bars = [shapely.box(0, k, 200, k + 0.5) for k in range(200)] + [shapely.box(k, 0, k + 0.5, 200) for k in range(200)]
    for shapes in (flakes, geometry.polygon_array(bars)):
        budget = Budget()
        take_overlaps(np.asarray(shapes, dtype=object), budget)
        assert sum(budget.spent.values()) < bounds.MAX_POINTS


def test_a_budget_is_for_the_whole_file():
    budget = Budget()
    budget.take("dashes", 30_000)
    with pytest.raises(InputError, match="dashes"):
        budget.take("dashes", 30_000)


def test_two_thousand_discs_that_hide_one_another_are_within_the_budget():
    """As they are counted when they are read, below."""
    budget = Budget()
    for what, count in (("points", 200_000), ("overlaps", 94_000), ("crossings", 150_000), ("hiding", 7_400_000)):
        budget.take(what, count)


@takes_long
def test_two_thousand_discs_in_six_colours_are_read(tmp_path):
    inks = ("#cc3333", "#111122", "#99aabb", "#228833", "#ddbb22", "#7744aa")
    places = np.random.default_rng(1).uniform((0, 0), (400, 300), (2000, 2)).round(2)
    discs = "".join(f'<circle cx="{x}" cy="{y}" r="20" fill="{inks[k % 6]}"/>' for k, (x, y) in enumerate(places))
    (tmp_path / "a.svg").write_text(HEAD.replace("90", "400").replace(' stroke="#000"', "") + f"{discs}</svg>")
    artwork = read(tmp_path / "a.svg", by_colour=True)
    assert set(artwork.colours.values()) == set(inks)
    seen = [shapely.union_all(shapes) for shapes in artwork.layers.values()]
    assert sum(each.area for each in seen) == pytest.approx(shapely.union_all(seen).area, rel=1e-4)
