"""What goes into each part of a built print, as hashes by name: what differs says why it is built again."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import shapely

from carvegen.base.colour import lightness
from carvegen.base.errors import InputError
from carvegen.base.files import file_hash
from carvegen.prints.layers import artwork_files

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.blocks.job import Setup
    from carvegen.prints.file.print_file import Print, PrintBlock

__all__ = [
    "STATE", "Part", "State", "differences", "hashed", "land_hash", "picture_recipe", "proof_recipe",
    "read_state", "setup_recipe",
]  # fmt: skip

STATE = "build.json"  #: where a build keeps its recipes
_FORMAT = 1

Recipe = Mapping[str, str]


@dataclass(frozen=True, kw_only=True)
class Part:
    """One part of a built print: a block, or the proofs."""

    recipe: Recipe = field(default_factory=dict)
    files: Mapping[str, str] = field(default_factory=dict)  #: relative name to hash
    notes: Sequence[Any] = ()  #: plain values that the next build needs again

    def lost(self, out: Path) -> list[str]:
        """Files that are missing, or not as they were written."""
        return [name for name, digest in self.files.items() if file_hash(out / name) != digest]


@dataclass(frozen=True, kw_only=True)
class State:
    """What a folder holds from the build before."""

    parts: Mapping[str, Part] = field(default_factory=dict)

    def part(self, name: str) -> Part:
        """One part; an empty one if there is none."""
        return self.parts.get(name, Part())

    def to_text(self) -> str:
        """The state as its file."""
        parts = {
            name: {"recipe": dict(its.recipe), "files": dict(its.files), "notes": list(its.notes)}
            for name, its in self.parts.items()
        }
        return json.dumps({"format": _FORMAT, "parts": parts}, indent=1) + "\n"


def hashed(value: object) -> str:
    """A short hash of bytes, or of what a value says of itself."""
    data = value if isinstance(value, bytes) else repr(value).encode()
    return hashlib.sha256(data).hexdigest()[:16]


def land_hash(land: BaseGeometry) -> str:
    """A hash of a shape, whatever the order of its pieces."""
    return hashed(shapely.to_wkb(shapely.normalize(land)))


def picture_recipe(given: Print, ways: Mapping[str, Sequence[Setup]]) -> dict[str, str]:
    """All that goes into the shapes of every block."""
    from carvegen import __version__

    inked = [block for block in given.blocks if block.inked and block.ink]
    tones = sorted({round(lightness(block.ink.colour), 6) for block in inked if block.ink})
    blocks = [(*_shaping(block, tones), [way.limits for way in ways[block.name]]) for block in given.blocks]
    recipe = {
        "carvegen": hashed(__version__),
        "size": hashed((given.width_mm, given.height_mm, given.margin_mm, given.bleed_mm)),
        "seed": hashed(given.seed),
        "trap": hashed(given.trap_mm),
        "register error": hashed(given.register_error_mm),
        "artwork": hashed((given.artwork, given.layers, given.units)),
        "what stands in front": hashed(given.in_front),
        "openings": hashed(given.openings),
        "highlights": hashed(given.highlights),
        "blocks": hashed(blocks),
    }
    recipe |= {f"file {path.name}": file_hash(path) for path in artwork_files(given)}
    return recipe | {f"motif {its.motif} {its.nth + 1}": hashed((k, its)) for k, its in enumerate(given.motifs)}


def _shaping(block: PrintBlock, tones: Sequence[float]) -> tuple[object, ...]:
    """What of a block shapes the others too: of its ink, only whether it is lighter or darker than theirs."""
    rank = tones.index(round(lightness(block.ink.colour), 6)) if block.ink and block.inked else -1
    return (block.name, block.role, block.layers, rank)


def proof_recipe(given: Print, ways: Mapping[str, Sequence[Setup]]) -> dict[str, str]:
    """What goes into the pictures, the report and the sheet of the whole print besides the blocks' shapes."""
    inks = {f"ink of {block.name}": hashed(block.ink) for block in given.blocks}
    order = [(block.name, block.role) for block in given.blocks]
    setups = [way for block in given.blocks for way in ways[block.name]]
    cautions = [(way.permit.cautions, way.machine.cautions) for way in setups]
    return {
        "name of the print": hashed(given.name),
        "paper": hashed((given.paper, given.width_mm, given.height_mm, given.bleed_mm)),
        "room for register": hashed((given.trap_mm, given.register_error_mm)),
        "order of the blocks": hashed(order),
        "cautions": hashed(cautions),
        **inks,
    }


def setup_recipe(given: Print, block: PrintBlock, ways: Sequence[Setup]) -> dict[str, str]:
    """What goes into a block's files besides its shapes."""
    plan = given.register
    names = [its.name for its in given.blocks]
    marks = (plan.method, plan.board_mm, plan.moat_mm, plan.paper_margin_mm, plan.pin_mm, names)
    plain = [replace(way, material=replace(way.material, sources={})) for way in ways]
    said = [(way.material.key, way.cutter.key, way.machine.key) for way in ways]
    return {
        "material, cutter or machine": hashed((said, told(plain))),
        "size of the block": hashed((given.width_mm, given.height_mm)),
        "mend": hashed(block.mend),
        **_die_recipe(given, block),
        "how files are written": hashed(sorted(given.files.items())),
        "register marks": hashed(marks),
    }


def _die_recipe(given: Print, block: PrintBlock) -> Recipe:
    if block.role != "emboss":
        return {}
    shape = (block.side, block.bevel_deg, block.edge_mm, block.corner_mm, given.paper_g_m2, given.paper_mm)
    paper = {"paper": hashed(told([given.stock]))} if given.stock else {}
    return {"die": hashed(shape), **paper}


def told(values: Sequence[object]) -> list[str]:
    """What frozen values say of themselves, mappings in a fixed order."""
    return [repr(value).replace("mappingproxy", "") for value in values]


def differences(old: Recipe, new: Recipe) -> list[str]:
    """What differs between two recipes, by name; new things first."""
    changed = [name for name in new if name in old and old[name] != new[name]]
    return (
        [f"{name} is new" for name in new if name not in old]
        + [f"{name} has changed" for name in changed]
        + [f"{name} is gone" for name in old if name not in new]
    )


def read_state(out: Path) -> State:
    """What the folder holds from the build before; nothing if it can't be read as such."""
    try:
        told = json.loads((out / STATE).read_text(encoding="utf-8"))
        if told["format"] != _FORMAT:
            return State()
        parts = {str(name): _part(its) for name, its in told["parts"].items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError, InputError):
        return State()
    return State(parts=parts)


def _part(its: Mapping[str, Any]) -> Part:
    files = {str(name): str(digest) for name, digest in its["files"].items()}
    for name in files:
        if name.startswith("/") or ".." in name.split("/") or "\\" in name or ":" in name:
            raise InputError("leads out of the folder", value=name)
    return Part(recipe={str(k): str(v) for k, v in its["recipe"].items()}, files=files, notes=list(its["notes"]))
