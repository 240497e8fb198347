"""How much a file may hold: caps that keep reading quick, whatever is handed in."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from carvegen.base.errors import InputError

if TYPE_CHECKING:
    from carvegen.geometry import Floats

__all__ = [
    "MAX_BYTES",
    "MAX_DEPTH",
    "MAX_ELEMENTS",
    "MAX_KNOWN_MM",
    "MAX_MM",
    "MAX_POINTS",
    "MAX_SHAPES",
    "SEEN_MM",
    "TOLERANCE_MM",
    "Budget",
    "check_points",
    "check_reach",
    "numbers_in",
]

#: Largest file of each kind. The caps on this page are our own choice: some times what a full block of 50,000
#: flakes needs, and little enough to be read on a small machine.
MAX_BYTES = {"SVG": 64_000_000, "DXF": 128_000_000, "a picture": 400_000_000}
MAX_POINTS = 5_000_000  #: corners in one file, curves counted after they are flattened
MAX_ELEMENTS = 400_000  #: XML elements in one file
MAX_SHAPES = 200_000  #: shapes drawn, each re-use counted
MAX_DEPTH = 500  #: groups inside groups
MAX_MM = 5000.0  #: a drawing larger than this was surely meant in another unit
TOLERANCE_MM = 0.01  #: how far a straight piece may lie from the curve it stands for
SEEN_MM = 0.3  #: outlines in a photograph or scan that lie no farther off are the same; our own choice
MAX_KNOWN_MM = 1.0  #: no outline counts as known less finely, whatever a picture or a file says; our own choice


_JOIN = "join the shapes in the drawing program (union), then save again"
#: What a file may ask for beside its points, each for how many points it counts, by the time that it takes; what is
#: wrong with too much of it, and the remedy.
_WORK = {
    "points": (1, f"may hold at most {MAX_POINTS} points", "simplify the paths, or split it into several files"),
    "dashes": (100, "has lines of far too many dashes", "draw them unbroken, or with longer dashes"),
    "corners": (10, "draws far too many lines with a width", "convert the lines to shapes and join them (union)"),
    "clipping": (
        5,
        "cuts far too many shapes off by clip paths",
        "cut them off in the drawing program",
    ),
    "crossings": (20, "has outlines that cross one another far too often", _JOIN),
    "overlaps": (1, "has far too many shapes over one another", _JOIN),
    "hiding": (0.2, "has colours that hide one another far too often", "draw each colour on a layer of its own"),
}


@dataclass(frozen=True)
class Budget:
    """What reading one file costs, counted in points over all that it draws: never more than `MAX_POINTS`."""

    spent: dict[str, float] = field(default_factory=dict)

    def take(self, what: str, count: float, place: str = "") -> None:
        """Count work of a kind of `_WORK` before it is done.

        Raises
        ------
        InputError
            If that is more than one file may ask for.
        """
        each, fault, remedy = _WORK[what]
        self.spent[what] = self.spent.get(what, 0) + count * each
        if sum(self.spent.values()) > MAX_POINTS:
            value = f"{self.spent[what] / each:.3g} {what}"
            raise InputError(f"{fault}{place}", value=value, hint=remedy)

    def left(self, what: str) -> float:
        """How many more of a kind of `_WORK` the file may ask for."""
        return (MAX_POINTS - sum(self.spent.values())) / _WORK[what][0]


def check_points(count: int) -> None:
    """Refuse more than `MAX_POINTS` corners."""
    if count > MAX_POINTS:
        raise InputError(
            f"may hold at most {MAX_POINTS} points",
            value=count,
            hint="simplify the paths, or split the drawing into several files",
        )


def check_reach(xy: Floats) -> None:
    """Refuse points that are no numbers or lie absurdly far out; `xy` in mm, any shape."""
    if not np.isfinite(xy).all() or (np.abs(xy) > 1000 * MAX_MM).any():
        raise InputError(
            "has points that are not numbers or lie kilometres away",
            hint="check the coordinates and the transforms, or draw it again",
        )


def numbers_in(text: str) -> int:
    """How many numbers a text holds, counted quickly: runs of digits that don't follow a digit's point."""
    code = np.frombuffer(text.encode("ascii", "replace"), dtype=np.uint8)
    digit = (code >= ord("0")) & (code <= ord("9"))
    starts = digit.copy()
    starts[1:] &= ~digit[:-1]
    fraction = np.zeros_like(starts)
    fraction[2:] = (code[1:-1] == ord(".")) & digit[:-2]
    return int((starts & ~fraction).sum())
