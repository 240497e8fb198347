"""Artwork: files and words to true-size polygons in print view."""

from __future__ import annotations

from carvegen.artwork.drawing import Artwork
from carvegen.artwork.reading import read

__all__ = ["Artwork", "read"]
