"""What several tests build: limits, shapes, blocks and jobs in one line each."""

from __future__ import annotations

import dataclasses
import hashlib
import os
import pickle
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.limits import Limits
from carvegen.base.streams import stream
from carvegen.blocks.block import Block
from carvegen.blocks.from_motif import Ground, grown_block
from carvegen.blocks.job import USUAL_MACHINES, Setup
from carvegen.delivery.step_keys import digest
from carvegen.facts.profiles import Library
from carvegen.motifs.growth import Growth, Place

SHELF = Library()


def limits(land: float = 0.7, cut: float = 0.4, *, across: float | None = None, grain_deg: float = 0.0) -> Limits:
    return Limits(land_along_mm=land, land_across_mm=across or land, cut_mm=cut, dot_mm=1.2 * land, grain_deg=grain_deg)


def box(x: float, y: float, width: float, height: float) -> shapely.Polygon:
    return shapely.box(x, y, x + width, y + height)


def disc(x: float, y: float, radius: float, *, points: int = 64, phase: float = 0.0) -> shapely.Polygon:
    """A regular polygon whose corners lie on the circle, the first at angle `phase` (radians)."""
    angle = phase + np.linspace(0, 2 * np.pi, points, endpoint=False)
    return shapely.Polygon(np.column_stack([x + radius * np.cos(angle), y + radius * np.sin(angle)]))


def shapes(*values: shapely.Polygon) -> geometry.PolygonArray:
    return geometry.polygon_array(values)


def even_odd(rings: Sequence[shapely.Polygon]) -> shapely.Geometry:
    """What lies in an odd number of rings, two and two joined; a ring that lies there twice is none."""
    left = np.array([*rings, shapely.Polygon()], dtype=object)
    while len(left) > 1:
        odd = left[len(left) // 2 * 2 :]
        left = np.concatenate([shapely.symmetric_difference(left[: len(left) // 2 * 2 : 2], left[1::2]), odd])
    return left[0]


def block(*cuts: shapely.Polygon, size: tuple[float, float] = (40.0, 30.0), cut_outs: tuple = ()) -> Block:
    return Block(name="sky", width_mm=size[0], height_mm=size[1], cuts=shapes(*cuts), cut_outs=shapes(*cut_outs))


def grown(by: str, settings, its_limits: Limits, seed: int, *, size=(200.0, 150.0), **ground) -> Block:
    """A block on which a motif has grown, as the command line grows it.

    On a bare face each is grown once in a run of the tests, whichever of its processes asks: not to be changed.
    """
    if ground:
        return grown_afresh(by, settings, its_limits, seed, size=size, **ground)
    return _grown(by, settings, its_limits, seed, size)


def grown_afresh(by: str, settings, its_limits: Limits, seed: int, *, size=(200.0, 150.0), **ground) -> Block:
    """The same, grown whoever has grown it before."""
    place = Ground(name="sky", width_mm=size[0], height_mm=size[1], **ground)
    return grown_block(place, settings, its_limits, stream(seed, "sky", by), by=by)


@cache
def _grown(by: str, settings, its_limits: Limits, seed: int, size: tuple[float, float]) -> Block:
    key = (by, settings, its_limits, seed, size)
    return once(key, lambda: grown_afresh(by, settings, its_limits, seed, size=size), grown=True)


def once(key: object, make: Callable[[], Any], *, grown: bool = False) -> Any:
    """What `make` makes, made once in a run of the tests, whichever of its processes asks for this `key` first.

    What has `grown` is made once in all runs that share the folder CARVEGEN_TESTS_KEPT, if there is one.
    """
    folders = [os.environ.get("CARVEGEN_TESTS_KEPT") if grown else None, os.environ.get("CARVEGEN_TESTS_GROWN")]
    if not (shared := next(filter(None, folders), None)):  # not in a run of the tests
        return make()
    path = Path(shared) / hashlib.sha256(repr(key).encode()).hexdigest()
    if not path.exists():
        part = path.with_suffix(f".{os.getpid()}")
        with part.open("wb") as file:
            _Pickler(file).dump(make())
        part.replace(path)
    return pickle.loads(path.read_bytes())


def remembered(name: str, grow: Callable[..., Growth]) -> Callable[..., Growth]:
    """A motif's `grow` that remembers what has grown where no mask thins it."""

    def growing(settings, place: Place, its_limits: Limits, rng: np.random.Generator) -> Growth:
        if place.density is not None:
            return grow(settings, place, its_limits, rng)
        growth, rng.bit_generator.state = once(
            (name, settings, its_limits, rng.bit_generator.state, digest(place)),
            lambda: (grow(settings, place, its_limits, rng), rng.bit_generator.state),
            grown=True,
        )
        return growth

    return growing


class _Pickler(pickle.Pickler):
    """Shapes stay on the grid that they were snapped to, which plain pickles forget; frozen mappings are kept."""

    def reducer_override(self, value: object) -> Any:
        if isinstance(value, MappingProxyType):
            return _read_only, (dict(value),)
        if isinstance(value, shapely.Geometry) and (grid := float(shapely.get_precision(value))):
            return _on_grid, (shapely.to_wkb(value), grid)
        return NotImplemented


def _read_only(values: dict) -> MappingProxyType:
    return MappingProxyType(values)


def _on_grid(wkb: bytes, grid: float) -> shapely.Geometry:
    return shapely.set_precision(shapely.from_wkb(wkb), grid, mode="pointwise")


def setup(material: str = "linoleum", cutter: str = "v-60", *, depth: float | None = None, **changed) -> Setup:
    """A shipped material under a shipped cutter on its first machine; `changed` replaces values of the setup.

    Values of the material or of the cutter are changed by mappings: ``material_values={"foot_mm": 1}``.
    """
    stuff = dataclasses.replace(SHELF.material(material), **changed.pop("material_values", {}))
    tool = dataclasses.replace(SHELF.cutter(cutter), **changed.pop("cutter_values", {}))
    machine = changed.pop("machine", None) or SHELF.machine(USUAL_MACHINES[tool.machines[0]])
    return Setup(
        material=stuff,
        cutter=tool,
        machine=machine,
        thickness_mm=changed.pop("thickness", stuff.thickness_mm),
        depth_mm=stuff.depth_usual_mm if depth is None else depth,
        **changed,
    )


#: Blocks of the small prints below: role and ink.
_BLOCKS = {"sky": ("background", "#a9bfcb"), "tone": ("tone", "#6a8799"), "key": ("key", "#1f2b3d")}


def small_print(
    *before: str,
    blocks: dict[str, list[str]],
    after: str = "",
    name: str = "post",
    size: tuple[float, float] = (60, 40),
    machine: str = "hand",
    **values: object,
) -> str:
    """A print file: the print's own `values`, tables of the artwork, blocks with their layers, further tables.

    Each block is of linoleum, under a V-tool, for one machine.
    """
    lines = ["[print]", f'name = "{name}"', f"size_mm = [{size[0]}, {size[1]}]"]
    lines += [f"{key} = {value}" for key, value in values.items()]
    lines += before
    for block, layers in blocks.items():
        role, ink = _BLOCKS[block]
        lines += ["[[blocks]]", f'name = "{block}"', f'role = "{role}"', f'ink = "{ink}"']
        lines += [f"layers = {layers}".replace("'", '"'), 'material = "linoleum"', 'cutter = "v-60"']
        lines += [f'for = ["{machine}"]']
    return "\n".join([*lines, after.strip(), ""])


def layer(name: str, shape: str) -> str:
    """A table of the artwork of a small print."""
    return f'[[layers]]\nname = "{name}"\nshape = "{shape}"'
