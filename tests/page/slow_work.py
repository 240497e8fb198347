"""Work for a process of its own, in a module that imports little: each process imports it anew."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path

from carvegen.base.errors import InputError
from carvegen.base.progress import TimeLeft


def slow(path: Path, _: object, say: Callable[[str], None]) -> str:
    say("begun")
    if path.name == "tells":
        say(TimeLeft("1 of 2 parts done, about 5 s to go"))
        say("ended")
    if path.name == "slow":
        time.sleep(60)
    if path.name == "bad":
        raise InputError("is bad")
    if path.name == "broken":
        raise ZeroDivisionError("by nothing")
    if path.name == "stands back":
        return str(os.nice(0))
    return path.name
