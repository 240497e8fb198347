"""Snow textures for relief prints: made, checked and written for laser, router and hand.

The names below are the interface for scripts; each is imported when it is first used::

    import carvegen

    setups = carvegen.setups("linoleum", "laser-fine")
    sky = carvegen.grow("snowfall", (200, 150), setups, preset="flurry", seed=7, openings=["circle 152 88 16"])
    sky = carvegen.mend(sky, setups)
    carvegen.write(sky, setups, "sky")
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

__version__ = "0.1.0"

if TYPE_CHECKING:
    from carvegen.base.errors import CarvegenError, InputError, RefusedError
    from carvegen.base.findings import Finding, Report
    from carvegen.blocks.block import Block
    from carvegen.blocks.job import Setup
    from carvegen.blocks.views import View
    from carvegen.delivery.scripting import build, check, draw, grow, mend, setups, write

__all__ = [
    "Block", "CarvegenError", "Finding", "InputError", "RefusedError", "Report", "Setup", "View",
    "build", "check", "draw", "grow", "mend", "setups", "write",
]  # fmt: skip

_HOMES = {
    "Block": "blocks.block",
    "CarvegenError": "base.errors",
    "Finding": "base.findings",
    "InputError": "base.errors",
    "RefusedError": "base.errors",
    "Report": "base.findings",
    "Setup": "blocks.job",
    "View": "blocks.views",
}


def __dir__() -> list[str]:
    return [*__all__, "__version__"]


def __getattr__(name: str) -> object:
    """A name of the interface, imported now."""
    if name not in __all__:
        raise AttributeError(f"module 'carvegen' has no attribute {name!r}")
    return getattr(importlib.import_module(f"carvegen.{_HOMES.get(name, 'delivery.scripting')}"), name)
