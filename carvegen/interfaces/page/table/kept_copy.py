"""What is known already, as arrays beside the journal, so that a print opens at once: large kept files, growths."""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zipfile import BadZipFile

import numpy as np
import shapely

from carvegen import __version__, geometry
from carvegen.base.errors import CarvegenError
from carvegen.base.files import save_file
from carvegen.geometry import PolygonArray
from carvegen.marking.journal import FOLDER
from carvegen.marking.kept_file import FORMAT, Kept, MotifOrigin, Surroundings, marks_of, read_kept
from carvegen.motifs.growth import Growth

if TYPE_CHECKING:
    from carvegen.prints.picture import Growths

__all__ = ["LARGE_BYTES", "copied", "growths_beside", "read_copied"]

LARGE_BYTES = 500_000  #: smaller files are read as fast as a copy of them
_FOLDER = "copies"

# SystemError: numpy reads the head of an array as a syntax tree, which two threads at once may spoil (Python 3.11).
_DAMAGED = (OSError, ValueError, KeyError, TypeError, EOFError, BadZipFile, SystemError, shapely.errors.ShapelyError)
_AROUND = ("bears", "clear", "fronts", "hides", "shore")  #: of the surroundings, as `Surroundings.by_name` names them
_MOST_GROWN = 24  #: growths that are remembered: of several motifs, in several weathers

Size = tuple[float, float]


def read_copied(path: Path, *, motif: str, size: tuple[float, float]) -> Kept:
    """What `read_kept` gives, of a copy if the file is the same as when that was made."""
    copy = _copy(path, motif, size)
    if copy is None:
        return read_kept(path, motif=motif, size=size)
    if (kept := _read(copy)) is not None:
        return kept
    kept = read_kept(path, motif=motif, size=size)
    _write(copy, kept)
    return kept


def copied(path: Path, cuts: PolygonArray, ids: Sequence[str], was: Kept, *, motif: str, size: Size) -> None:
    """Make the copy of a large kept file that has been edited shape by shape since it was read.

    Parameters
    ----------
    cuts, ids
        Its shapes as the file holds them now, in its order, and their ids.
    was
        What it held before.
    """
    copy = _copy(path, motif, size)
    if copy is None or was.memory is None:
        return
    marks = marks_of(cuts)
    edited = np.array([mark not in was.memory.marks for mark in marks], dtype=bool)
    fringe = {mark: was.names[mark] for mark in marks_of(was.growth.free) if mark in was.names}
    _write(copy, replace(
        was, growth=replace(was.growth, cuts=cuts), names={**dict(zip(marks, ids, strict=True)), **fringe},
        ids=tuple(ids), edited=cuts[edited],
    ))  # fmt: skip


def growths_beside(path: Path) -> Growths:
    """Remembers how the motifs of the print at `path` have grown, in files beside its journal."""
    folder = path.parent / FOLDER / _FOLDER / f"{path.stem}.grown"

    def remembered(key: str, grow: Callable[[], tuple[Growth, Sequence[str]]]) -> tuple[Growth, Sequence[str]]:
        file = folder / f"{hashlib.blake2b(f'{__version__} {key}'.encode(), digest_size=16).hexdigest()}.npz"
        with contextlib.suppress(*_DAMAGED), np.load(file, allow_pickle=False) as stored:
            record = json.loads(stored["told"].tobytes())
            growth = Growth(cuts=_shapes("cuts", stored), free=_shapes("free", stored), kept=record["kept"])
            return growth, tuple(record["notes"])
        growth, notes = grow()
        record = json.dumps({"kept": dict(growth.kept), "notes": list(notes)})
        _save(file, record, {**_flat("cuts", growth.cuts), **_flat("free", growth.free)}, most=_MOST_GROWN)
        return growth, notes

    return remembered


def _save(file: Path, record: str, arrays: dict[str, Any], *, most: int) -> None:
    """Write arrays into a folder that keeps only the last `most` files; without them the next time takes longer."""
    out = io.BytesIO()
    np.savez(out, told=np.frombuffer(record.encode(), np.uint8), **arrays)
    with contextlib.suppress(CarvegenError, OSError):
        old = sorted(file.parent.glob("*.npz"), key=lambda path: path.stat().st_mtime)
        for path in old[: max(0, len(old) - most + 1)]:
            path.unlink(missing_ok=True)
        save_file(file, out.getvalue())


def _copy(path: Path, motif: str, size: Size) -> Path | None:
    """Where the copy of a file as it is now lies, or would; None if it is small."""
    try:
        data = path.read_bytes()
    except OSError:
        return None
    if len(data) < LARGE_BYTES:
        return None
    salt = f"{FORMAT} {__version__} {motif} {float(size[0])} {float(size[1])}".encode()
    key = hashlib.blake2b(data, digest_size=16, person=hashlib.blake2b(salt, digest_size=16).digest())
    return _beside(path) / f"{key.hexdigest()}.npz"


def _beside(path: Path) -> Path:
    """The folder of the copies of a kept file, beside the journal of its print."""
    above = (folder / FOLDER for folder in path.parents if (folder / FOLDER).is_dir())
    return next(above, path.parent / FOLDER) / _FOLDER / path.stem


def _write(copy: Path, kept: Kept) -> None:
    memory = kept.memory
    record = {
        "ids": "\n".join(kept.ids), "names": dict(kept.names), "kept": dict(kept.growth.kept), "notes": kept.notes,
        "memory": memory and {
            "motif": memory.motif, "settings": dict(memory.settings), "marks": " ".join(sorted(memory.marks)),
        },
    }  # fmt: skip
    surroundings = memory.surroundings if memory else Surroundings()
    edited = {id(shape) for shape in kept.edited}
    arrays: dict[str, Any] = {
        "edited": np.array([id(shape) in edited for shape in kept.growth.cuts], dtype=bool),
        **_flat("cuts", kept.growth.cuts), **_flat("free", kept.growth.free),
        **{name: np.frombuffer(shapely.to_wkb(shape), np.uint8) for name, shape in surroundings.by_name().items()},
    }  # fmt: skip
    _save(copy, json.dumps(record), arrays, most=1)


def _read(copy: Path) -> Kept | None:
    """What a copy holds; None if there is none, or it is damaged."""
    try:
        with np.load(copy, allow_pickle=False) as stored:
            record = json.loads(stored["told"].tobytes())
            cuts, free = _shapes("cuts", stored), _shapes("free", stored)
            around = {name: shapely.from_wkb(stored[name].tobytes()) for name in _AROUND if name in stored}
            salt = record["memory"]
            memory = salt and MotifOrigin(
                motif=salt["motif"], settings=salt["settings"], marks=frozenset(salt["marks"].split()),
                surroundings=Surroundings(**around),
            )  # fmt: skip
            return Kept(
                growth=Growth(cuts=cuts, free=free, kept=record["kept"]), names=record["names"],
                ids=tuple(record["ids"].split("\n")) if len(cuts) else (), edited=cuts[stored["edited"]], memory=memory,
                notes=tuple(record["notes"]),
            )  # fmt: skip
    except _DAMAGED:
        return None


def _flat(name: str, shapes: geometry.PolygonArray) -> dict[str, Any]:
    if len(shapes) == 0:
        return {f"{name}_xy": np.empty((0, 2))}
    _, xy, (rings, polygons) = shapely.to_ragged_array(shapes)
    return {f"{name}_xy": xy, f"{name}_rings": rings, f"{name}_polygons": polygons}


def _shapes(name: str, stored: Any) -> geometry.PolygonArray:  # noqa: ANN401
    xy = stored[f"{name}_xy"]
    if len(xy) == 0:
        return geometry.empty()
    offsets = (stored[f"{name}_rings"], stored[f"{name}_polygons"])
    return np.asarray(shapely.from_ragged_array(shapely.GeometryType.POLYGON, xy, offsets), dtype=object)
