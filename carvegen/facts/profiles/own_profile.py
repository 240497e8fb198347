"""Profiles of a user's own: measured values in the place of those of a known profile, with their day."""

from __future__ import annotations

import datetime
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import tomlkit

from carvegen.base.errors import InputError
from carvegen.base.files import save_file, scratch_folder, write_file
from carvegen.facts.profiles import Library

if TYPE_CHECKING:
    from tomlkit.items import InlineTable

__all__ = ["OwnProfile", "day_of", "own_profile", "started_from"]


_NAME = re.compile(r"[a-z0-9]+(?:[.-][a-z0-9]+)*")
_DIGITS = 4
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_LONGEST = 60  #: letters of a name: it is a file's name, too
_STARTED = "Started from {};"  #: how what a profile says of itself begins


@dataclass(frozen=True, kw_only=True)
class OwnProfile:
    """A profile that was written."""

    path: Path
    replaced: Mapping[str, str]  #: by name of a value what the profile said before, with its source


def day_of(text: str) -> datetime.date:
    """The day of ``YYYY-MM-DD`` (ISO 8601), today or before; `InputError` for anything else."""
    try:
        if not _DAY.fullmatch(text):
            raise ValueError
        day = datetime.date.fromisoformat(text)
    except ValueError:
        raise InputError(
            "must be a day", value=text, field="day", hint="write year-month-day, such as 2026-03-09"
        ) from None
    if day > datetime.datetime.now().astimezone().date() + datetime.timedelta(days=1):  # clocks differ by a day
        raise InputError("must not lie in the future", value=text, field="day", hint="the day on which you measured")
    return day


def started_from(about: str) -> str:
    """The key of the profile that one's own was started from, by what it says of itself; "" of any other."""
    begin, _, end = _STARTED.partition("{}")
    return about.removeprefix(begin).partition(end)[0] if about.startswith(begin) else ""


def own_profile(
    shelf: Library, folder: Path, *, kind: str, like: str, name: str, values: Mapping[str, float], day: datetime.date
) -> OwnProfile:
    """Write the profile `name` of a kind ("materials", "cutters", "papers") into `folder`.

    It is the profile `like` with `values` in the place of its own, "measured by the user" on `day`. A profile of this
    name that lies there already is kept, and only these values are changed in it; what they replace is returned.

    Raises
    ------
    InputError
        If a name can't be used, nothing was measured, or the profile would have a fault; then nothing is written.
    """
    if not _NAME.fullmatch(name):
        raise InputError("must be small letters, digits and -", value=name, field="name", hint="such as my-lino")
    if len(name) > _LONGEST:
        raise InputError(f"must have at most {_LONGEST} letters", value=name, field="name")
    if not values:
        raise InputError(
            "nothing was measured", hint="give what you read from the strip, such as {cut_mm} 0.3", names=("cut_mm",)
        )
    path, base = folder / kind / f"{name}.toml", shelf.path(kind, like)
    before = None
    if path.is_file():
        _check(folder, kind, name)
        before = path.read_text(encoding="utf-8")
        if name != like:
            _check_start(before, path, like)
    text = _with_values(before or base.read_text(encoding="utf-8"), name, like, values,
                        f"measured by the user, {day.isoformat()}")  # fmt: skip
    with scratch_folder() as scratch:
        write_file(scratch / kind / path.name, text)
        try:
            _check(scratch, kind, name)
        except InputError as error:
            error.where = error.where.replace(str(scratch), str(folder))
            raise
    save_file(path, text)
    return OwnProfile(path=path, replaced=_replaced(before, values))


def _replaced(before: str | None, values: Mapping[str, float]) -> dict[str, str]:
    """What the profile said of these values before, with its source; nothing of those that stay as they were."""
    found = tomlkit.parse(before)["values"] if before else {}
    old = {key: found[key] for key in values if key in found}
    return {
        key: f"{its['value']:g} ({its['source']})" for key, its in old.items()
        if round(float(its["value"]), _DIGITS) != round(values[key], _DIGITS)
    }  # fmt: skip


def _check_start(text: str, path: Path, like: str) -> None:
    """A profile goes on from what it was started from: cautions and refusals are that one's and no other's."""
    about = str(tomlkit.parse(text).get("about", ""))
    if not about.startswith(_STARTED.format(like)):
        raise InputError(
            "must be what the profile of this name was started from", value=like, field="like",
            hint=f"choose another {{name}}, or look at what {path} says of itself", names=("name",),
        )  # fmt: skip


def _with_values(text: str, name: str, like: str, values: Mapping[str, float], source: str) -> str:
    document: Any = tomlkit.parse(text)
    started = _STARTED.format(like)
    if name != like and not str(document.get("about", "")).startswith(started):
        document["name"] = f"{document['name']}, as measured ({name})"
        document["about"] = f"{started} what says so was measured on a test strip."
    for key, value in values.items():
        document["values"][key] = _figure(value, source)
    return tomlkit.dumps(document)


def _figure(value: float, source: str) -> InlineTable:
    table = tomlkit.inline_table()
    table.update({"value": round(value, _DIGITS), "source": source})
    return table


def _check(folder: Path, kind: str, name: str) -> None:
    shelf = Library([folder])
    {"materials": shelf.material, "cutters": shelf.cutter, "papers": shelf.paper}[kind](name)
