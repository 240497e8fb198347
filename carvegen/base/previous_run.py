"""What a folder holds of an earlier run, and what is somebody's own."""

from __future__ import annotations

import json
import os
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from carvegen.base.errors import InputError
from carvegen.base.files import file_hash, settled, write_file

__all__ = ["RECORD", "Earlier", "earlier", "free_beside", "keep_edited", "write_record"]

RECORD = ".carvegen.json"  #: hashes of a run's files as it wrote them: what differs later was edited


@dataclass(frozen=True)
class Earlier:
    """What an earlier run left in a folder and a new one does away with; names relative, with "/"."""

    replaced: tuple[str, ...] = ()
    taken_away: tuple[str, ...] = ()
    kept: Mapping[str, str] = field(default_factory=dict)  #: what somebody edited or put there, to its new name

    def lines(self) -> list[str]:
        """In words, for the terminal."""
        lines = []
        if self.replaced:
            lines.append(f"Replaced: {len(self.replaced)} files of an earlier result.")
        if self.taken_away:
            folders = Counter(f"{Path(name).parent.as_posix()}/" if "/" in name else name for name in self.taken_away)
            names = ", ".join(f"{name} ({count} files)" if count > 1 else name for name, count in folders.items())
            lines.append(f"Taken away, as it belongs to an earlier result: {names}.")
        return lines

    def kept_lines(self) -> list[str]:
        """What was kept of somebody's own, in words."""
        return [
            f"Kept: {name} was not as carvegen wrote it; it now lies beside, as {beside}."
            for name, beside in self.kept.items()
        ]


def earlier(
    folder: Path, *, owned: frozenset[str], made: Iterable[str], sign: str, written: Mapping[str, str] | None = None
) -> Earlier:
    """What will become of the files in `folder` once `made` are written there.

    Parameters
    ----------
    owned
        Every name under which a run may leave a file.
    sign
        The file that every run leaves: where it is missing, files under owned names are somebody's own.
    written
        Hashes of the earlier run's files as it wrote them; by default those of its record. Without any, nobody can tell
        what was edited.

    Raises
    ------
    InputError
        If files that no run left would be overwritten or taken away.
    """
    with settled(folder):
        there = [name for name in sorted(owned - {RECORD}) if os.path.lexists(folder / name)]
        written = _record(folder) if written is None else written
        if there and sign not in (*there, *written):
            raise InputError(
                f"holds files of your own under names that carvegen writes: {', '.join(there[:5])}", where=str(folder),
                hint="choose another {out}, or move them away", names=("out",),
            )  # fmt: skip
        known = [name for name in there if written and (name != sign or name in written)]  # a state has no own hash
        edited = [name for name in known if _edited(folder / name, written.get(name))]
        new = frozenset(made)
        return Earlier(
            replaced=tuple(name for name in there if name in new and name not in edited),
            taken_away=tuple(name for name in there if name not in new and name not in edited),
            kept={name: free_beside(folder, name) for name in edited},
        )


def keep_edited(earlier: Earlier, folder: Path, stage: Path) -> None:
    """Lay what is kept under its new name among the files that will move into `folder`."""
    for name, beside in earlier.kept.items():
        write_file(stage / beside, (folder / name).read_bytes())


def write_record(stage: Path, names: Iterable[str]) -> None:
    """Keep the hashes of a run's files beside them."""
    hashes = {name: file_hash(stage / name) for name in sorted(names)}
    write_file(stage / RECORD, json.dumps(hashes, indent=1) + "\n")


def _record(folder: Path) -> dict[str, str]:
    """What an earlier run wrote; nothing if it left no record, or none that can be read."""
    try:
        result = json.loads((folder / RECORD).read_text(encoding="utf-8"))
        return {str(name): str(digest) for name, digest in result.items()}
    except (OSError, ValueError, AttributeError, RecursionError):
        return {}


def _edited(path: Path, written: str | None) -> bool:
    """Whether a file that can be read is not as it was written."""
    digest = file_hash(path)
    return bool(digest) and digest != written


def free_beside(folder: Path, name: str) -> str:
    """A name that is free, beside that of a file."""
    own, count = Path(name), 1
    while True:
        result = own.with_name(f"{own.stem}.yours{'' if count == 1 else f'-{count}'}{own.suffix}")
        if not os.path.lexists(folder / result):
            return result.as_posix()
        count += 1
