"""Motifs: textures as closed polygons. One module a motif; what is here and has a function `grow` is one."""

from __future__ import annotations

import ast
import importlib
import pkgutil
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol, cast

from carvegen.base.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

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
    motifs = {}
    for module in pkgutil.iter_modules(__path__):
        file = Path(__path__[0]) / (f"{module.name}/__init__.py" if module.ispkg else f"{module.name}.py")
        tree = ast.parse(file.read_text(encoding="utf-8"))
        if _grows(tree):
            motifs[module.name] = (ast.get_docstring(tree) or "").partition("\n")[0]
    return motifs


def _grows(tree: ast.Module) -> bool:
    """Whether a module has a function `grow`, of its own or from one of its parts."""
    defined = [node.name for node in tree.body if isinstance(node, ast.FunctionDef)]
    imported = [alias.name for node in tree.body if isinstance(node, ast.ImportFrom) for alias in node.names]
    return "grow" in (*defined, *imported)


@cache
def motif(name: str) -> MotifModule:
    """The motif's module."""
    if name not in summaries():
        raise InputError("is no motif", value=name, hint=f"motifs: {', '.join(sorted(summaries()))}")
    return cast("MotifModule", importlib.import_module(f"{__name__}.{name}"))
