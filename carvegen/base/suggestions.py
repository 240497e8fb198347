"""What was meant: the nearest known name to one that is not known."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from carvegen.base.words import shortened

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["meant", "meant_file", "nearest", "percent"]

_SHOWN = 80  #: letters of a name that somebody else has given


def nearest(name: str, known: Iterable[str]) -> str:
    """A hint that holds the nearest known name, if one is near, and all of them, sorted."""
    names = sorted(known)
    listed = f"known: {', '.join(shortened(known_name, _SHOWN) for known_name in names)}"
    return " ".join(filter(None, [meant(name, names), listed]))


def meant(name: str, known: Iterable[str]) -> str:
    """``"did you mean NAME?"`` for the nearest known name; nothing if none is near."""
    import difflib  # late: only mistakes need it

    same = {key.lower(): key for key in sorted(known, reverse=True)}
    close = difflib.get_close_matches(name.lower().replace(" ", "-"), sorted(same), n=1)
    return f"did you mean {shortened(same[close[0]], _SHOWN)}?" if close else ""


def meant_file(path: Path, endings: Iterable[str]) -> str:
    """What to do about a file that is not there: the nearest in its folder with one of these endings, if there is one.

    Parameters
    ----------
    endings
        In small letters, with the dot.
    """
    wanted = tuple(endings)
    try:
        names = [entry.name for entry in path.parent.iterdir() if entry.name.lower().endswith(wanted)]
    except (OSError, ValueError):
        return "check the folder's name"
    return meant(path.name, names) or "check the name and the folder"


def percent(value: object, most: float) -> str:
    """A hint for a share that was written in percent; nothing where it can't be that."""
    if not isinstance(value, (int, float)) or isinstance(value, bool) or not (most <= 1 < value <= 100 * most):
        return ""
    return f"{value:g} % is {value / 100:g}"
