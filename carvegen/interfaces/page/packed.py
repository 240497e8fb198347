"""Shapes as the page takes them: a little JSON, then flat arrays."""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from carvegen import geometry

if TYPE_CHECKING:
    from carvegen.geometry import PolygonArray

__all__ = ["STEP_MM", "ShapeGroup", "packed", "step_for"]

STEP_MM = 0.01  #: one unit of the arrays
_MOST = 65_535


@dataclass(frozen=True, kw_only=True, eq=False)
class ShapeGroup:
    """Shapes that are drawn alike."""

    kind: str  #: "block", "snow", "white" or "fringe"
    name: str
    blocks: tuple[str, ...]  #: from which they are taken; of a block itself its own name
    ids: Sequence[int]  #: of each shape; shapes of one id are one
    shapes: PolygonArray


def step_for(size: tuple[float, float]) -> float:
    """The unit of a print's arrays, mm: as fine as 16 bits allow."""
    return max(STEP_MM, float(np.ceil(100 * max(size) / _MOST) / 100))


def packed(description: Mapping[str, Any], groups: Sequence[ShapeGroup], step_mm: float) -> bytes:
    """The bytes: length of the JSON, the JSON, rings, points, the shape of each ring, starts, x and y of each point."""
    heads = [
        {"kind": group.kind, "name": group.name, "blocks": list(group.blocks), "ids": list(dict.fromkeys(group.ids))}
        for group in groups
    ]
    header = json.dumps({**description, "groups": heads}, separators=(",", ":")).encode()
    header += b" " * (-len(header) % 4)
    rings = geometry.rings(geometry.stack(group.shapes for group in groups))
    ids = np.concatenate([np.empty(0, np.uint32), *(np.asarray(group.ids, np.uint32) for group in groups)])
    xy = np.clip(np.round(rings.xy / step_mm), 0, _MOST).astype("<u2")
    return b"".join([
        struct.pack("<I", len(header)), header, struct.pack("<II", len(rings), len(xy)),
        ids[rings.owner].astype("<u4").tobytes(), rings.start.astype("<u4").tobytes(), xy.tobytes(),
    ])  # fmt: skip
