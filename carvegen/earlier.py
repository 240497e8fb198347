"""What a folder holds of an earlier run, and what is somebody's own."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from carvegen.errors import InputError

__all__ = ["Earlier", "earlier"]


@dataclass(frozen=True)
class Earlier:
    """What an earlier run left in a folder and a new one does away with; names relative, with "/"."""

    replaced: tuple[str, ...] = ()
    taken_away: tuple[str, ...] = ()

    def lines(self) -> list[str]:
        """In words, for the terminal."""
        lines = []
        if self.replaced:
            lines.append(f"Replaced: {len(self.replaced)} files of an earlier result.")
        if self.taken_away:
            folders = Counter(f"{Path(name).parent.as_posix()}/" if "/" in name else name for name in self.taken_away)
            told = ", ".join(f"{name} ({count} files)" if count > 1 else name for name, count in folders.items())
            lines.append(f"Taken away, as it belongs to an earlier result: {told}.")
        return lines


def earlier(folder: Path, *, owned: frozenset[str], made: Iterable[str], sign: str) -> Earlier:
    """What will become of the files in `folder` once `made` are written there.

    Parameters
    ----------
    owned
        Every name under which a run may leave a file.
    sign
        The file that every run leaves: where it is missing, files under owned names are somebody's own.

    Raises
    ------
    InputError
        If files that no run left would be overwritten or taken away.
    """
    there = [name for name in sorted(owned) if os.path.lexists(folder / name)]
    if there and sign not in there:
        raise InputError(
            f"holds files of your own under names that carvegen writes: {', '.join(there[:5])}", where=str(folder),
            hint="choose another --out, or move them away",
        )  # fmt: skip
    new = frozenset(made)
    return Earlier(
        replaced=tuple(name for name in there if name in new),
        taken_away=tuple(name for name in there if name not in new),
    )
