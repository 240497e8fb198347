"""Scans: photographs and scans of blocks, tracings and proofs, to true-size polygons."""

from __future__ import annotations

from carvegen.artwork.scan.options import ScanOptions, corners_from, ink_names, points_from
from carvegen.artwork.scan.reader import read_scan

__all__ = ["ScanOptions", "corners_from", "ink_names", "points_from", "read_scan"]
