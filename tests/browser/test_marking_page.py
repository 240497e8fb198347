"""The marking page in a real browser: real hands on it, and what they did read back from the print's files."""

from __future__ import annotations

import io
import json
import os
import re
import shutil
import subprocess
import sys
import tomllib
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import axe_core_python
import numpy as np
import pytest
import shapely
from lxml import etree
from PIL import Image, ImageDraw
from selenium.webdriver.common.actions.action_builder import ActionBuilder
from selenium.webdriver.common.actions.pointer_input import PointerInput
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from shapely import affinity

from carvegen.base.colour import Ink, overprinted, rgb, screen
from carvegen.marking.pencil.layout import MarkingSheet
from tests.browser.driving import chromium, drawn, until
from tests.cases import layer, small_print
from tests.pencil_sheets import QUICK, Case, Stroke, blob, flat
from tests.strategies import few, takes_long

SIZE = (90.0, 60.0)
AXE = Path(axe_core_python.__file__).parent / "axe.min.js"
_SCREEN = (
    "Emulation.setDeviceMetricsOverride", {"width": 1280, "height": 800, "deviceScaleFactor": 1, "mobile": False},
)  # fmt: skip
_SLOWER = float(os.environ.get("CARVEGEN_SLOW", "1"))  #: times; a still page does not show it
SNOW = """
[[motifs]]
motif = "snowload"
name = "on the rail"
preset = "fresh"
on = ["RAIL"]

[[motifs]]
motif = "snowfall"
name = "flakes"
preset = "flurry"
front = false
settings = { snow = 0.02, smallest_mm = 1.8, largest_mm = 3.0, level = 0.066 }

[files]
paths = false
"""


def _print_file() -> str:
    return small_print(
        layer("RAIL", "box 10 12 70 3"), layer("LEFT", "box 20 0 4 12"), layer("RIGHT", "box 60 0 4 12"),
        layer("WIRE", "box 70 22 14 0.25"),  # too thin to stand
        blocks={"sky": ["*"], "key": ["RAIL", "LEFT", "RIGHT", "WIRE"]}, machine="router", after=SNOW,
        name="a rail", size=SIZE, seed=7,
    )  # fmt: skip


@dataclass
class Bench:
    """The page, its print's folder and its program."""

    browser: Any
    folder: Path
    program: subprocess.Popen[str]
    address: str
    js: dict[str, Any] = field(default_factory=dict)

    def run(self, script: str, *values: Any) -> Any:
        return self.browser.execute_script(script, *values)

    def open(self) -> None:
        self.browser.get(self.address)
        until(lambda: self.run("return document.body.dataset.ready") == "yes")
        self.run("document.querySelector('#veil') && bench.view.whole()")

    def take(self, tool: str) -> None:
        self.run("document.querySelector(`[data-tool='${arguments[0]}'] input`).click()", tool)

    def set(self, name: str, value: object) -> None:
        """An input's value, as a hand leaves it."""
        self.run(
            "const input = document.getElementById(arguments[0]); input.value = arguments[1];"
            "for (const kind of ['input', 'change']) input.dispatchEvent(new Event(kind, {bubbles: true}))",
            name, value,
        )  # fmt: skip

    def pixels(self, *places: tuple[float, float]) -> list[tuple[float, float]]:
        """Where places of the print, mm and y up, are in the window."""
        return [
            tuple(at)
            for at in self.run(
                "const b = document.getElementById('stage').getBoundingClientRect(), v = bench.view;"
                "return arguments[0].map(([x, y]) => {"
                " const p = v.toScreen(x, v.size[1] - y); return [b.x + p[0], b.y + p[1]]; })",
                places,
            )
        ]

    def draw(self, *places: tuple[float, float], kind: str = "mouse", pressure: float = 0.5) -> None:
        drawn(self.browser, self.pixels(*places), kind=kind, pressure=pressure)
        self.answered()

    def in_hand(self, does: str) -> None:
        """Press a button of what is in the fingers: these come with the frame after it was taken."""
        button = self.browser.find_element(By.CSS_SELECTOR, f"[data-does={does}]")
        until(button.is_displayed)
        button.click()

    def answered(self) -> None:
        until(lambda: self.run("return bench.gestures.waiting") == 0)

    def said(self) -> str:
        return str(self.run("return document.getElementById('said').textContent"))

    def marks(self, meaning: str) -> list[Any]:
        """The marks of a meaning in the file, y down, with their opacity as `.strength`."""
        return _shapes(self.folder / "marks.svg", meaning)

    def kept(self, name: str) -> dict[str, Any]:
        (path,) = (self.folder / "kept").glob(f"*{name}*.svg")
        return dict(_named(path, "comes out"))

    def flakes(self) -> list[list[float]]:
        """Of each flake on the page: number, middle with y up, extent."""
        done: list[list[float]] = self.run(
            "return [...bench.shapes.byId.values()].filter((s) => s.kind === 'snow' && s.name === 'flakes')"
            ".map((s) => [s.id, (s.x0 + s.x1) / 2, bench.view.size[1] - (s.y0 + s.y1) / 2, s.x1 - s.x0])"
        )
        return done


def _named(path: Path, title: str | None) -> Iterator[tuple[str, Any]]:
    if not path.is_file():
        return
    space = {"s": "http://www.w3.org/2000/svg"}
    for group in etree.parse(str(path)).iterfind(".//s:g", space):
        if title is None or group.findtext("s:title", namespaces=space) == title:
            for each in group.iterfind("s:path", space):
                yield str(each.get("id")), _polygon(str(each.get("d")))


def _shapes(path: Path, title: str) -> list[Any]:
    return [shape for _, shape in _named(path, title)]


def _polygon(data: str) -> Any:
    """The area inside a path of straight lines, even-odd (SVG 1.1, 8.3 and 11.3)."""
    rings = [
        [(float(x), float(y)) for x, y in re.findall(r"(-?[\d.]+)[ ,](-?[\d.]+)", part)]
        for part in re.findall(r"M([^MZ]*)Z", data)
    ]
    whole = shapely.Polygon()
    for ring in rings:
        whole = shapely.symmetric_difference(whole, shapely.make_valid(shapely.Polygon(ring)))
    return whole


def _down(*places: tuple[float, float]) -> list[tuple[float, float]]:
    return [(x, SIZE[1] - y) for x, y in places]


def _program(folder: Path, *, named: bool = True) -> tuple[subprocess.Popen[str], str]:
    program = subprocess.Popen(
        [sys.executable, "-m", "carvegen", "mark", *([str(folder / "print.toml")] if named else []), "--no-browser"],
        cwd=folder,
        stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )  # fmt: skip
    assert program.stdout is not None
    first = program.stdout.readline()
    assert first.startswith("Open: "), first
    return program, first.split()[1]


def _ended(program: subprocess.Popen[str]) -> None:
    program.kill()
    program.wait()
    assert program.stdout is not None
    program.stdout.close()


def _laid_out(driver: Any) -> None:
    """A window of the tests' size; CARVEGEN_LATE_MS and CARVEGEN_SLOW show what a fast machine would hide."""
    driver.execute_cdp_cmd(*_SCREEN)
    if late := os.environ.get("CARVEGEN_LATE_MS"):
        driver.execute_cdp_cmd("Network.enable", {})
        slow = {"offline": False, "latency": float(late), "downloadThroughput": -1, "uploadThroughput": -1}
        driver.execute_cdp_cmd("Network.emulateNetworkConditions", slow)
    if _SLOWER > 1:
        driver.execute_cdp_cmd("Emulation.setCPUThrottlingRate", {"rate": _SLOWER})


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    if not (shutil.which("chromium") and shutil.which("chromedriver")) and "CARVEGEN_BROWSER" not in os.environ:
        pytest.skip("no Chromium here: apt-get install chromium chromium-driver")
    driver = chromium(tmp_path_factory.mktemp("browser"))
    _laid_out(driver)
    yield driver
    driver.quit()


@pytest.fixture(scope="module")
def opened(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    folder = tmp_path_factory.mktemp("rail")
    (folder / "print.toml").write_text(_print_file(), encoding="utf-8")
    program, address = _program(folder)
    bench = Bench(browser, folder, program, address)
    try:
        bench.open()
        yield bench
    finally:
        _ended(bench.program)


#: What a test that failed may have left: an open dialog, a loop for a stroke, another slip, blocks that wander.
_AS_FOUND = """
for (const one of document.querySelectorAll('dialog[open]')) one.close();
if (!document.getElementById('apart').hidden) document.getElementById('watch').click();
document.querySelector('[name=drawn][value=stroke]').click();
document.querySelector('#slips details').open = true;
bench.view.whole();
bench.tools.choose([]);
"""


@pytest.fixture
def bench(opened: Bench) -> Iterator[Bench]:
    """The page; what a test has done is taken back after it, and each test answers for its own."""
    opened.run(_AS_FOUND)
    until(lambda: not list(_named(opened.folder / "marks.svg", None)))  # files are written a little later
    yield opened
    _take_back(opened)


def _take_back(bench: Bench) -> None:
    """Undo to the beginning. A file can be written before the page has its answer: only then the button tells.

    Until the print is laid out anew the page shows the snow before.
    """
    bench.answered()
    for _ in range(40):
        if bench.run("return document.getElementById('undo').disabled"):
            until(lambda: bench.run("return bench.laid()"))
            return
        bench.run("document.getElementById('undo').click()")
        bench.answered()
    raise AssertionError("a test has done what cannot be taken back in 40 steps")


# ── marks ──


def test_no_heading_stands_over_nothing(bench: Bench) -> None:
    """How it is drawn: a pencil as stroke or loop and how broad; what grows again is looped, and has no breadth."""
    shown = (
        "const seen = (e) => e.checkVisibility(); return [seen(document.getElementById('how-legend')),"
        " ['drawn', 'breadth', 'heavy'].some((id) => seen(document.getElementById(id)))]"
    )
    tools = bench.run("return [...document.querySelectorAll('[data-tool]')].map((one) => one.dataset.tool)")
    for tool in tools:
        bench.take(tool)
        legend, how = bench.run(shown)
        assert legend == how, tool
    bench.take("comes out")


@pytest.mark.parametrize("kind", few(["mouse", "touch"], 1))  # two fingers and the pen: below
def test_a_stroke_is_a_mark_in_the_file_as_broad_as_the_pencil(bench: Bench, kind: str) -> None:
    bench.take("comes out")
    bench.set("breadth", 6)
    line = [(10, 50), (40, 44), (75, 52)]
    bench.draw(*line, kind=kind)
    until(lambda: bench.marks("comes out"))
    (mark,) = bench.marks("comes out")
    drawn_ = shapely.LineString(_down(*line)).buffer(3)
    assert mark.symmetric_difference(drawn_).area < 0.05 * drawn_.area


def test_a_heavier_pen_marks_more_strongly(bench: Bench) -> None:
    bench.take("more")
    bench.set("heaviness", 100)
    bench.draw((10, 50), (30, 50), kind="pen", pressure=0.2)
    bench.draw((50, 50), (70, 50), kind="pen", pressure=0.9)
    until(lambda: len(bench.marks("more")) == 2)
    text = (bench.folder / "marks.svg").read_text(encoding="utf-8")
    light, heavy = sorted(float(match) for match in re.findall(r'opacity="([\d.]+)"', text))
    assert light == pytest.approx(0.2, abs=0.03)
    assert heavy == pytest.approx(0.9, abs=0.03)


def test_a_loop_of_no_snow_leaves_no_flake_in_it(bench: Bench) -> None:
    bench.take("stays")
    bench.run("document.querySelector('[name=drawn][value=loop]').click()")
    loop = [(8, 28), (40, 28), (40, 56), (8, 56)]
    inside = shapely.Polygon(loop)
    assert sum(inside.contains(shapely.Point(x, y)) for _, x, y, _ in bench.flakes()) > 3
    bench.draw(*loop)
    bench.run("document.querySelector('[name=drawn][value=stroke]').click()")
    until(lambda: bench.marks("stays"))
    (mark,) = bench.marks("stays")
    assert mark.symmetric_difference(shapely.Polygon(_down(*loop))).area < 0.03 * inside.area
    core = inside.buffer(-2)
    assert not any(core.contains(shapely.Point(x, y)) for _, x, y, _ in bench.flakes())


def test_the_rubber_takes_a_piece_out_of_a_mark(bench: Bench) -> None:
    bench.take("carver decides")
    bench.set("breadth", 4)
    bench.draw((10, 40), (80, 40))
    bench.take("rubber")
    bench.draw((45, 34), (45, 46))
    until(lambda: sum(len(shapely.get_parts(each)) for each in bench.marks("carver decides")) == 2)
    assert not any(mark.intersects(shapely.Point(45, 20)) for mark in bench.marks("carver decides"))


def test_ctrl_z_takes_back_and_ctrl_y_does_again(bench: Bench) -> None:
    bench.take("comes out")
    bench.draw((20, 40), (40, 40))
    until(lambda: bench.marks("comes out"))
    stage = bench.browser.find_element(By.ID, "stage")
    stage.send_keys(Keys.CONTROL, "z")
    until(lambda: not bench.marks("comes out"))
    stage.send_keys(Keys.CONTROL, "y")
    until(lambda: bench.marks("comes out"))


def test_by_keyboard_alone_a_pencil_is_taken_and_a_line_drawn(bench: Bench) -> None:
    bench.run("document.querySelector('[data-tool=fingers] input').focus()")
    keys = bench.browser.switch_to.active_element
    bench.take("slide")
    bench.run("document.querySelector(\"[data-tool='comes out'] input\").focus()")
    keys = bench.browser.switch_to.active_element
    keys.send_keys(Keys.SPACE)
    assert bench.run("return bench.tools.tool") == "comes out"
    bench.set("breadth", 3)
    stage = bench.browser.find_element(By.ID, "stage")
    bench.run("document.getElementById('stage').focus()")
    stage.send_keys(Keys.ENTER, *[Keys.ARROW_RIGHT] * 12, *[Keys.ARROW_UP] * 5, Keys.ENTER)
    bench.answered()
    until(lambda: bench.marks("comes out"))
    (mark,) = bench.marks("comes out")
    wanted = shapely.LineString([(45, 30), (57, 30), (57, 25)]).buffer(1.5)
    assert mark.symmetric_difference(wanted).area < 0.06 * wanted.area


# ── touching ──


def _one_alone(bench: Bench) -> list[float]:
    """A flake with room to its right."""
    flakes = bench.flakes()
    free = [
        (n, x, y, wide)
        for n, x, y, wide in flakes
        if 10 < x < 75
        and 26 < y < 54
        and all(m == n or not (-3.5 - w / 2 < u - x < 6.5 + w / 2 and abs(v - y) < 4 + w / 2) for m, u, v, w in flakes)
    ]
    assert free, "snow everywhere"
    return list(max(free, key=lambda each: each[3]))


def test_a_flake_is_dragged_and_lies_there_in_the_kept_file(bench: Bench) -> None:
    _, x, y, _ = _one_alone(bench)
    bench.take("fingers")
    bench.draw((x, y), (x + 1, y), (x + 3, y + 1))
    until(lambda: (bench.folder / "kept").is_dir() and any((bench.folder / "kept").iterdir()))
    there = shapely.Point(x + 3, SIZE[1] - y - 1)
    until(lambda: sum(each.contains(there) for each in bench.kept("flakes").values()) == 1)
    assert not any(value.contains(shapely.Point(x, SIZE[1] - y)) for value in bench.kept("flakes").values())


def test_keys_move_turn_and_take_away_what_is_in_the_fingers(bench: Bench) -> None:
    _, x, y, _ = _one_alone(bench)
    bench.take("fingers")
    bench.draw((x, y))
    assert bench.run("return bench.overlay.chosen.size") == 1
    assert bench.said() == "One shape of flakes is in your fingers. Changing it locks all of flakes."
    stage = bench.browser.find_element(By.ID, "stage")
    stage.send_keys(*[Keys.ARROW_RIGHT] * 3, "t", Keys.ENTER)
    bench.answered()
    until(lambda: any(value.contains(shapely.Point(x + 3, SIZE[1] - y)) for value in bench.kept("flakes").values()))
    until(lambda: bench.said().startswith("Done: move and turn. All of flakes is locked now"))
    assert bench.run("return bench.overlay.chosen.size") == 1, "it stays in the fingers"
    stage.send_keys(Keys.DELETE)
    bench.answered()
    until(lambda: not any(each.contains(shapely.Point(x + 3, SIZE[1] - y)) for each in bench.kept("flakes").values()))


def _chosen(bench: Bench) -> Any:
    """The one shape in the fingers, y up, as the page has it."""
    xy = bench.run("const [s] = bench.overlay.chosen; return [...s.xy]")
    return shapely.Polygon([(x, SIZE[1] - y) for x, y in zip(xy[::2], xy[1::2], strict=True)])


def _tapped(bench: Bench, px_per_mm: float) -> tuple[Any, Any]:
    """A flake that lies alone, in the fingers, seen so large; and the middle of its box."""
    _, x, y, _ = _one_alone(bench)
    bench.run("bench.view.goTo(arguments[0], bench.view.size[1] - arguments[1], arguments[2])", x, y, px_per_mm)
    bench.take("fingers")
    bench.draw((x, y))
    flake = _chosen(bench)
    return flake, shapely.centroid(shapely.box(*flake.bounds))


def test_a_small_flake_that_was_tapped_is_dragged_by_its_middle_and_stays_as_large(bench: Bench) -> None:
    """Though the bead lies so near that the hand covers it; its area is measured in the kept file."""
    before, middle = _tapped(bench, 4)
    far = bench.run("const [x, y] = bench.overlay.bead; return Math.hypot(x - arguments[0], y - arguments[1])",
                    middle.x, SIZE[1] - middle.y)  # fmt: skip
    assert far * 4 < 22, "the bead is within the hand's reach"
    bench.draw((middle.x, middle.y), (middle.x + 1, middle.y + 2), (middle.x + 2, middle.y + 3))
    bench.answered()
    after = _chosen(bench)
    assert after.area == pytest.approx(before.area, rel=0.05)
    assert shapely.centroid(after).distance(affinity.translate(shapely.centroid(before), 2, 3)) < 0.3


def test_the_bead_turns_and_one_more_is_laid_beside(bench: Bench) -> None:
    """By shapely's rotation about the middle of the box, a quarter turn to the left."""
    before, middle = _tapped(bench, 20)
    bead_x, bead_y = bench.run("const [x, y] = bench.overlay.bead; return [x, bench.view.size[1] - y]")
    across, up = bead_x - middle.x, bead_y - middle.y
    bench.draw((bead_x, bead_y), (middle.x, middle.y + 1.4 * up), (middle.x - up, middle.y + across))
    wanted = affinity.rotate(before, 90, origin=middle)
    assert _chosen(bench).symmetric_difference(wanted).area < 0.1 * before.area
    bench.in_hand("copy")
    bench.answered()
    beside = _chosen(bench)
    assert beside.bounds[0] - wanted.bounds[2] == pytest.approx(2, abs=0.1)
    assert beside.area == pytest.approx(wanted.area, rel=0.05)
    down = [affinity.scale(each, 1, -1, origin=(0, SIZE[1] / 2)) for each in (wanted, beside)]
    for one in down:
        until(lambda one=one: any(_alike(value, one) for value in bench.kept("flakes").values()))


def _alike(shape: Any, other: Any) -> bool:
    return bool(shape.symmetric_difference(other).area < 0.1 * other.area)


def test_a_heap_is_dragged_and_its_edge_pencilled(bench: Bench) -> None:
    heaps = "return [...bench.shapes.byId.values()].filter((s) => s.name === 'on the rail').length"
    assert bench.run(heaps) > 0
    x, y = bench.run(
        "const s = [...bench.shapes.byId.values()].filter((s) => s.name === 'on the rail')"
        ".sort((a, b) => (b.x1 - b.x0) * (b.y1 - b.y0) - (a.x1 - a.x0) * (a.y1 - a.y0))[0];"
        "for (let x = s.x0; x < s.x1; x += 0.3) for (let y = s.y0; y < s.y1; y += 0.1)"
        " if (bench.shapes.at(x, y, 0) === s) return [x, bench.view.size[1] - y]"
    )
    bench.take("fingers")
    bench.draw((x, y))
    before = _chosen(bench)
    bench.draw((x, y), (x, y + 2), (x, y + 4))
    lies = affinity.translate(before, 0, 4)
    assert _chosen(bench).symmetric_difference(lies).area < 0.15 * before.area + 1
    left, low, right, high = lies.bounds
    bench.in_hand("redraw")
    top = [shapely.intersection(lies, shapely.LineString([(at, low - 1), (at, high + 1)])).bounds[3]
           for at in (left + 0.3 * (right - left), left + 0.6 * (right - left))]  # fmt: skip
    bench.draw(
        (left + 0.3 * (right - left), top[0]), ((left + right) / 2, high + 5), (left + 0.6 * (right - left), top[1])
    )
    bench.answered()
    assert _chosen(bench).bounds[3] > high + 3, "where the pencil went"
    assert _chosen(bench).bounds[:3] == pytest.approx(lies.bounds[:3], abs=0.3), "all else is as it was"


def test_her_own_outline_is_snow_in_the_kept_file(bench: Bench) -> None:
    bench.take("own snow")
    labels = bench.run("return [...document.querySelectorAll('#for option')].map((one) => one.textContent)")
    assert labels[0] == "all snow"
    values = bench.run("return [...document.querySelectorAll('#for option')].slice(1).map((one) => one.value)")
    assert [label.rpartition("(")[2].removesuffix(")") for label in labels[1:]] == values
    bench.set("for", "flakes")
    outline = [(70, 20), (82, 20), (82, 27), (70, 27)]
    bench.draw(*outline)
    bench.set("for", "")
    until(lambda: any(value.contains(shapely.box(72, 34, 80, 39)) for value in bench.kept("flakes").values()))


def test_what_can_be_done_with_a_thing_lies_beside_it(bench: Bench) -> None:
    """It lay at the upper edge, on the heap of the lamp."""
    _, x, y, _ = _one_alone(bench)
    bench.take("fingers")
    bench.draw((x, y))
    covers = (
        "const bar = document.getElementById('in-hand').getBoundingClientRect(), ring = bench.overlay.ring,"
        " stage = document.getElementById('stage').getBoundingClientRect(), r = ring.r * bench.view.scale,"
        " at = stage.y + bench.view.toScreen(ring.x, ring.y)[1];"
        " foot = document.querySelector('.foot').getBoundingClientRect();"
        "return [bar.bottom > at - r && bar.y < at + r, bar.bottom <= foot.y + 7]"
    )
    for where in (0.1, 0.9):
        bench.run(
            "const v = bench.view, ring = bench.overlay.ring; v.goTo(ring.x, ring.y);"
            " v.pan(0, (arguments[0] - 0.5) * v.height)", where
        )  # fmt: skip
        until(lambda: bench.run(covers) == [False, True])
    bench.run("bench.tools.choose([]); bench.view.whole()")


def test_what_can_be_done_with_a_thing_covers_no_edge_of_the_whole_print(bench: Bench) -> None:
    bench.take("fingers")
    covers = (
        "const bar = document.getElementById('in-hand').getBoundingClientRect(), v = bench.view,"
        " stage = document.getElementById('stage').getBoundingClientRect();"
        "return [bar.height > 0, bar.bottom > stage.y + v.toScreen(0, 0)[1] &&"
        " bar.y < stage.y + v.toScreen(0, v.size[1])[1]]"
    )
    choose = (
        "const snow = [...bench.shapes.byId.values()].filter((s) => s.kind === 'snow').sort((a, b) => a.y0 - b.y0);"
        "bench.tools.choose([snow.at(arguments[0])])"
    )
    name, screen_ = _SCREEN
    try:
        bench.browser.execute_cdp_cmd(name, {**screen_, "height": 560})  # the print is as high as there is room
        until(lambda: bench.run("return bench.view.height") < 450)
        for which in (0, -1):
            bench.run(choose, which)
            until(lambda: bench.run(covers) == [True, False], 5)
    finally:
        bench.run("bench.tools.choose([])")
        bench.browser.execute_cdp_cmd(*_SCREEN)


def test_a_mark_that_nobody_drew_is_not_shown(bench: Bench) -> None:
    script = (
        "const mark = {id: 'gone-0009', meaning: 'stays', strength: 1, attempt: 1, motifs: [], blocks: [], rings: []};"
        "return [true, false].map((quiet) => { bench.overlay.remark([{...mark, quiet}], []);"
        " const shown = bench.overlay.marks.has(mark.id); bench.overlay.remark([], [mark.id]); return shown; })"
    )
    assert bench.run(script) == [False, True]


def test_what_is_done_is_said_once_it_is_seen(bench: Bench) -> None:
    """Of a mark, and of one with which all is laid out anew."""
    stands = "Object.defineProperty(bench.picture, 'sharp', {configurable: true, get: () => arguments[0]})"
    bench.take("comes out")
    for opening in ("", "bench.gestures.opening = 'another'"):
        bench.run(f"{opening}; {stands.replace('arguments[0]', 'false')}")
        bench.draw((20, 40), (40, 44))
        until(lambda: bench.marks("comes out"))
        bench.run("return new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
        assert not bench.said().startswith("Done")
        bench.run("delete bench.picture.sharp; bench.hand.changed()")
        until(lambda: bench.said().startswith("Done: comes out"))


def test_all_is_saved_only_once_no_stroke_waits(bench: Bench) -> None:
    head = "return document.getElementById('saved').textContent"
    bench.run(
        "window.asked = window.fetch; window.held = [];"
        "window.fetch = (path, more) => path !== 'do' ? asked(path, more) :"
        " new Promise((done) => held.push(() => done(asked(path, more))))"
    )
    bench.take("comes out")
    drawn(bench.browser, bench.pixels((20, 40), (40, 44)))
    drawn(bench.browser, bench.pixels((20, 60), (40, 64)))
    until(lambda: bench.run("return held.length") == 1)
    assert bench.run(head) == "Saving…"
    bench.run("held.shift()()")
    until(lambda: bench.run("return held.length") == 1)
    assert bench.run(head) == "Saving…"
    bench.run("held.shift()(); window.fetch = asked")
    until(lambda: bench.run(head) == "All saved")
    assert len(bench.marks("comes out")) == 2


def test_while_more_snow_grows_it_is_said(bench: Bench) -> None:
    """Of less nothing is said before it is done."""
    bench.run(
        "window.asked = window.fetch; window.held = [];"
        "window.fetch = (path, more) => path !== 'do' ? asked(path, more) :"
        " new Promise((done) => held.push(() => done(asked(path, more))))"
    )
    said = []
    for meaning in ("less", "more"):
        bench.take(meaning)
        drawn(bench.browser, bench.pixels((20, 40), (40, 44)))
        until(lambda: bench.run("return held.length") == 1)
        said.append(bench.said() == "Snow grows in your mark…")
        bench.run("held.shift()()")
        until(lambda meaning=meaning: bench.said().startswith(f"Done: {meaning}"))
    bench.run("window.fetch = asked")
    assert said == [False, True]


def test_a_new_outline_takes_the_place_of_the_old(bench: Bench) -> None:
    _, x, y, _ = _one_alone(bench)
    bench.take("fingers")
    bench.draw((x, y))
    bench.in_hand("redraw")
    outline = [(x - 2, y - 2), (x + 2, y - 2), (x + 2, y + 2), (x - 2, y + 2)]
    bench.draw(*outline, outline[0])  # closed: ends that lie on the old outline apart draw a part of it anew
    wanted = shapely.Polygon(_down(*outline))
    until(lambda: any(value.symmetric_difference(wanted).area < 0.8 for value in bench.kept("flakes").values()))


def test_what_is_locked_is_named_in_the_print_file_and_can_be_let_go(bench: Bench) -> None:
    text, lock = bench.folder / "print.toml", "[data-motif='flakes'] button"

    def named() -> bool:
        return "kept = " in text.read_text(encoding="utf-8")

    for words, then in (("Lock it as it is", True), ("Let it grow again", False)):
        until(lambda words=words: bench.run("return document.querySelector(arguments[0]).textContent", lock) == words)
        bench.run("document.querySelector(arguments[0]).click()", lock)
        bench.answered()
        until(lambda then=then: named() is then)


def test_a_tap_shakes_the_heap_off_and_another_brings_it_back(bench: Bench) -> None:
    heap = (
        "const one = [...bench.shapes.byId.values()].filter((s) => s.kind === 'snow' && s.name === 'on the rail')"
        ".sort((a, b) => (b.x1 - b.x0) - (a.x1 - a.x0))[0]; if (!one) return null;"
        "for (let k = 0; k < one.xy.length; k += 2) for (const d of [0.2, 0.4, 0.8]) {"
        " const x = one.xy[k], y = one.xy[k + 1] + d; if (bench.shapes.at(x, y, 0) === one) return [x, 60 - y]; }"
    )
    place = bench.run(heap)
    before = len(bench.run("return [...bench.shapes.byId.values()].filter((s) => s.name === 'on the rail')"))
    bench.take("shake")
    bench.draw(tuple(place))
    until(lambda: bench.marks("stays"))
    assert any(mark.buffer(0.3).contains(shapely.Point(place[0], SIZE[1] - place[1])) for mark in bench.marks("stays"))
    bench.draw(tuple(place))
    until(lambda: not bench.marks("stays"))
    assert len(bench.run("return [...bench.shapes.byId.values()].filter((s) => s.name === 'on the rail')")) == before


# ── hands ──


def test_two_fingers_make_it_larger_and_draw_nothing(bench: Bench) -> None:
    bench.take("comes out")
    before = bench.run("return bench.view.scale")
    (ax, ay), (bx, by) = bench.pixels((40, 30), (50, 30))
    hands = []
    for name, x, y, away in (("one", ax, ay, -90), ("other", bx, by, 90)):
        finger = PointerInput("touch", name)
        hand = ActionBuilder(bench.browser, mouse=finger, duration=20)
        hand.pointer_action.move_to_location(round(x), round(y))
        hand.pointer_action.pointer_down()
        hand.pointer_action.move_to_location(round(x + away), round(y))
        hand.pointer_action.pointer_up()
        hands.append(finger.encode())
    bench.browser.execute("actions", {"actions": hands})
    bench.answered()
    assert bench.run("return bench.view.scale") > 1.5 * before
    assert bench.run("return bench.overlay.trails.size") == 0
    assert bench.run("return document.getElementById('undo').disabled")


def test_a_palm_does_nothing_while_the_pen_is_down(bench: Bench) -> None:
    bench.take("comes out")
    touch = (
        "const stage = document.getElementById('stage'), b = stage.getBoundingClientRect();"
        "const send = (kind, type, id, x, y) => stage.dispatchEvent(new PointerEvent(kind, {pointerType: type,"
        " pointerId: id, clientX: b.x + x, clientY: b.y + y, pressure: 0.5, button: 0, bubbles: true}));"
        "stage.setPointerCapture = () => undefined;"
        "send('pointerdown', 'pen', 1, 300, 200); send('pointermove', 'pen', 1, 320, 210);"
        "send('pointerdown', 'touch', 2, 400, 500); send('pointermove', 'touch', 2, 460, 520);"
        "const trails = bench.overlay.trails.size, scale = bench.view.scale, x = bench.view.x;"
        "send('pointermove', 'pen', 1, 340, 220); send('pointerup', 'touch', 2, 460, 520);"
        "const line = bench.tools.trail.spots.length; send('pointercancel', 'pen', 1, 340, 220);"
        "delete stage.setPointerCapture; return [trails, line, bench.view.x - x, bench.view.scale / scale];"
    )
    assert bench.run(touch) == [1, 3, 0, 1]


# ── what is shown ──


def _pixel(bench: Bench, x: float, y: float) -> list[int]:
    """The colour of the picture at a place, y up."""
    done: list[int] = bench.run(
        "const c = document.querySelector('#picture canvas'), m = new DOMMatrix(c.style.transform), v = bench.view;"
        "const [x, y] = v.toScreen(arguments[0], v.size[1] - arguments[1]), k = c.width / parseFloat(c.style.width);"
        "const at = [(x - m.e) / m.a * k, (y - m.f) / m.d * k];"
        "return [...c.getContext('2d').getImageData(...at, 1, 1).data].slice(0, 3)", x, y,
    )  # fmt: skip
    return done


def _printed(bench: Bench, *inks: str) -> list[int]:
    """Inks over one another on the print's paper, as the proof mixes them."""
    paper, done = rgb(bench.run("return bench.picture.paper")), bench.run("return bench.print().blocks")
    coats = [
        (Ink(colour=rgb(each["ink"]), opacity=each["opacity"]), np.ones(1)) for each in done if each["name"] in inks
    ]
    return np.round(screen(overprinted(paper, coats))).astype(int).ravel().tolist()


def _see(bench: Bench, label: str) -> None:
    bench.run(
        "[...document.querySelectorAll('#slips label')].find((l) => l.textContent === arguments[0])"
        ".querySelector('input').click()",
        label,
    )
    until(lambda: bench.run("return bench.picture.sharp"))


def _bare_spot(bench: Bench) -> tuple[float, float]:
    """A place of the sky without snow near it."""
    flakes = bench.flakes()
    for x in range(5, 85, 2):
        for y in range(50, 20, -2):
            if all(abs(x - flake[1]) > flake[3] + 1 or abs(y - flake[2]) > flake[3] + 1 for flake in flakes):
                return x, y
    raise AssertionError("snow everywhere")


def test_inks_lie_over_one_another_and_snow_is_paper(bench: Bench) -> None:
    _, x, y, _ = _one_alone(bench)
    paper = bench.run("return bench.picture.paper")
    white = [int(paper[k : k + 2], 16) for k in (1, 3, 5)]
    assert _pixel(bench, *_bare_spot(bench)) == pytest.approx(_printed(bench, "sky"), abs=3)
    assert _pixel(bench, x, y) == white
    both, key = _printed(bench, "sky", "key"), _printed(bench, "key")
    assert _pixel(bench, 30, 13) in (pytest.approx(both, abs=8), pytest.approx(key, abs=8))
    _see(bench, "the key block alone")
    assert _pixel(bench, *_bare_spot(bench)) == white
    _see(bench, "rubbed in graphite")
    grey = [_pixel(bench, x / 4, 13) for x in range(100, 240)]
    assert len({tuple(each) for each in grey}) > 5, "a rubbing has grain"
    _see(bench, "as the block lies, mirrored")
    assert bench.run("return bench.view.toScreen(0, 0)[0] > bench.view.toScreen(90, 0)[0]")
    _see(bench, "all inks, over one another")
    assert bench.run("return bench.view.mirrored") is False


def test_the_first_version_lies_beside_the_winter_version(bench: Bench) -> None:
    _, x, y, _ = _one_alone(bench)
    _see(bench, "beside the print without snow")
    bench.set("veil", 100)
    under = "const c = document.querySelector('.veil canvas'), m = new DOMMatrix(c.style.transform), v = bench.view;"
    done = bench.run(
        under + "const [x, y] = v.toScreen(arguments[0], v.size[1] - arguments[1]);"
        "return [...c.getContext('2d').getImageData((x - m.e) / m.a, (y - m.f) / m.d, 1, 1).data].slice(0, 3)", x, y,
    )  # fmt: skip
    assert done == pytest.approx(_printed(bench, "sky"), abs=3)
    assert bench.run("return document.querySelector('.veil').offsetWidth / bench.view.width") == pytest.approx(1)
    _see(bench, "beside the print without snow")


#: Frames are drawn until it has moved; then where their blue differs.
_WANDERING = """
const done = arguments[0], c = document.getElementById('apart'), pen = c.getContext('2d');
const [w, h] = [c.width, c.height], low = new Uint8Array(w * h).fill(255), high = new Uint8Array(w * h);
requestAnimationFrame(function look() {
  const data = pen.getImageData(0, 0, w, h).data, rows = [], columns = [];
  for (let k = 0; k < w * h; k++) {
    low[k] = Math.min(low[k], data[4 * k + 2]);
    high[k] = Math.max(high[k], data[4 * k + 2]);
    if (high[k] - low[k] > 12) (rows.push(Math.floor(k / w)), columns.push(k % w));
  }
  if (c.hidden || rows.length > 1500) done([c.hidden, rows, columns]);
  else requestAnimationFrame(look);
});
"""


def test_blocks_that_do_not_meet_wander_by_so_much_and_the_first_stands_still(bench: Bench) -> None:
    """What changes from moment to moment lies within 0.8 mm of the key block's drawing: the sky behind it stands."""
    bench.set("register-mm", 0.8)
    bench.browser.find_element(By.ID, "watch").click()
    hidden, rows, columns = bench.browser.execute_async_script(_WANDERING)
    assert not hidden
    assert len(rows) > 100, "something moves"
    scale, at = bench.run("return [bench.view.scale, bench.view.toScreen(0, 0)]")
    x, y = (np.array(columns) - at[0]) / scale, SIZE[1] - (np.array(rows) - at[1]) / scale
    off = 0.8 * 1.01 + 2 / scale
    near = np.zeros(len(x), dtype=bool)
    for left, low, wide, tall in ((10, 12, 70, 3), (20, 0, 4, 12), (60, 0, 4, 12), (70, 22, 14, 0.25)):
        near |= (x > left - off) & (x < left + wide + off) & (y > low - off) & (y < low + tall + off)
    assert near.all()
    bench.browser.find_element(By.ID, "watch").click()
    assert bench.run("return document.getElementById('apart').hidden")


_MANY = """
const done = arguments[arguments.length - 1], n = 50000, corners = 24, [w, h] = [90, 60];
import('./packed.js').then(async ({ unpack }) => {
  const json = new TextEncoder().encode(JSON.stringify({ version: 1, undo: 0, redo: 0, groups: [
    { kind: 'snow', name: 'flakes', blocks: ['sky', 'key'], ids: Array.from({ length: n }, (_, k) => 1e6 + k) }] }));
  const head = Math.ceil(json.length / 4) * 4, buffer = new ArrayBuffer(16 + head + 8 * n + 4 * n * corners);
  const u32 = (at, values) => new Uint32Array(buffer, at, values.length).set(values);
  new Uint8Array(buffer).fill(32, 4, 4 + head);
  new Uint8Array(buffer).set(json, 4);
  u32(0, [head]);
  u32(4 + head, [n, n * corners]);
  u32(12 + head, Array.from({ length: n }, (_, k) => 1e6 + k));
  u32(12 + head + 4 * n, Array.from({ length: n + 1 }, (_, k) => k * corners));
  const xy = new Uint16Array(buffer, 16 + head + 8 * n);
  for (let k = 0, at = 0; k < n; k++) for (let c = 0; c < corners; c++) {
    xy[at++] = 100 * (0.3 + (w - 0.6) * ((k % 274) / 274)) + 12 * Math.cos((c / corners) * 2 * Math.PI);
    xy[at++] = 100 * (0.3 + (h - 0.6) * (Math.floor(k / 274) / 183)) + 9 * Math.sin((c / corners) * 2 * Math.PI);
  }
  const frames = (count, act) => new Promise((end) => {
    const deltas = []; let last = 0, k = 0;
    requestAnimationFrame(function next(t) {
      if (last) deltas.push(t - last);
      last = t;
      act(k++);
      if (k < count) requestAnimationFrame(next);
      else end(deltas.sort((a, b) => a - b));
    });
  });
  const begun = performance.now(), { shapes } = unpack(buffer, h, 0.01);
  for (const one of shapes) bench.shapes.add(one);
  bench.picture.build();
  bench.view.whole();
  const sharp = () => new Promise((end) => {
    const look = () => (bench.picture.sharp ? end() : setTimeout(look, 5));
    setTimeout(look, 5);
  });
  await sharp();
  const first = performance.now() - begun, still = await frames(30, () => undefined);
  const pan = await frames(30, (k) => bench.view.pan(3 * Math.cos(k / 9), 2 * Math.sin(k / 7)));
  await sharp();
  const gone = shapes.slice(20000, 20040).map((one) => bench.shapes.remove(one.id)), at = performance.now();
  bench.picture.changed(gone, []);
  const edit = performance.now() - at, heap = performance.memory.usedJSHeapSize / 1e6;
  for (const one of shapes) bench.shapes.remove(one.id);
  bench.picture.build();
  bench.view.whole();
  const frame = (deltas) => deltas[Math.floor(deltas.length / 2)];
  const busy = Math.max(1, still[Math.floor(0.95 * still.length)] / 17); // frames that come late though nothing moves
  done({ first, pan: frame(pan), lag: frame(pan) / frame(still), edit, heap, busy });
}, (error) => done(String(error)));
"""


@takes_long  # a measure of time; a pan that draws too much is seen below
def test_fifty_thousand_flakes_are_there_soon_move_smoothly_and_change_at_once(bench: Bench) -> None:
    """Asked: first picture within 3 s, 60 frames a second, an edit within 0.1 s, memory below 600 MB."""
    result: dict[str, float] = {}
    for _ in range(5):
        again = bench.browser.execute_async_script(_MANY)
        busy = again.pop("busy") * _SLOWER
        again = {**again, **{key: again[key] / busy for key in ("first", "edit")}, "pan": again["pan"] / _SLOWER}
        result = {key: min(value, result.get(key, value)) for key, value in again.items()}
        if result["first"] < 3000 and (result["pan"] < 20 or result["lag"] < 1.2) and result["edit"] < 100:
            break
    assert result["first"] < 3000, result
    assert result["pan"] < 20 or result["lag"] < 1.2, f"a busy machine is slow when nothing moves, too: {result}"
    assert result["edit"] < 100, result
    assert result["heap"] < 300, result


def test_between_two_steps_of_a_hand_that_pans_no_more_is_drawn_than_while_it_moves(bench: Bench) -> None:
    """By a clock that goes on by 1 ms whenever it is asked, which is once a piece of the next picture."""
    asked = bench.run("""
const real = performance.now(); let time = real, count = 0;
performance.now = () => (count++, ++time);
const pieces = () => { count = 0; bench.picture.frame(); return count; };
try {
  bench.view.goTo(45, 30, 8);
  bench.picture.refresh();
  const found = [pieces(), pieces()];
  time += 1000;
  return [...found, pieces()];
} finally { delete performance.now; }
""")
    moved, between, rested = asked
    assert moved == between < rested


def test_true_size_after_a_ruler_was_held_to_the_screen(bench: Bench) -> None:
    bench.run("localStorage.clear()")
    bench.browser.find_element(By.ID, "true-size").click()
    bench.set("ruler-px", 500)
    assert bench.browser.find_element(By.CLASS_NAME, "ruler").rect["width"] == pytest.approx(500, abs=1)
    bench.browser.find_element(By.CSS_SELECTOR, "dialog .first").click()
    assert bench.run("return bench.view.scale") == pytest.approx(5.0)
    until(lambda: bench.run("return document.getElementById('scale').textContent") == "100 %")


# ── weather and tries ──


@takes_long  # tests/page/test_session.py takes another try and the one before
def test_tries_lie_side_by_side_and_the_chosen_one_is_in_the_file(bench: Bench) -> None:
    bench.take("grow again")
    bench.draw((25, 30), (65, 30), (65, 55), (25, 55))
    for count in (1, 2):
        until(lambda n=count: len(bench.browser.find_elements(By.CSS_SELECTOR, ".tries button")) >= n + 1)
        until(lambda: len(_shapes(bench.folder / "marks.svg", "grow again")) or _attempts(bench) != [])
        if count == 1:
            bench.browser.find_element(By.ID, "again").click()
            bench.answered()
    until(lambda: _attempts(bench) == [2])
    first = bench.browser.find_elements(By.CSS_SELECTOR, ".tries button")[1]
    assert first.accessible_name == "Try 1"
    first.click()
    bench.answered()
    until(lambda: _attempts(bench) == [1])
    bench.run("document.querySelector('#slips details').open = true")


_PART = """
const [x0, y0, x1, y1] = arguments[0], h = bench.view.size[1], box = { x0, y0: h - y1, x1, y1: h - y0 };
const canvas = Object.assign(document.createElement("canvas"), { width: 80, height: 80 * (y1 - y0) / (x1 - x0) });
const snow = [...bench.shapes.within(box)].filter((shape) => shape.kind === "snow" && shape.name === "flakes");
bench.picture.part(canvas, box, arguments[2] ? snow : []);
const [x, y] = arguments[1].map((mm, k) => (k ? y1 - mm : mm - x0) * 80 / (x1 - x0));
return [...canvas.getContext("2d").getImageData(x, y, 1, 1).data].slice(0, 3);
"""


def test_a_try_is_shown_on_the_drawing_that_it_lies_on(bench: Bench) -> None:
    """The rail in its inks, the sky beside it in its own; a flake is paper where it is of the try, and else is not."""
    rail, sky = _printed(bench, "sky", "key"), _printed(bench, "sky")
    assert bench.run(_PART, (25, 8, 45, 24), (35, 13), False) in (
        pytest.approx(rail, abs=8), pytest.approx(_printed(bench, "key"), abs=8),
    )  # fmt: skip
    assert bench.run(_PART, (25, 8, 45, 24), (35, 22), False) == pytest.approx(sky, abs=3)
    _, x, y, _ = _one_alone(bench)
    paper = bench.run("return bench.picture.paper")
    seen = [bench.run(_PART, (x - 4, y - 3, x + 4, y + 3), (x, y), with_) for with_ in (True, False)]
    assert seen == [[int(paper[k : k + 2], 16) for k in (1, 3, 5)], pytest.approx(sky, abs=3)]


def _attempts(bench: Bench) -> list[int]:
    """Of the places that grow again in the file, which try it is."""
    path = bench.folder / "marks.svg"
    text = path.read_text(encoding="utf-8") if path.is_file() else ""
    return [int(match or 1) for match in re.findall(r"<title>grow again ?(\d*)</title>", text)]


#: Of the pictures of the weather only one is asked for, that of the card: each is a whole sky that grows.
_ONLY = """
const own = Object.getOwnPropertyDescriptor(HTMLImageElement.prototype, 'src'), only = arguments[0];
const set = function (to) { if (!/^weather[/].*[/]/.test(to) || to === only) own.set.call(this, to); };
Object.defineProperty(HTMLImageElement.prototype, 'src', {...own, set});
window.anyPicture = () => Object.defineProperty(HTMLImageElement.prototype, 'src', own);
"""


def test_other_weather_is_chosen_by_its_picture_and_stands_in_the_print_file(bench: Bench) -> None:
    card = "[data-motif='flakes'] .weathers button:nth-child(4)"
    assert bench.run("return document.querySelectorAll('.weathers img[src]').length") == 0, "nobody sees them yet"
    preset = bench.run(f'return document.querySelector("{card} span").textContent')
    bench.run(_ONLY, f"weather/flakes/{preset}.png")
    bench.run("document.getElementById('slip-weather').parentElement.open = true")
    until(lambda: bench.run(f'return document.querySelector("{card} img").naturalWidth') > 0)
    shown = bench.flakes()
    at_once = bench.run(
        f"const card = document.querySelector(`{card}`); card.click();"
        "return [card.innerText.trim(), card.parentElement.querySelectorAll('[aria-pressed=true]').length]"
    )
    assert at_once == [f"{preset}, growing…", 1]
    bench.answered()
    until(lambda: f'"{preset}"' in (bench.folder / "print.toml").read_text(encoding="utf-8"))
    until(lambda: bench.flakes() != shown)
    until(lambda: bench.run(f'return document.querySelector("{card}").innerText.trim()') == preset)
    assert bench.run(f'return document.querySelector("{card}").getAttribute("aria-pressed")') == "true"
    file = (bench.folder / "print.toml").read_bytes()
    bench.run("document.querySelector('[data-motif=flakes] details').open = true")
    slider = "document.querySelector('[data-motif=flakes] input[id$=snow]')"
    bench.run(f"{slider}.value = 0.05; {slider}.dispatchEvent(new Event('input', {{bubbles: true}}))")
    until(lambda: bench.run("return document.querySelector('[data-motif=flakes] .part').naturalWidth") > 0)
    assert (bench.folder / "print.toml").read_bytes() == file, "the hand has not let go yet"
    bench.run(f"{slider}.dispatchEvent(new Event('change', {{bubbles: true}}))")
    bench.answered()
    report = tomllib.loads((bench.folder / "print.toml").read_text(encoding="utf-8"))
    assert report["motifs"][1]["settings"]["snow"] == pytest.approx(0.05, abs=0.004)
    bench.run("anyPicture()")
    bench.run("document.querySelector('#slips details').open = true")


def test_after_none_every_weather_is_on_offer_with_its_picture_and_undo_brings_the_old_back(bench: Bench) -> None:
    before, file = bench.flakes(), (bench.folder / "print.toml").read_bytes()
    bench.run(_ONLY, "weather/flakes/none.png")
    bench.run("document.getElementById('slip-weather').parentElement.open = true")
    offered = "return [...document.querySelectorAll('[data-motif=flakes] [data-preset]')].map((b) => b.dataset.preset)"
    levels = bench.run(offered)
    bench.run("document.querySelector('[data-motif=flakes] [data-preset=none]').click()")
    until(lambda: not bench.flakes())
    chosen = "return document.querySelector('[data-motif=flakes] [aria-pressed=true]')?.dataset.preset"
    until(lambda: bench.run(chosen) == "none")
    assert bench.run(offered) == levels, "what can be chosen is there as before"
    assert bench.run("return document.querySelectorAll('[data-motif=flakes] .weathers img').length") == len(levels)
    assert not bench.run("return document.querySelectorAll('[data-motif=flakes] .weathers button:disabled').length")
    bench.run("document.getElementById('undo').click()")
    bench.answered()
    until(lambda: [one[1:] for one in bench.flakes()] == [one[1:] for one in before])
    assert (bench.folder / "print.toml").read_bytes() == file
    bench.run("anyPicture()")
    bench.run("document.querySelector('#slips details').open = true")


def test_of_two_layings_the_later_one_stays_whichever_comes_first(bench: Bench) -> None:
    """Shapes asked for after one step arrive only once those of the next are laid out."""
    before, undo = bench.flakes(), "document.getElementById('undo').click()"
    bench.run(
        "window.asked = window.fetch; window.held = null; window.came = 0;"
        "window.fetch = (path, more) => { const answer = asked(path, more); if (path !== 'shapes') return answer;"
        " if (held) return answer.finally(() => { came += 1; });"
        " return new Promise((done) => { window.held = () => answer.then(done); }); }"
    )
    bench.run("document.querySelector('[data-motif=flakes] [data-preset=none]').click()")
    bench.answered()
    until(lambda: bench.run("return held !== null"))
    bench.run(undo)
    bench.answered()
    until(lambda: bench.run("return came > 0"))
    until(lambda: len(bench.flakes()) == len(before))
    bench.run("held()")
    until(lambda: bench.run("return bench.laid()"))
    bench.run("window.fetch = asked")
    assert [one[1:] for one in bench.flakes()] == [one[1:] for one in before]
    assert bench.run("return bench.print().motifs.find((one) => one.name === 'flakes').preset") != "none"
    assert bench.run("return bench.gestures.opening === bench.print().opening")


# ── what would break, and files ──


def _press(bench: Bench, finding: str, words: str) -> None:
    """A button of a finding's card, found and pressed at once: cards are laid anew whenever something was looked at."""
    press = (
        "[...document.querySelectorAll(`[data-finding='${arguments[0]}'] button`)]"
        ".find((button) => button.textContent === arguments[1])"
    )
    until(lambda: bench.run(f"const one = {press}; one?.click(); return Boolean(one)", finding, words))


def _told(bench: Bench, finding: str) -> str:
    return str(bench.run("return document.querySelector(`[data-finding='${arguments[0]}']`).innerText", finding))


def test_what_would_break_is_ringed_where_it_is_and_told_in_words(bench: Bench) -> None:
    wire = "return bench.overlay.findings.find((one) => one.block === 'key' && one.at && one.at[0] > 69) ?? null"
    until(lambda: bench.run(wire))
    bench.run("document.getElementById('slip-findings').parentElement.open = true")
    until(lambda: "so far" not in bench.run("return document.querySelector('#slips .count:not([hidden])').textContent"))
    counted = bench.run(
        "return [document.querySelector('#slips .count:not([hidden])').textContent,"
        " String(document.querySelectorAll('#slip-findings .card.breaks').length)]"
    )
    assert counted[0] == counted[1] != "0"
    lesser, worth = "return document.querySelector('.lesser > summary').textContent", re.compile(
        r"Worth a look while you carve: (.+ \(\d+\))(, .+ \(\d+\))*(, \d+ more of this sort)?"
    )  # fmt: skip
    until(lambda: worth.fullmatch(bench.run(lesser)))  # what is near comes first, all else a little later
    ringed, risk = "return arguments[0].map(([x, y]) => bench.overlay.pen.getImageData(x, y, 1, 1).data[3] > 0)", (
        "const all = bench.overlay.findings.filter((one) => one.at);"
        "const apart = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]);"
        "const alone = (one) => all.every((o) => o === one || apart(o.at, one.at) > 9);"
        "return all.find((one) => one.severity === 'risk' && alone(one)).at"
    )  # fmt: skip
    on_the_ring = bench.run(
        "return arguments[0].map(([x, y]) => { const p = bench.view.toScreen(x, bench.view.size[1] - y);"
        " return [Math.round(p[0]), Math.round(p[1]) - 13]; })", [bench.run(wire)["at"], bench.run(risk)],
    )  # fmt: skip
    until(lambda: bench.run(ringed, on_the_ring)[0])
    assert bench.run(ringed, on_the_ring) == [True, False], "only what breaks"
    bench.run("document.querySelector('.lesser').open = true; document.querySelector('.lesser input').click()")
    until(lambda: bench.run(ringed, on_the_ring) == [True, True])
    bench.run("document.querySelector('.lesser input').click()")
    first = bench.run(wire)
    assert first["sentence"] in _told(bench, first["id"])
    assert first["remedy"] not in _told(bench, first["id"])
    _press(bench, first["id"], "Show me why")
    assert first["remedy"] in _told(bench, first["id"])
    (middle,) = bench.pixels(tuple(first["at"]))
    stage = bench.browser.find_element(By.ID, "stage").rect
    assert middle[0] == pytest.approx(stage["x"] + stage["width"] / 2, abs=2)
    assert bench.run("return bench.overlay.lookedAt") == first["id"]
    assert 69 < first["at"][0] < 85, "where the wire is"
    _press(bench, first["id"], "Leave it to my knife")
    bench.answered()
    left = "return bench.overlay.findings.filter((one) => one.left).map((one) => one.id)"
    until(lambda: bench.run(left) == [first["id"]])
    bench.run("document.getElementById('undo').click()")
    until(lambda: bench.run(left) == [])
    _press(bench, first["id"], "Mend it")
    bench.answered()
    assert "the key block wherever a limit breaks" in bench.said()
    report = tomllib.loads((bench.folder / "print.toml").read_text(encoding="utf-8"))
    assert [block.get("mend", False) for block in report["blocks"]] == [False, True]
    until(lambda: bench.run(wire) is None)
    bench.run("document.querySelector('#slips details').open = true")


_ALIKE = """
const done = arguments[0];
import(new URL("slips.js", document.baseURI)).then(async ({ FindingsSlip }) => {
  const slip = new FindingsSlip({}), count = () => slip.list.querySelectorAll(".card").length;
  const usual = { severity: "breaks", block: "key", sentence: "", remedy: "", measured: null, limit: null };
  const lot = (title, many) => Array.from({ length: many }, (_, k) => ({ ...usual, id: title + k, title }));
  const all = [...lot("Thin land", 5), ...lot("Thin cut", 4)];
  slip.show(all, "whole", "done");
  const folded = [slip.list.querySelector("summary").textContent, count()];
  slip.list.querySelector("details").open = true;
  await new Promise((then) => setTimeout(then, 50));
  slip.show(all, "whole", "done");
  const again = count();
  slip.show(all, "near", "soon");
  const lines = [slip.note.textContent];
  slip.work({ kind: "stage", text: "checking: snow", part: 0.4, to_go: "about 20 s to go" });
  lines.push(slip.note.textContent, slip.going.textContent, slip.bar.value, slip.stop.hidden);
  slip.show(all, "nothing", "the disk is full");
  lines.push(slip.note.textContent, slip.now.hidden);
  for (const looks of ["done", "stopped", "the disk is full", "soon", "at work"]) {
    slip.show([], "whole", looks);
    lines.push(slip.note.textContent);
  }
  slip.body.closest("details").remove();
  done([...folded, again, ...lines]);
}).catch((error) => done(String(error)));
"""


def test_what_would_break_in_the_files_is_said_before_they_are(bench: Bench) -> None:
    said = bench.browser.execute_async_script(
        "const done = arguments[0]; import(new URL('slips.js', document.baseURI))"
        ".then(({ filesMade }) => done([0, 1, 5].map(filesMade)))"
    )
    made = "The files are made: they lie in the folder of the print."
    breaks = "would break: look at it before anything is cut."
    assert said == [made, f"At one place something {breaks} {made}", f"At 5 places something {breaks} {made}"]


def test_many_that_would_break_alike_are_folded_together_and_stay_as_she_unfolded_them(bench: Bench) -> None:
    """Four of a kind lie open, a fifth folds them; told again, what was open is open. What goes on is said above.

    Once a build has looked at all of it, what becomes of the picture is said, too.
    """
    near = "What is told here lies near what you changed."
    lines = [
        f"The whole print is looked at once your hand rests. {near}",
        f"The whole print is being looked at: snow. {near}",
        "40 % done, about 20 s to go. You can go on working: after a change it begins anew once your hand rests.",
        0.4, False,
        "The whole print could not be looked at: the disk is full.", False,
    ]  # fmt: skip
    picture = [
        "", " You stopped the work on the picture.", " The picture could not be worked out: the disk is full.",
        " The picture is worked out once your hand rests.", " The picture is being worked out: snow.",
    ]  # fmt: skip
    lines += [f"Looked at all of it: nothing would break.{words}" for words in picture]
    assert bench.browser.execute_async_script(_ALIKE) == ["Thin land: 5", 4, 9, *lines]


def test_what_would_break_and_the_line_at_the_foot_say_the_same(bench: Bench) -> None:
    """After a stroke: what comes next, what is at work, then what was found; and by a button at once."""
    both = "return ['#slip-findings > p', '#saved'].map((one) => document.querySelector(one).textContent)"
    until(lambda: bench.browser.execute_async_script(_FOUND) == "done")
    until(lambda: bench.run(both)[0].startswith("Looked at all of it: "))
    until(lambda: bench.run(both)[1] == "All saved")
    bench.take("stays")
    bench.draw((30, 30), (50, 40))
    next_ = "All saved; next the whole print is looked at"
    until(lambda: bench.run(both)[1] == next_)
    assert bench.run(both)[0].startswith("The whole print is looked at once your hand rests.")
    bench.run("document.getElementById('look-now').click()")
    until(lambda: bench.run(both)[1].startswith("checking"))
    assert bench.run(both)[0].startswith("The whole print is being looked at")
    until(lambda: bench.run(both)[0].startswith("Looked at all of it: "))
    until(lambda: bench.run(both)[1] == "All saved")


def test_on_a_phone_the_head_is_seen_whole(bench: Bench) -> None:
    size = {"width": 360, "height": 740, "deviceScaleFactor": 1, "mobile": True}
    bench.browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    try:
        seen = bench.run(
            "return [...document.querySelectorAll('.shelf h1, .shelf button')].map((one) => {"
            " const { left, right, width } = one.getBoundingClientRect(); return [left, right, width] })"
        )
    finally:
        bench.browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    assert len(seen) == 4
    assert all(0 <= left < right <= 360 and width > 40 for left, right, width in seen), seen


def test_what_would_go_by_a_mark_that_stays_is_outlined_while_it_is_drawn_and_esc_takes_it_back(bench: Bench) -> None:
    """On the edge of a heap: more goes than is painted, and it is seen before the hand lifts."""
    heaps = "[...bench.shapes.byId.values()].filter((one) => one.name === 'on the rail')"
    boxes = bench.run(f"return {heaps}.map((s) => [s.x0, s.x1, bench.view.size[1] - s.y0])")
    left, right, top = max(boxes, key=lambda box: box[1] - box[0])
    mouse = PointerInput("mouse", "the mouse")
    hand = ActionBuilder(bench.browser, mouse=mouse, duration=4)
    bench.take("stays")
    at = bench.pixels((left + 2, top - 0.3), ((left + right) / 2, top - 0.3))
    hand.pointer_action.move_to_location(*map(round, at[0]))
    hand.pointer_action.pointer_down(button=0)
    hand.pointer_action.move_to_location(*map(round, at[1]))
    hand.perform()
    until(lambda: bench.run("return bench.overlay.foreseen.length") > 0)
    until(lambda: re.match(r"Dashed: what would go so far, [0-9.]+ mm² of snow[.]", bench.said()))
    told = "return performance.getEntriesByType('resource').some((one) => one.name.endsWith('/drawing'))"
    until(lambda: bench.run(told))  # so that no look at the whole print begins meanwhile
    bench.browser.switch_to.active_element.send_keys(Keys.ESCAPE)
    until(lambda: bench.run("return bench.overlay.foreseen.length + bench.overlay.trails.size") == 0)
    up = ActionBuilder(bench.browser, mouse=mouse, duration=4)
    up.pointer_action.pointer_up(button=0)
    up.perform()
    bench.answered()
    assert bench.marks("stays") == []


def test_of_what_takes_long_to_foresee_no_more_is_asked_and_another_pencil_begins_without_dashes(bench: Bench) -> None:
    """Whoever lifts would wait for the answer; and dashes of part of a line would say too little."""
    bench.run(
        "window.foresees = bench.tools.foresee; window.questions = 0; window.late = 700;"
        "bench.tools.foresee = async () => { questions += 1; await new Promise((done) => setTimeout(done, late));"
        " return { rings: [[[30, 30], [40, 30], [40, 40]]], area_mm2: 50 }; };"
    )
    begins = "bench.tools.take('stays'); bench.tools.begin([30, 30, 1]); return questions"
    until(lambda: bench.run(begins) == 1)  # a question of the test before may be on its way
    bench.run("bench.tools.more([[40, 30, 1]])")
    until(lambda: bench.said().startswith("What goes takes long to work out here"))
    bench.run("bench.tools.more([[44, 30, 1]]); bench.tools.cancel(); bench.tools.begin([30, 30, 1])")
    assert bench.run("return [questions, bench.overlay.foreseen.length]") == [1, 0]
    bench.run("late = 0; bench.tools.take('stays'); bench.tools.begin([30, 30, 1])")
    until(lambda: bench.run("return bench.overlay.foreseen.length") > 0)
    assert bench.run("return questions") == 2, "taken up anew, it is asked again"
    bench.run("bench.tools.tool = 'less'; bench.tools.begin([50, 30, 1])")
    assert bench.run("return bench.overlay.foreseen.length") == 0
    bench.run("bench.tools.cancel(); bench.overlay.trails.clear(); bench.tools.foresee = foresees")


_FOUND = "const done = arguments[0]; fetch('findings').then((answer) => answer.json()).then((it) => done(it.looks))"


def test_what_is_left_to_the_knife_leaves_the_whole_print_looked_at(bench: Bench) -> None:
    until(lambda: bench.browser.execute_async_script(_FOUND) == "done")
    until(lambda: bench.run("return bench.overlay.findings.length") > 0)
    note = "return document.querySelector('#slip-findings > p').textContent"
    until(lambda: bench.run(note).startswith("Looked at all of it: "))
    finding = bench.run("return bench.overlay.findings.find((one) => one.severity === 'breaks').id")
    _press(bench, finding, "Leave it to my knife")
    bench.answered()
    until(lambda: bench.run(f"return bench.overlay.findings.find((one) => one.id === '{finding}').left"))
    assert bench.run(note).startswith("Looked at all of it: ")


def test_what_would_break_has_a_remedy_in_words_and_a_button_for_it(bench: Bench) -> None:
    until(lambda: bench.browser.execute_async_script(_FOUND) == "done")
    find = "return bench.overlay.findings.find((one) => one.block === 'key' && one.kind === 'land-width island')"
    until(lambda: bench.run(find))  # the wire: whatever snow grows, it is too thin
    finding = bench.run(find)
    bench.run("document.getElementById('slip-findings').parentElement.open = true")
    _press(bench, finding["id"], "Show me why")
    card = bench.browser.find_element(By.CSS_SELECTOR, f"[data-finding='{finding['id']}']").text
    for remedy in finding["clears"]:
        assert f"{remedy['button']}: {remedy['help']}" in card
    remedy = next(each for each in finding["clears"] if each["meaning"] == "comes out")
    _press(bench, finding["id"], remedy["button"])
    until(lambda: len(bench.marks("comes out")) == 1)
    x, y = finding["at"]
    assert bench.marks("comes out")[0].distance(shapely.Point(x, SIZE[1] - y)) == 0
    assert bench.marks("stays") == []
    until(lambda: bench.run(f"return !bench.overlay.findings.some((one) => one.id === '{finding['id']}')"))
    bench.run("document.querySelector('#slips details').open = true")


def test_after_as_it_was_before_a_step_back_shows_the_tries_again(bench: Bench) -> None:
    bench.take("grow again")
    bench.draw((30, 32), (50, 32), (50, 50), (30, 50))
    there = "return [...document.querySelectorAll('.tries button')].map((b) => [b.title, b.ariaPressed])"
    tries = [["As it was before", "false"], ["Try 1", "true"]]
    until(lambda: bench.run(there) == tries)
    bench.run("document.querySelector('.tries button').click()")
    bench.answered()
    until(lambda: bench.run(there) == [])
    bench.run("document.getElementById('undo').click()")
    until(lambda: bench.run(there) == tries)
    bench.run("document.getElementById('redo').click()")
    until(lambda: bench.run(there) == [])
    bench.run("document.querySelector('#slips details').open = true")


def _build(bench: Bench) -> None:
    bench.run("document.getElementById('slip-files').parentElement.open = true")
    bench.browser.find_element(By.ID, "build").click()
    until(lambda: bench.browser.find_elements(By.ID, "cautions"))


def _choose(bench: Bench, *values: str) -> None:
    """Click machines, tools and materials of the open dialog, by what they are called in the print file."""
    for value in values:
        bench.run("document.querySelector(`dialog input[value='${arguments[0]}']`).click()", value)


def _cut_by(bench: Bench) -> None:
    bench.run("document.getElementById('slip-cutting').parentElement.open = true")
    bench.browser.find_element(By.ID, "cut-by").click()
    until(lambda: bench.browser.find_elements(By.CSS_SELECTOR, "dialog form"))


def _kinds(bench: Bench) -> list[list[str]]:
    tables = tomllib.loads((bench.folder / "print.toml").read_text(encoding="utf-8"))["blocks"]
    return [table["for"] for table in tables]


_DRAWN = "return document.getElementById('drawn-land').textContent"
_CUT = "return document.getElementById('slip-cutting').innerText"


def test_another_machine_is_asked_for_later_as_at_the_beginning(bench: Bench) -> None:
    """What must not meet it is refused, and what the block is made of is asked again, not guessed."""
    path = bench.folder / "print.toml"
    before = path.read_text(encoding="utf-8")
    _cut_by(bench)
    assert bench.browser.find_element(By.CSS_SELECTOR, "dialog [type=submit]").text == "Save it"
    assert _violations(bench, "dialog[open]") == []
    _choose(bench, "hand", "router", "rubber-soft", "laser")  # the router goes: by hand alone rubber is cut
    assert "Never by laser: Nobody can say" in bench.browser.find_element(By.CSS_SELECTOR, "dialog [role=alert]").text
    lacking = bench.run("return document.querySelector('dialog .things:last-of-type > .faint').textContent")
    assert lacking.startswith("Never by laser, and so not in this list: ")
    assert "soft carving vinyl" in lacking
    bench.browser.find_element(By.CSS_SELECTOR, "dialog [type=submit]").click()
    assert bench.browser.find_elements(By.CSS_SELECTOR, "dialog form:invalid")
    assert path.read_text(encoding="utf-8") == before
    _choose(bench, "linoleum")
    until(lambda: "the least land is" in bench.run(_DRAWN))
    told = bench.run(_DRAWN)
    assert "What is drawn counts as snow does: a line or twig thinner than" in told, told
    _choose(bench, "router", "laser")
    until(lambda: bench.run(_DRAWN) != told)
    bench.browser.find_element(By.CSS_SELECTOR, "dialog [type=submit]").click()
    until(lambda: "hand with" in bench.run(_CUT))
    assert bench.run("return document.getElementById('moved')") is None, "the strictest limits are the router's still"
    assert _kinds(bench) == [["hand", "router"]] * 2
    assert path.read_text(encoding="utf-8").replace('["hand", "router"]', '["router"]') == before
    bench.run("document.getElementById('undo').click()")
    bench.answered()
    until(lambda: "hand with" not in bench.run(_CUT))
    assert path.read_text(encoding="utf-8") == before
    bench.run("document.querySelector('#slips details').open = true")


_MOVED = """
const done = arguments[0];
import(new URL("slips.js", document.baseURI)).then(({ WeatherSlip }) => {
  const slip = new WeatherSlip({ say: () => undefined, send: async () => undefined });
  const lines = () => [...slip.body.querySelectorAll("#moved p")].map((one) => one.textContent);
  const told = (moved) => (slip.show({ motifs: [], moved }), lines());
  done([told(["Moved: flakes.", "Take back."]), told([])]);
  slip.fold.remove();
});
"""


def test_which_snow_moved_stands_on_the_slip_weather_until_the_next_change(bench: Bench) -> None:
    assert bench.browser.execute_async_script(_MOVED) == [["Moved: flakes.", "Take back."], []]


_DIFFER = """
const done = arguments[0];
import(new URL("cutting.js", document.baseURI)).then(async ({ CuttingSlip }) => {
  const sent = [], said = [], files = { made: 0, again: () => undefined };
  const does = { outline: () => undefined, say: (words) => said.push(words),
    send: async (gesture) => void sent.push({ gesture, waits: document.querySelector("#cutting-waits").textContent }) };
  const wait = async (till) => { while (!till()) await new Promise((then) => setTimeout(then, 10)); };
  const slip = new CuttingSlip(does, files), open = () => document.querySelector("dialog form");
  const body = [...document.querySelectorAll("#slip-cutting")].at(-1);
  const asked = async (blocks, ...values) => {
    slip.show({ motifs: [{ name: "flakes", kept: true }, { name: "grain", kept: false }],
      blocks: blocks.map(([name, kinds, cutter, material]) =>
      ({ name, machines: kinds, material, cut_by: { for: kinds, cutter, material } })) });
    body.querySelector("button").click();
    await wait(open);
    for (const value of values) document.querySelector(`dialog input${value}`).click();
    const ticked = [...document.querySelectorAll("dialog [name=who]:checked")].map((box) => box.value);
    const tools = [...document.querySelectorAll("dialog [name=thing-Tool]")].map((box) => box.value);
    const alert = document.querySelector("dialog [role=alert]")?.textContent ?? "";
    if (alert) document.querySelector("dialog [value=birch-plywood]").click();
    const mended = !document.querySelector("dialog [role=alert]");
    if (alert) document.querySelector("dialog [value=birch-plywood]").checked = false;
    document.querySelector("dialog [type=submit]").click();
    await wait(() => !open() || document.querySelector("dialog form:invalid"));
    document.querySelector("dialog")?.close();
    await wait(() => !open());
    const last = sent.pop();
    return { ticked, tools, alert, mended, sent: last?.gesture, waits: last?.waits };
  };
  const hands = [["sky", ["router", "hand"], "v-60", "linoleum"], ["key", ["hand"], "v-60", "linoleum"]],
    apart = [["sky", ["laser"], "laser-fine", "basswood"], ["key", ["hand"], "u-2", "rubber-soft"]];
  const answer = [
    await asked(hands, "[value='v-90']"),
    await asked(hands, "[value=laser]", "[value=hand]", "[name=who][value='']", "[value=basswood]"),
    await asked(hands, "[value=hand]"),
    await asked(apart),
    await asked(apart, "[value=laser]"),
  ];
  body.closest("details").remove();
  done(answer);
}).catch((error) => done(String(error)));
"""


def test_blocks_that_are_cut_apart_stay_so_where_nothing_else_is_chosen(bench: Bench) -> None:
    """Sent is only what she changed; a thing is offered that suits every block as it is cut."""
    tool, material, hand, none, laser = bench.browser.execute_async_script(_DIFFER)
    assert (tool["ticked"], tool["sent"]) == ([""], {"do": "cut by", "cutter": "v-90"})
    assert "v-30" in tool["tools"], "what goes into the hand and the router"
    assert "flat-1" not in tool["tools"], "the hand can't have it"
    assert (material["ticked"], material["sent"]) == ([""], {"do": "cut by", "material": "basswood"})
    assert hand["sent"] == {"do": "cut by", "for": ["hand"]}
    assert (none["ticked"], none["tools"], none["sent"]) == ([""], [""], {"do": "cut by"})
    assert "Refused: as each block has it. Never by laser:" in laser["alert"], "there is rubber"
    assert (laser["ticked"], laser.get("sent")) == (["laser"], None)
    assert laser["mended"], "another material was named"
    assert tool["waits"] == "Every locked shape of flakes is tried by the new limits; then it is written."


@takes_long  # the one above, and the build of the test below
def test_with_another_machine_the_files_are_made_again_and_its_cautions_come_before_them(bench: Bench) -> None:
    _build(bench)
    bench.browser.find_element(By.ID, "read").click()
    bench.run("document.querySelector('dialog').close()")
    _cut_by(bench)
    _choose(bench, "laser")
    save = bench.browser.find_element(By.CSS_SELECTOR, "dialog [type=submit]")
    assert save.text == "Save it, and make the files again"
    save.click()
    until(lambda: bench.browser.find_elements(By.ID, "cautions"))
    assert _kinds(bench) == [["laser", "router"]] * 2
    assert "laser" in bench.browser.find_element(By.ID, "cautions").text
    assert not bench.browser.find_elements(By.CSS_SELECTOR, "dialog [data-kind=machine]"), "there is more to read"
    bench.browser.find_element(By.ID, "read").click()
    made = bench.browser.find_elements(By.CSS_SELECTOR, "dialog [data-kind=machine] .file-name")
    assert {each.text for each in made} == {
        f"{one}-{kind}.zip" for one in ("sky", "key") for kind in ("laser", "router")
    }
    bench.run("document.querySelector('dialog').close(); document.querySelector('#slips details').open = true")
    shutil.rmtree(bench.folder / "built")


def test_files_are_made_and_those_for_machines_come_after_their_cautions(bench: Bench) -> None:
    _build(bench)
    shown = {node.get_attribute("data-kind") for node in bench.browser.find_elements(By.CSS_SELECTOR, "dialog li")}
    assert "machine" not in shown
    assert bench.browser.find_element(By.CSS_SELECTOR, "#cautions li").text
    lots = [
        each.get_attribute("data-lot") for each in bench.browser.find_elements(By.CSS_SELECTOR, "dialog [data-lot]")
    ]
    assert lots == ["look", "machine", "lay", "more", "report"], "nothing is cut by hand"
    assert bench.browser.find_elements(By.CSS_SELECTOR, "[data-lot=machine] > #cautions + p + .files")
    assert _violations(bench, "dialog[open]") == []
    bench.browser.find_element(By.ID, "read").click()
    files = bench.browser.find_elements(By.CSS_SELECTOR, "dialog li[data-kind]")
    assert {"picture", "print", "machine"} <= {one.get_attribute("data-kind") for one in files}
    assert all(item.find_element(By.CSS_SELECTOR, "p + p").text for item in files), "a sentence to each"
    names = {file.find_element(By.CLASS_NAME, "file-name").text for file in files}
    made = {path.name for path in bench.folder.rglob("*")}
    assert {name for name in names if not name.endswith(".zip")} <= made, "a machine's files come as one archive"
    bench.run("document.querySelector('dialog').close()")
    links = bench.browser.find_elements(By.CSS_SELECTOR, "#papers a")
    papers = {each.text: each.get_attribute("href") for each in links}
    assert papers and all(words.startswith("Print ") for words in papers)
    bench.browser.find_element(By.ID, "draw-sheet").click()
    until(lambda: bench.browser.find_elements(By.CSS_SELECTOR, "#sheet a"))
    sheet = bench.browser.find_element(By.CSS_SELECTOR, "#sheet a").get_attribute("href")
    for link in (sheet, *papers.values()):
        with urllib.request.urlopen(str(link), timeout=20) as answer:
            assert answer.read(5) == b"%PDF-"
    lie = "return document.getElementById('slip-files').textContent"
    assert "older than what you see" not in bench.run(lie)
    bench.take("comes out")
    bench.draw((20, 40), (40, 40))
    assert "older than what you see" in bench.run(lie), "what was made before is not of this print"
    bench.run("document.querySelector('#slips details').open = true")


def test_after_cutting_a_photograph_shows_what_is_still_to_cut_and_what_was_cut_too_much(
    bench: Bench, tmp_path: Path
) -> None:
    if not list(bench.folder.rglob("key.png")):
        _build(bench)
        bench.run("document.querySelector('dialog').close()")
    (path,) = (each for each in bench.folder.rglob("key.png"))
    with Image.open(path) as planned:
        picture = planned.convert("RGB").reduce(3)
    per_mm = picture.width / SIZE[0]
    pen = ImageDraw.Draw(picture)
    for colour, (x, y, right, top) in (((31, 43, 61), (40, 40, 46, 44)), ((251, 250, 246), (40, 12.5, 44, 14.5))):
        pen.rectangle([item * per_mm for item in (x, SIZE[1] - top, right, SIZE[1] - y)], fill=colour)
    picture.save(tmp_path / "proof.png")
    bench.run("document.getElementById('slip-after').parentElement.open = true")
    bench.set("cut-block", "key")
    bench.browser.find_element(By.ID, "cut-photograph").send_keys(str(tmp_path / "proof.png"))
    until(lambda: bench.browser.find_elements(By.CSS_SELECTOR, "dialog .corner"))
    assert "Too little is drawn" in bench.browser.find_element(By.CSS_SELECTOR, "dialog .refused").text
    until(lambda: bench.run("return document.querySelector('.laid img').naturalWidth") == picture.width)
    assert _violations(bench, "dialog[open]") == []
    for knob in bench.browser.find_elements(By.CSS_SELECTOR, "dialog .corner"):
        name = knob.accessible_name
        away = (
            Keys.ARROW_UP if "Upper" in name else Keys.ARROW_DOWN,
            Keys.ARROW_LEFT if "left" in name else Keys.ARROW_RIGHT,
        )
        knob.send_keys(Keys.SHIFT, *[key for key in away for _ in range(3)])
        knob.send_keys(Keys.NULL)
    bench.run("document.querySelector('dialog form').requestSubmit()")
    until(lambda: bench.run("return document.querySelector('dialog .proof img')?.naturalWidth > 0"))
    report = bench.browser.find_element(By.CSS_SELECTOR, "dialog .told").text
    areas = {one: float(area) for one, area in re.findall(r"(.+): 1 place, ([\d.]+) mm²", report)}
    assert areas == {
        "still to cut": pytest.approx(24, abs=4),
        "cut too much": pytest.approx(8, abs=2),
    }
    assert _violations(bench, "dialog[open]") == []
    bench.run("document.querySelector('dialog').close(); document.querySelector('#slips details').open = true")


@takes_long  # tests/page/test_coloured_sheet.py takes the same through the server
def test_a_photograph_of_the_coloured_sheet_is_looked_at_and_becomes_marks(bench: Bench, tmp_path: Path) -> None:
    """Drawn by the models of `tests/pencil_sheets.py`, read back from the file against what was hatched."""
    hatched = blob(45, 40, 14, 10, seed=1)
    case = Case(strokes=(Stroke(pencil=0, shape=hatched),), name="a rail", **QUICK)
    flat(case, MarkingSheet(name="a rail", window=(0.0, 0.0, *SIZE))).save(tmp_path / "sheet.png")
    bench.run("document.getElementById('slip-files').parentElement.open = true")
    bench.browser.find_element(By.ID, "coloured").send_keys(str(tmp_path / "sheet.png"))
    until(lambda: bench.browser.find_elements(By.ID, "take-marks"))
    until(lambda: bench.run("return document.querySelector('dialog img.whole').naturalWidth > 0"))
    assert "comes out: 1 place, " in bench.browser.find_element(By.CSS_SELECTOR, "dialog .told").text
    assert not bench.marks("comes out"), "not before she has looked"
    assert _violations(bench, "dialog[open]") == []
    bench.browser.find_element(By.ID, "take-marks").click()
    until(lambda: bench.marks("comes out"))
    (mark,) = bench.marks("comes out")
    wanted = affinity.scale(hatched, 1, -1, origin=(0, SIZE[1] / 2))
    assert mark.symmetric_difference(wanted).area < 0.12 * wanted.area
    until(lambda: bench.run("return bench.overlay.marks.size") == 1)  # the file may be written before the answer comes


# ── everybody ──


def _violations(bench: Bench, within: str = "html", **rules: object) -> list[str]:
    """What is wrong in a part of the page; an open dialog is all of it that can be used. By all rules but as said."""
    bench.run(
        AXE.read_text(encoding="utf-8") + "; globalThis.axe = axe;" if not bench.run("return !!globalThis.axe") else ""
    )
    result = bench.browser.execute_async_script(
        "const [within, rules, done] = arguments; axe.run(within, {resultTypes: ['violations'], ...rules}).then("
        "(r) => done(r.violations.map((v) => v.id + ': ' + v.nodes.map((n) => n.target.join(' ')).join(', '))),"
        "(e) => done(['failed: ' + e]))",
        within,
        rules,
    )
    return list(result)


def test_the_accessibility_checker_finds_nothing_in_any_state(bench: Bench) -> None:
    """axe-core, all its rules of WCAG 2.x and good practice; contrast, which costs most, wherever colours change."""
    bench.take("fingers")
    _, x, y, _ = _one_alone(bench)
    bench.draw((x, y))
    bench.run("for (const one of document.querySelectorAll('.weathers img')) delete one.dataset.src")  # or each grows
    bench.run("for (const one of document.querySelectorAll('#slips details')) { one.name = ''; one.open = true; }")
    assert _violations(bench) == []
    bench.browser.find_element(By.ID, "lamp").click()
    assert _violations(bench, runOnly=["color-contrast"]) == []
    bench.browser.find_element(By.ID, "lamp").click()
    bench.run("[...document.querySelectorAll('#slips details')].forEach((one, k) => { one.open = k === 0; })")
    bench.run("for (const one of document.querySelectorAll('#slips details')) one.name = 'slip';")
    bench.take("more")
    assert _violations(bench, rules={"color-contrast": {"enabled": False}}) == []
    bench.browser.find_element(By.ID, "ruler").click()
    assert _violations(bench, "dialog[open]") == []
    bench.run("document.querySelector('dialog').close()")


#: Of the print's four corners and what lies under it those that something else lies on, the notes being open.
_UNCOVERED = """
const stage = document.getElementById("stage"), b = stage.getBoundingClientRect(), v = bench.view, [w, h] = v.size;
const places = [[0, 0], [w, 0], [0, h], [w, h]].map((at) => v.toScreen(...at)).map(([x, y]) => [b.x + x, b.y + y]);
const tops = places.map(([x, y]) => stage.contains(document.elementFromPoint(x, y)) || `${x} ${y}`);
for (const id of ["true-size", "whole", "rule"]) {
  const r = document.getElementById(id).getBoundingClientRect();
  tops.push(document.elementFromPoint(r.right - 3, r.y + 9)?.id === id || id);
}
return document.getElementById("slips").checkVisibility() ? tops.filter((top) => top !== true) : ["no notes"];
"""


def test_it_fits_a_tablet_either_way_round(bench: Bench) -> None:
    name, screen_ = _SCREEN
    bench.run("bench.view.whole()")
    try:
        bench.browser.execute_cdp_cmd(name, {**screen_, "width": 900, "height": 625})
        until(lambda: bench.run("return bench.view.toScreen(bench.view.size[0], 0)[0] < bench.view.width"))
        assert bench.run(
            "const b = document.getElementById('true-size').getBoundingClientRect();"
            "return document.elementFromPoint(b.right - 3, b.y + 9).id"
        ) == "true-size", "the notes lie on nothing"  # fmt: skip
        for width, height in ((850, 600), (840, 900), (700, 600), (500, 800)):
            bench.browser.execute_cdp_cmd(name, {**screen_, "width": width, "height": height})
            until(lambda: bench.run("return bench.view.toScreen(bench.view.size[0], 0)[0] < bench.view.width"))
            until(lambda: bench.run(_UNCOVERED) == [], 15)
        for width, height in ((1024, 768), (800, 1280)):
            bench.browser.execute_cdp_cmd(name, {**screen_, "width": width, "height": height})
            assert bench.run("return document.documentElement.scrollWidth") <= width
            stage = bench.browser.find_element(By.ID, "stage").rect
            assert stage["width"] > 0.55 * width
            assert stage["height"] > 0.55 * height
    finally:
        bench.browser.execute_cdp_cmd(*_SCREEN)


def test_a_second_window_says_that_it_only_looks(bench: Bench) -> None:
    first = bench.browser.current_window_handle
    bench.browser.switch_to.new_window("tab")
    try:
        bench.open()
        assert "Another window" in bench.run("return document.getElementById('saved').textContent")
        bench.take("comes out")
        bench.draw((20, 40), (40, 40))
        assert "only look" in bench.said()
        assert not bench.marks("comes out")
        second = bench.browser.current_window_handle
        bench.browser.switch_to.window(first)
        bench.browser.close()
        bench.browser.switch_to.window(second)
        first = second
        until(lambda: "holds the print now" in bench.said())  # by itself, soon after the other was closed
        bench.draw((20, 40), (40, 40))
        assert bench.marks("comes out")
        bench.browser.switch_to.new_window("tab")
    finally:
        bench.browser.close()
        bench.browser.switch_to.window(first)


@pytest.fixture
def sample(browser: Any, opened: Bench, tmp_path: Path) -> Iterator[Bench]:
    """The page on the sample, in a window of its own."""
    made = [sys.executable, "-m", "carvegen", "new", str(tmp_path / "landing")]
    subprocess.run(made, check=True, capture_output=True)
    first = browser.current_window_handle
    browser.switch_to.new_window("tab")
    _laid_out(browser)
    program, address = _program(tmp_path / "landing")
    try:
        bench = Bench(browser, tmp_path / "landing", program, address)
        bench.open()
        yield bench
    finally:
        browser.close()
        browser.switch_to.window(first)
        _ended(program)


@pytest.mark.skipif("CARVEGEN_PICTURES" not in os.environ, reason="CARVEGEN_PICTURES=gallery/marking-page takes them")
def test_pictures_of_the_page_on_the_sample(sample: Bench) -> None:
    """Marks on the print; a heap in the fingers by lamplight; a block as a rubbing."""
    folder = Path(os.environ["CARVEGEN_PICTURES"])
    sample.set("breadth", 5)
    for tool, line in (
        ("comes out", [(118, 62), (126, 66), (133, 61)]),
        ("stays", [(150, 66), (163, 70), (178, 69), (190, 64)]),
    ):
        sample.take(tool)
        sample.draw(*line)
    sample.take("carver decides")
    sample.run("document.querySelector('[name=drawn][value=loop]').click()")
    sample.draw((132, 12), (136, 27), (162, 24), (188, 28), (192, 14), (160, 4))
    sample.run("document.querySelector('[name=drawn][value=stroke]').click()")
    until(lambda: all(len(sample.marks(each)) == 1 for each in ("comes out", "stays", "carver decides")))
    _picture(sample, folder / "marks.png")
    sample.browser.find_element(By.ID, "lamp").click()
    sample.take("fingers")
    sample.run("bench.view.goTo(70, 101, 9)")
    until(lambda: sample.run("return bench.picture.sharp"))
    sample.draw((36, 51))
    assert sample.run("return bench.overlay.chosen.size") == 1
    _picture(sample, folder / "fingers.png")
    sample.browser.find_element(By.ID, "lamp").click()
    sample.run("bench.tools.choose([]); bench.view.whole()")
    for label in ("the key block alone", "rubbed in graphite", "as the block lies, mirrored", "pencil marks"):
        _see(sample, label)
    _picture(sample, folder / "rubbing.png")


def _picture(bench: Bench, path: Path) -> None:
    until(lambda: bench.run("return bench.picture.sharp && bench.gestures.waiting === 0"))
    drawn_ = "requestAnimationFrame(() => requestAnimationFrame(arguments[0]))"
    bench.browser.execute_async_script(drawn_)
    with Image.open(io.BytesIO(bench.browser.get_screenshot_as_png())) as picture:
        assert picture.size == (1280, 800)
        assert len(picture.convert("RGB").getcolors(1 << 20) or []) > 500
        picture.convert("RGB").quantize(256).save(path, optimize=True)
    assert path.stat().st_size < 250_000


_DRAWING = """<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="25mm" viewBox="0 0 80 50">
<g id="POSTS"><path d="M10 10h4v40h-4zM60 14h4v36h-4z"/></g><g id="RAIL"><path d="M5 26h70v5h-70z"/></g></svg>"""


@pytest.fixture
def begun(browser: Any, opened: Bench, tmp_path: Path) -> Iterator[Bench]:
    """The page without a print, in a window of its own."""
    first = browser.current_window_handle
    browser.switch_to.new_window("tab")
    _laid_out(browser)
    program, address = _program(tmp_path, named=False)
    try:
        browser.get(address)
        until(lambda: browser.find_elements(By.CSS_SELECTOR, "dialog .options button"))
        yield Bench(browser, tmp_path, program, address)
    finally:
        browser.close()
        browser.switch_to.window(first)
        _ended(program)


def _hand_in(bench: Bench, words: str, file: Path) -> None:
    """Presses a button that asks for a file, and chooses one; the system's own window for that is kept shut."""
    bench.run(
        "const click = HTMLInputElement.prototype.click;"
        "HTMLInputElement.prototype.click = function () { if (this.type !== 'file') click.call(this); };"
        "[...document.querySelectorAll('dialog button')].find((b) => b.textContent.startsWith(arguments[0])).click()",
        words,
    )
    bench.browser.find_element(By.CSS_SELECTOR, "dialog input[type=file]").send_keys(str(file))


_LABELS = "return [...document.querySelectorAll('dialog label.field')].map((one) => one.firstChild.textContent)"


def test_a_print_is_begun_with_her_drawing(begun: Bench) -> None:
    drawing = begun.folder / "rail and posts.svg"
    drawing.write_text(_DRAWING, encoding="utf-8")
    _hand_in(begun, "With your drawing", drawing)
    until(lambda: begun.browser.find_elements(By.CSS_SELECTOR, "dialog .laid canvas"))
    label = begun.browser.find_element(By.CSS_SELECTOR, "dialog .laid canvas").get_attribute("aria-label")
    assert label == "Understood: POSTS, RAIL"
    assert _violations(begun, "dialog[open]") == []
    snow = [each for each in begun.run(_LABELS) if each.startswith("Snow that")]
    assert sorted(item.partition(" on ")[0] for item in snow) == [
        "Snow that falls",
        *["Snow that lies"] * (len(snow) - 1),
    ]
    assert {layer for one in snow for layer in one.partition(" on ")[2].split(", ") if layer} == {"POSTS", "RAIL"}
    begun.run("document.querySelectorAll('[data-is=name]')[0].value = 'Fog'")
    begun.run("document.querySelector('dialog form').requestSubmit()")
    until(lambda: begun.run("return document.body.dataset.ready") == "yes")
    (path,) = begun.folder.rglob("print.toml")
    report = tomllib.loads(path.read_text(encoding="utf-8"))
    assert report["print"]["size_mm"] == [40, 25]
    assert [(block["name"], block["layers"]) for block in report["blocks"]][1:] == [
        ("posts", ["POSTS"]),
        ("rail", ["RAIL"]),
    ]
    assert report["blocks"][0]["name"] == "fog"
    assert {motif["motif"] for motif in report["motifs"]} == {"snowload", "snowfall"}


@takes_long  # test_beginning.py of tests/page suggests corners, cli/test_new.py begins by them
def test_a_photograph_is_straightened_by_its_four_corners(begun: Bench) -> None:
    corners, dark = [(60, 40), (560, 70), (590, 420), (30, 380)], (222, 205, 400, 330)
    picture = Image.new("RGB", (640, 480), (120, 110, 100))
    pen = ImageDraw.Draw(picture)
    pen.polygon(corners, fill=(245, 243, 238))
    pen.rectangle(dark, fill=(25, 25, 30))
    picture.save(begun.folder / "block.png", dpi=(200, 200))
    _hand_in(begun, "With a photograph", begun.folder / "block.png")
    until(lambda: begun.browser.find_elements(By.CSS_SELECTOR, ".corner"))
    until(lambda: begun.run("return document.querySelector('.laid img').naturalWidth") == 640)
    sides = "return [...document.querySelectorAll('dialog input[type=number]')].slice(0, 2).map((one) => one.value)"
    begun.browser.find_element(By.XPATH, "//button[.='The whole picture']").click()
    assert begun.run(sides) == ["81.3", "61"], "640 by 480 px at 200 dots per inch"
    knobs = "return [...document.querySelectorAll('.corner')].map((one) => one.style.left + ' ' + one.style.top)"
    assert begun.run(knobs) == ["0% 0%", "100% 0%", "100% 100%", "0% 100%"]
    box = begun.browser.find_element(By.CSS_SELECTOR, ".laid img").rect
    assert box["y"] + box["height"] < begun.run("return innerHeight"), "all of it is in the window"
    for knob, (x, y) in zip(begun.browser.find_elements(By.CSS_SELECTOR, ".corner"), corners, strict=True):
        at, scale = knob.rect, box["width"] / 640
        middle = (at["x"] + at["width"] / 2, at["y"] + at["height"] / 2)
        drawn(begun.browser, [middle, (box["x"] + x * scale, box["y"] + y * scale)])
    begun.run(
        "const [w, h] = document.querySelectorAll('dialog input[type=number]'); w.value = 60; h.value = 42;"
        "document.querySelector('dialog select').value = 'print'; document.querySelector('dialog form').requestSubmit()"
    )
    assert not begun.browser.find_elements(By.CSS_SELECTOR, "[data-is=name]"), "cut already, or not: she is asked"
    begun.run(
        "document.querySelector('[data-is=cut]').value = 'open'; document.querySelector('dialog form').requestSubmit()"
    )
    until(lambda: begun.browser.find_elements(By.CSS_SELECTOR, "[data-is=name]"))
    begun.run(
        "for (const one of document.querySelectorAll('dialog select'))"
        " if ([...one.options].some((each) => each.value === '')) one.value = '';"
    )
    begun.run("document.querySelector('dialog form').requestSubmit()")
    # the print's folder has its name when all is in it: while it is made it has another, beside
    until(lambda: begun.run("return document.body.dataset.ready") == "yes")
    (path,) = begun.folder.rglob("drawing.svg")
    x, y, right, low = _extent(path)
    wanted = _projected(corners, (60, 42), dark)
    assert (x, y, right, low) == pytest.approx(wanted, abs=0.6)
    bench = Bench(begun.browser, path.parent, begun.program, begun.address)
    until(lambda: bench.run("return document.getElementById('slip-keys') !== null"))  # the last that is laid out
    bench.run("bench.view.whole()")
    until(lambda: bench.run("return bench.picture.sharp"))
    bench.take("comes out")
    bench.set("breadth", 6)
    bench.draw((12, 9), (24, 9))
    until(lambda: bench.marks("comes out"))
    (mark,) = bench.marks("comes out")
    assert mark.bounds == pytest.approx((9, 30, 27, 36), abs=0.3)  # 42 mm high, y down


def _extent(path: Path) -> tuple[float, ...]:
    """Of all paths in a drawing, y down."""
    whole = shapely.union_all(
        [_polygon(str(node.get("d")).replace("L", " ")) for node in etree.parse(str(path)).iter("{*}path")]
    )
    return tuple(float(each) for each in shapely.bounds(whole))


def _projected(corners: list[tuple[int, int]], size: tuple[int, int], box: tuple[int, ...]) -> list[float]:
    """Where a box of the photograph lies on the block: the homography through four points, by scikit-image."""
    from skimage.transform import ProjectiveTransform

    result = ProjectiveTransform.from_estimate(corners, [(0, 0), (size[0], 0), size, (0, size[1])])
    left, top, right, low = box
    at = result([(left, top), (right, top), (right, low), (left, low)])
    return [*at.min(axis=0).tolist(), *at.max(axis=0).tolist()]


def test_nothing_is_asked_of_anybody_else_and_nothing_goes_wrong(bench: Bench) -> None:
    sent = [json.loads(entry["message"])["message"] for entry in bench.browser.get_log("performance")]
    asked = [each["params"]["request"]["url"] for each in sent if each["method"] == "Network.requestWillBeSent"]
    assert asked
    assert {url.split("/")[2].split(":")[0] for url in asked if url.startswith("http")} == {"127.0.0.1"}
    ours = ("axe", "getImageData")  # what the tests themselves have done
    said = [one["message"] for one in bench.browser.get_log("browser")]
    assert [item for item in said if not any(word in item for word in ours)] == []


@takes_long  # tests/page: test_serving kills the server, test_nothing_lost at any moment
def test_a_window_comes_back_to_a_program_that_was_killed_and_nothing_is_lost(bench: Bench) -> None:
    bench.take("comes out")
    bench.set("breadth", 4)
    bench.draw((10, 50), (30, 50))
    until(lambda: bench.marks("comes out"))
    _ended(bench.program)
    drawn(bench.browser, bench.pixels((50, 50), (70, 50)))
    until(lambda: "does not answer" in bench.run("return document.getElementById('saved').textContent"))
    address = bench.address
    bench.program, bench.address = _program(bench.folder)
    assert bench.address == address
    until(lambda: len(bench.marks("comes out")) == 2, 40)  # the window has come back by itself, and sent what waited
    until(lambda: bench.run("return bench.overlay.marks.size") == 2)
    bench.browser.get_log("browser")
    until(lambda: bench.run("return document.getElementById('saved').textContent") != "")
    flake = bench.flakes()[0]
    bench.run("bench.view.goTo(arguments[0], bench.view.size[1] - arguments[1], 30)", flake[1], flake[2])
    bench.take("flakes off")
    bench.draw((flake[1], flake[2]))
    until(lambda: flake[0] not in [each[0] for each in bench.flakes()])
