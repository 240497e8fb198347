"""A tiny print, and every single change of it: each key of its file, each value of its profiles, each of its files."""

from __future__ import annotations

import copy
import shutil
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import tomlkit

from carvegen.base.parameters import Parameter
from carvegen.facts.profiles import shipped
from carvegen.prints.file.keys import LISTS, TABLES, keys_of

__all__ = ["Change", "changes", "other_than", "write_print"]

_SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="18mm" height="14mm" viewBox="0 0 18 14">'
    '<g id="POST"><path d="M3 14V5H{right}V14Z"/></g><g id="LIT"><path d="M9 14V7H12V14Z"/></g></svg>'
)
_MARKS = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="18mm" height="{high}mm" viewBox="0 0 18 {high}">'
    '<g id="stays"><rect id="bough" x="{x}" y="8" width="2.5" height="3"/></g></svg>'
)
_FILES = {
    "post.svg": (_SVG.format(right=8), _SVG.format(right=7)),
    "clamp.svg": (_SVG.format(right=5), _SVG.format(right=4)),
    "moon.svg": (_SVG.format(right=6), _SVG.format(right=5)),
    "marks.svg": (_MARKS.format(x=10, high=14), _MARKS.format(x=11, high=14)),
    "more-marks.svg": (_MARKS.format(x=4, high=14), _MARKS.format(x=5, high=14)),
}

#: Every key that is not at its default: so that the others have something to work on.
_PRINT: dict[str, Any] = {
    "print": {"name": "post", "size_mm": [18.0, 14.0], "seed": 3},
    "register": {"prints": 20, "tolerance_mm": 0.4, "turn_deg": 0.2, "humidity_percent": [45, 60]},
    "artwork": {"files": ["post.svg"], "in_front": ["LIT", "POST", "MOON"], "units": "mm"},
    "files": {"program": True, "cut_edge": True, "lead_in_mm": 0.5},
    "layers": [{"name": "MOON", "shape": "circle 14 11 1.5"}],
    "blocks": [
        {"name": "sky", "role": "background", "ink": "#a9bfcb", "layers": ["*"], "material": "cherry",
         "cutter": "laser-fine", "for": ["laser", "hand"], "declare": "cherry wood", "grain_deg": 10},
        {"name": "key", "role": "key", "ink": "#1f2b3d", "layers": ["POST"], "material": "linoleum",
         "cutter": "flat-1", "more_cutters": ["v-60"], "for": ["router"], "no_go": ["clamp.svg#LIT"]},
        {"name": "relief", "role": "emboss", "material": "embossing-acrylic", "cutter": "flat-1", "for": ["router"],
         "edge_mm": 0, "corner_mm": 0.3, "depth_mm": 0.4, "layers": ["MOON"]},
    ],
    "openings": [{"shape": "circle 15.5 3 1.2"}],
    "highlights": [{"shape": "moon.svg#LIT"}],
    "marks": {"files": ["marks.svg"]},
    "marked": [
        {"meaning": "comes out", "shape": "circle 6 12 1"},
        {"meaning": "grow again", "shape": "box 1 1 16 5"}, {"meaning": "less", "shape": "box 1 8 16 5"},
    ],
    "motifs": [
        {"motif": "snowload", "on": ["POST"]},
        {"motif": "snowfall", "front": False, "settings": {"snow": 0.06, "largest_mm": 2.0}, "region": "box 1 1 16 12",
         "keep_clear": ["MOON"]},
    ],
}  # fmt: skip

#: The keys of pins and stops: there is room for them on a larger face only, and there is nothing else on it.
_BOARD: dict[str, Any] = {
    "print": {"name": "post", "size_mm": [52.0, 50.0]},
    "register": {"method": "pins", "prints": 20},
    "layers": [{"name": "POST", "shape": "box 5 5 9 20"}],
    "blocks": [{"name": "key", "role": "key", "ink": "#1f2b3d", "layers": ["POST"], "material": "linoleum",
                "cutter": "v-60", "for": ["hand"]}],
}  # fmt: skip
_ON_BOARD = ("method", "waste_mm", "paper_margin_mm", "pin_mm")

#: What a key is changed to where the rule below does not know.
_TO: Mapping[str, Any] = {
    "print.paper_profile": "cotton-300", "motifs.marks_grew_by": [
        {"mark": "one", "try": 1, "land_along_mm": 0.6, "land_across_mm": 0.6, "cut_mm": 0.4, "dot_mm": 0.8,
         "grain_deg": 0.0},
    ],
    "print.name": "mooring", "print.size_mm": [18.0, 15.0], "print.paper_mm": 0.6,
    "register.method": "stops", "register.waste_mm": 25,
    "register.moisture_change_percent": 3, "artwork.files": ["post.svg", "moon.svg#LIT"],
    "artwork.in_front": ["POST", "LIT", "MOON"], "layers.name": None,
    "layers.shape": "circle 13.8 11 1.5", "blocks.name": "dark", "blocks.role": "tone",
    "blocks.layers": ["POST", "LIT"], "blocks.material": "cherry", "blocks.cutter": "v-60",
    "blocks.more_cutters": [], "blocks.no_go": ["box 0 0 2 2"], "blocks.machines": ["router-own"],
    "blocks.for": ["router", "hand"], "blocks.thickness_mm": 4, "blocks.depth_mm": 1.2,
    "blocks.declare": "linseed oil", "blocks.state": None, "blocks.cut_land": None, "openings.shape": "circle 15 3 1",
    "highlights.shape": "circle 5 11 1", "motifs.motif": None, "motifs.preset": "deep",
    "motifs.settings": {"snow": 0.1}, "motifs.on": ["LIT"], "motifs.region": "box 0 0 12 14",
    "motifs.keep_clear": ["LIT"], "motifs.blocks": ["key"], "motifs.behind": ["LIT"], "motifs.name": "far flakes",
    "motifs.kept": "moon.svg", "print.bleed_mm": 0.5, "motifs.far_behind": ["LIT"], "motifs.middle_behind": ["LIT"],
    "register.pin_mm": 5, "register.moat_mm": 3, "blocks.grain_deg": 30, "motifs.clearance_mm": 2,
    "marks.files": ["marks.svg", "more-marks.svg"], "marks.scans": None, "marked.meaning": "carver decides",
    "marked.shape": "circle 7 12 1", "marked.for": ["snowfall"], "marked.blocks": ["sky"], "marked.strength": 0.4,
    "blocks.counter_material": "mdf", "blocks.counter_thickness_mm": 1.5,
}  # fmt: skip
#: Which one of a list is changed; the first otherwise.
_NTH = {"blocks": 1, "motifs": 1}
_ELSEWHERE = {("blocks", key): 2
    for key in ("from", "bevel_deg", "edge_mm", "corner_mm", "counter_material", "counter_thickness_mm")
} | {
    ("blocks", "declare"): 0, ("blocks", "grain_deg"): 0, ("motifs", "on"): 0, ("motifs", "behind"): 0,
    ("motifs", "preset"): 0, ("marked", "for"): 1, ("marked", "try"): 1, ("marked", "strength"): 2,
}  # fmt: skip

_PROFILES = (
    "materials/cherry", "materials/linoleum", "materials/embossing-acrylic", "cutters/laser-fine", "cutters/flat-1",
    "cutters/v-60", "machines/laser-bed", "machines/router-bed", "machines/hand",
)  # fmt: skip
#: Values of a profile that can't be changed by themselves: two of one thing, or the sum of others.
_BOUND = {
    (name, f"values.{key}")
    for name in ("materials/linoleum", "materials/embossing-acrylic")
    for key in ("land_along_mm", "land_across_mm", "depth_largest_mm", "floor_mm")
} | {("materials/embossing-acrylic", "values.depth_usual_mm"), ("cutters/flat-1", "values.edge_loss_mm")}


@dataclass(frozen=True)
class Change:
    """One change: how it is called, and the files that it changes, each written out when it is made."""

    name: str
    files: Mapping[str, Callable[[], str]]

    @property
    def print_file(self) -> str:
        """The print file that shows it."""
        return "board.toml" if "board.toml" in self.files else "print.toml"

    def apply(self, folder: Path) -> None:
        """Make it in a folder that `write_print` has written."""
        for name, text in self.files.items():
            (folder / name).write_text(text(), encoding="utf-8")


def write_print(folder: Path) -> None:
    """The print file, what it reads, and copies of the profiles that it uses."""
    for name in _PROFILES:
        (folder / "own" / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(shipped() / f"{name}.toml", folder / "own" / f"{name}.toml")
    text = (shipped() / "machines" / "router-bed.toml").read_text(encoding="utf-8")
    (folder / "own/machines/router-own.toml").write_text(text.replace("600", "500"), encoding="utf-8")
    for name, (text, _) in _FILES.items():
        (folder / name).write_text(text, encoding="utf-8")
    (folder / "print.toml").write_text(tomlkit.dumps(_PRINT), encoding="utf-8")
    (folder / "board.toml").write_text(tomlkit.dumps(_BOARD), encoding="utf-8")


def changes() -> Iterator[Change]:
    """Every change, each by itself."""
    for table in (*TABLES, *LISTS):
        for key in keys_of(table):
            board = table == "register" and key.key in _ON_BOARD
            if (own := _with(_BOARD if board else _PRINT, table, key)) is not None:
                higher = partial(_MARKS.format, x=10, high=15)
                beside = {"marks.svg": higher} if key.key == "size_mm" else {}
                file = "board.toml" if board else "print.toml"
                yield Change(f"{table}.{key.key}", {file: partial(tomlkit.dumps, own), **beside})
    for name, (_, text) in _FILES.items():
        yield Change(name, {name: partial(str, text)})
    for name in _PROFILES:
        profile = tomllib.loads((shipped() / f"{name}.toml").read_text(encoding="utf-8"))
        for place, changed in _varied(profile, ()):
            if (name, place) in _BOUND:
                continue
            yield Change(f"{name}: {place}", {f"own/{name}.toml": partial(tomlkit.dumps, changed)})


def _with(print_: Mapping[str, Any], table: str, key: Parameter) -> dict[str, Any] | None:
    """The print file with one key changed; None where it can't be by itself."""
    own = copy.deepcopy({**print_})
    where = own.setdefault(table, {})
    if table in LISTS:
        where = where[min(_ELSEWHERE.get((table, key.key), _NTH.get(table, 0)), len(where) - 1)]
    name = f"{table}.{key.key}"
    to = _TO[name] if name in _TO else other_than(key, where.get(key.key, key.default))
    if to is None:
        return None
    where[key.key] = to
    return own


def other_than(key: Parameter, value: Any) -> Any:
    """Another value, by what is declared of the key."""
    if key.unit == "flag":
        return not value
    if key.unit == "colour":
        return "#303040" if value != "#303040" else "#404030"
    if key.unit == "choice":
        return next(word for word in key.among if word != value)
    if key.unit == "span":
        return [value[0] - 1, value[1] + 1]
    assert key.bounded and isinstance(value, (int, float)), f"say what {key.key} is changed to"
    step = 1 if key.unit == "whole" else 0.2
    return value + step if value + step <= key.at_most else value - step


def _varied(value: Any, path: tuple[str, ...]) -> Iterator[tuple[str, Any]]:
    """Every leaf of a profile changed, one at a time."""
    if isinstance(value, dict) and "value" not in value:
        for key, inner in value.items():
            for place, changed in _varied(inner, (*path, key)):
                yield place, {**value, key: changed}
    elif isinstance(value, dict):
        yield ".".join(path), {**value, "value": _nudged(value["value"])}
        yield f"{'.'.join(path)}.source", {**value, "source": "from memory"}
    elif isinstance(value, list) and path[-1] == "cautions":
        yield ".".join(path), [*value, "Mind the cat."]
    elif path[-1] in ("name", "about", "why", "composition", "source"):
        yield ".".join(path), f"{value} So be it."
    elif isinstance(value, bool):
        yield ".".join(path), not value


def _nudged(value: float) -> float:
    return value + 1 if isinstance(value, int) else value * 1.1
