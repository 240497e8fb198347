"""What a folder's last build was made of: the inputs of each of its steps, and the files that came of them."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from carvegen.base.errors import InputError
from carvegen.base.files import file_hash
from carvegen.delivery.step_keys import differences

if TYPE_CHECKING:
    from carvegen.delivery.step_keys import Recipe

__all__ = ["CUTS", "GROWN", "RECORD", "BuildRecord", "StepRecord", "hashes", "lands_built", "leads_out", "read_record"]

RECORD = "build.json"
CUTS = " cuts"  #: the step that cuts the blocks' shapes; no block's name begins with a space
GROWN = " grown"  #: no step, but how the motifs grew in it: by name a hash of their shapes, and by what limits
_FORMAT = 2


@dataclass(frozen=True, kw_only=True)
class StepRecord:
    """One step: what went in, and what came of it."""

    inputs: Recipe = field(default_factory=dict)
    files: Mapping[str, str] = field(default_factory=dict)  #: relative name to hash
    notes: Mapping[str, Sequence[Any]] = field(default_factory=dict)  #: findings by block, as plain values

    def changes(self, inputs: Recipe, out: Path, never: str) -> str:
        """Why the step must be run on these inputs; "" if its files in `out` are what it would make."""
        if not self.files:
            return never
        lost = [name for name, digest in self.files.items() if file_hash(out / name) != digest]
        if lost:
            return f"{lost[0]} is missing or was changed"
        return "; ".join(differences(self.inputs, inputs))


@dataclass(frozen=True, kw_only=True)
class BuildRecord:
    """All steps of a build, by name."""

    steps: Mapping[str, StepRecord] = field(default_factory=dict)

    def step(self, name: str) -> StepRecord:
        """One step; an empty one if there is none."""
        return self.steps.get(name, StepRecord())

    @property
    def files(self) -> dict[str, str]:
        """The hash of every file."""
        return {name: digest for step in self.steps.values() for name, digest in step.files.items()}

    def to_text(self) -> str:
        """The record as its file."""
        steps = {name: asdict(step) for name, step in self.steps.items()}
        return json.dumps({"format": _FORMAT, "steps": steps}, indent=1) + "\n"


def hashes(folder: Path) -> dict[str, str]:
    """The hash of every file in a folder, by relative name."""
    return {
        path.relative_to(folder).as_posix(): file_hash(path) for path in sorted(folder.rglob("*")) if path.is_file()
    }


def read_record(out: Path) -> BuildRecord:
    """What the folder holds of the build before; nothing if it can't be read as such."""
    try:
        record = json.loads((out / RECORD).read_text(encoding="utf-8"))
        if record["format"] != _FORMAT:
            return BuildRecord()
        return BuildRecord(steps={str(name): _step(step) for name, step in record["steps"].items()})
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError, InputError):
        return BuildRecord()


def lands_built(folder: Path, inputs: Recipe, blocks: Sequence[str]) -> dict[str, bytes]:
    """The lands of a build in `folder` as well-known binary, by block; none unless the same went into its cuts."""
    record, lands = read_record(folder), {}
    if record.step(CUTS).inputs != inputs:
        return {}
    for name in blocks:
        land = f"lands/{name}.wkb"
        if file_hash(folder / land) != record.step(name).files.get(land, ""):
            return {}
        lands[name] = (folder / land).read_bytes()
    return lands


def leads_out(name: str) -> bool:
    """Whether a relative name that a file tells would reach beyond its folder."""
    return name.startswith("/") or ".." in name.split("/") or "\\" in name or ":" in name


def _step(step: Mapping[str, Any]) -> StepRecord:
    files = {str(name): str(digest) for name, digest in step["files"].items()}
    for name in files:
        if leads_out(name):
            raise InputError("leads out of the folder", value=name)
    return StepRecord(
        inputs={str(k): str(v) for k, v in step["inputs"].items()}, files=files, notes=dict(step["notes"])
    )
