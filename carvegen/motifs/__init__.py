"""Motifs: textures as closed polygons. One module a motif; what is here and has a function `grow` is one."""

from __future__ import annotations

import importlib
import pkgutil
from functools import cache
from importlib.machinery import PathFinder
from typing import TYPE_CHECKING, Any, Protocol, cast

from carvegen.base.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from importlib.abc import SourceLoader
    from types import CodeType

    from numpy.random import Generator

    from carvegen.base.limits import Limits
    from carvegen.motifs.growth import Growth, Place

__all__ = ["MotifModule", "motif", "summaries"]


class MotifModule(Protocol):
    """What a motif's module offers."""

    Settings: type[Any]
    PRESETS: Mapping[str, Mapping[str, float]]

    def grow(self, settings: Any, place: Place, limits: Limits, rng: Generator) -> Growth:  # noqa: ANN401
        """Closed, disjoint polygons inside the place's area that keep the limits."""


def summaries() -> dict[str, str]:
    """Each motif's name and the first line of its docstring, without importing it."""
    return dict(_summaries())


@cache
def _summaries() -> dict[str, str]:
    # Compiled code is looked at, never a syntax tree: two threads that each build one can make Python 3.11 fail.
    motifs = {}
    for module in pkgutil.iter_modules(__path__):
        code = _code_of(module.name)
        if "grow" in code.co_names:
            about = next((value for value in code.co_consts if isinstance(value, str)), "")
            motifs[module.name] = about.lstrip().partition("\n")[0]
    return motifs


def _code_of(name: str) -> CodeType:
    """The compiled code of a module of this room; its names are those that the module defines, imports or uses."""
    spec = PathFinder.find_spec(f"{__name__}.{name}", __path__)
    source = cast("SourceLoader", spec.loader).get_source(spec.name) if spec else None
    if source is None:
        raise ImportError(f"{name} has no source", name=name)
    return compile(source, name, "exec", dont_inherit=True, optimize=0)  # with its docstring, under `python -OO` too


@cache
def motif(name: str) -> MotifModule:
    """The motif's module."""
    if name not in summaries():
        raise InputError("is no motif", value=name, hint=f"motifs: {', '.join(sorted(summaries()))}")
    return cast("MotifModule", importlib.import_module(f"{__name__}.{name}"))
