"""Names of files that are written for some plans alone; of no weight, so that a folder is looked at before all else."""

from __future__ import annotations

__all__ = ["CUT_PICTURE", "MOST_PROGRAMS", "PICTURE", "program_name"]

CUT_PICTURE = "old-cuts.png"  #: beside the machine's files of a block that is cut already
PICTURE = "simulated.png"
MOST_PROGRAMS = 12  #: cutters of a plan one after another, at most


def program_name(number: int) -> str:
    """The name of the file of a program; the first has number 1."""
    return f"program-{number}.nc"
