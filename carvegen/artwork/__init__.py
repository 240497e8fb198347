"""Artwork: files and words to true-size polygons in print view."""

from __future__ import annotations

from carvegen.artwork.drawing import Artwork, plain_name
from carvegen.artwork.reading import read

__all__ = ["Artwork", "plain_name", "read"]
