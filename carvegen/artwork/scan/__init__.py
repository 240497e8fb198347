"""Scans: photographs and scans of blocks, tracings and proofs, to true-size polygons."""

from __future__ import annotations

from carvegen.artwork.scan.description import (
    ScanOptions,
    corners_from,
    ink_names,
    inks_of,
    points_from,
)
from carvegen.artwork.scan.reader import read_scan, sized_mm

__all__ = [
    "ScanOptions",
    "corners_from",
    "ink_names",
    "inks_of",
    "points_from",
    "read_scan",
    "sized_mm",
]
