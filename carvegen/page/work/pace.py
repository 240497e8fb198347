"""How far long work has come, by how long each of its stages took the last time."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from pathlib import Path

from carvegen.base.errors import InputError
from carvegen.base.files import save_file
from carvegen.marking.journal import FOLDER

__all__ = ["Pace"]

_SLOWEST = 4.0  #: by so much more or less than the last time is believed


class Pace:
    """The stages of a piece of work on a print, when each began, and when each did the last time."""

    def __init__(self, path: Path, what: str, *, clock: Callable[[], float] = time.monotonic) -> None:
        self._file, self._what, self._clock = path.parent / FOLDER / f"{path.stem}.pace", what, clock
        self._begun, self._part = clock(), 0.0
        self._stages: dict[str, float] = {}
        self._before, self._whole = _times(_read(self._file).get(what))

    def at(self, stage: str) -> tuple[float | None, float | None]:
        """A stage begins: the part of the work that is done, 0 to 1, and the seconds that are left; None: not known."""
        now = self._clock() - self._begun
        self._stages.setdefault(stage, now)
        if not self._whole:
            return None, None
        before = self._before.get(stage)
        if before is not None:
            self._part = max(self._part, min(1.0, before / self._whole))
        pace = min(_SLOWEST, max(1 / _SLOWEST, now / before)) if before and now else 1.0
        return round(self._part, 3), round((1 - self._part) * self._whole * pace, 1)

    def done(self) -> None:
        """The work is done: the next time is told by this one."""
        took = {"stages": self._stages, "whole": self._clock() - self._begun}
        try:
            save_file(self._file, json.dumps({**_read(self._file), self._what: took}))
        except (InputError, OSError):
            return  # the next time nothing is told


def _read(file: Path) -> dict[str, object]:
    try:
        said = json.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return said if isinstance(said, dict) else {}


def _times(said: object) -> tuple[dict[str, float], float]:
    """When each stage began, and how long all took; nothing of what can't be understood."""
    if not isinstance(said, dict) or not isinstance(said.get("stages"), dict):
        return {}, 0.0
    stages = {str(stage): float(at) for stage, at in said["stages"].items() if isinstance(at, int | float)}
    whole = said.get("whole")
    return stages, float(whole) if isinstance(whole, int | float) else 0.0
