"""A first look at a DXF file's bytes: what would be refused only after minutes of reading is refused at once."""

from __future__ import annotations

import re
from pathlib import Path

from carvegen.artwork import bounds
from carvegen.base.errors import InputError

__all__ = ["check", "is_whole", "no_units"]

_BINARY = b"AutoCAD Binary DXF"
_ENTITY = re.compile(rb"\n[ \t]*0[ \t]*\r?\n[ \t]*(?!VERTEX|SEQEND)[A-Z0-9]")
_UNIT = re.compile(rb"\$INSUNITS\s+70\s+0*[1-9]|\bUNITS\s*=", re.IGNORECASE)
_WHOLE = re.compile(rb"\n[ \t]*0[ \t]*\r?\n[ \t]*(EOF|ENDSEC)\s*$")
_TAIL = 4096


def check(path: Path, units: str | None) -> None:
    """Refuse a file that names no unit, or draws too much even before its blocks are unfolded.

    Parameters
    ----------
    units
        The unit that was said for the file, if any.

    Raises
    ------
    InputError
        As above.
    """
    data = path.read_bytes()
    if data.startswith(_BINARY):
        return
    if units is None and not _UNIT.search(data):
        raise no_units()
    most = 2 * bounds.MAX_SHAPES  # tables and objects count among them
    for count, _ in enumerate(_ENTITY.finditer(data)):
        if count > most:
            raise InputError(
                f"draws more than {bounds.MAX_SHAPES} entities",
                hint="simplify the drawing, or split it into several files",
            )


def is_whole(path: Path) -> bool:
    """Whether a file ends as it should, so that nothing is missing behind."""
    with path.open("rb") as file:
        file.seek(max(0, path.stat().st_size - _TAIL))
        tail = b"\n" + file.read()
    return _WHOLE.search(tail) is not None


def no_units() -> InputError:
    """That the file says no unit."""
    return InputError("has no units", hint="say them: {units} mm", names=("units",))
