"""What tasks do in processes of their own: apart from the tests, as a spawned process reads the whole file."""

from __future__ import annotations

import os

import shapely


def grid_of(shape, say):
    return os.getpid(), shapely.get_precision(shape), shape
