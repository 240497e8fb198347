"""Profiles of a user's own: values measured on a test strip in the place of a known profile's, with their day."""

from __future__ import annotations

import datetime
import math
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

__all__ = [
    "Bar", "OwnProfile", "cut_mm", "day_of", "edge_loss_mm", "included_deg", "kerf_mm", "land_mm", "own_profile",
    "started_from", "wall_deg", "wall_from_floor_deg",
]  # fmt: skip

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
    result = tomlkit.parse(before)["values"] if before else {}
    old = {key: result[key] for key in values if key in result}
    return {
        key: f"{entry['value']:g} ({entry['source']})" for key, entry in old.items()
        if round(float(entry["value"]), _DIGITS) != round(values[key], _DIGITS)
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


@dataclass(frozen=True, kw_only=True)
class Bar:
    """The strip's bar of land as the callipers find it."""

    drawn_mm: float
    face_mm: float  #: across, at the face
    foot_mm: float  #: across, at the floor of the cut
    depth_mm: float  #: of the cut beside it


def kerf_mm(drawn_mm: float, pieces: int, together_mm: float) -> float:
    """The kerf, from pieces cut along their outlines and pushed together: each is one kerf narrower than drawn.

    ``k = drawn - together / pieces``: plane geometry.

    Raises
    ------
    InputError
        If the pieces are as wide as drawn, or half of it or less: then something else was measured.
    """
    kerf = drawn_mm - together_mm / pieces
    if not 0 < kerf < drawn_mm / 2:
        raise InputError(
            f"must be less than {drawn_mm * pieces:g} mm and more than half of it",
            value=together_mm,
            hint=f"push all {pieces} pieces together, side to side, and measure across them",
        )
    return kerf


def edge_loss_mm(bar: Bar, kerf_mm: float = 0.0) -> float:
    """What is burnt or torn off each side of a land at the face, ``(drawn - kerf - face) / 2``; nothing if it is wider.

    Parameters
    ----------
    kerf_mm
        A laser follows the strip's outlines, so half of its kerf goes off each side: that is no loss, for the paths
        of a block allow for it.
    """
    return max(0.0, (bar.drawn_mm - kerf_mm - bar.face_mm) / 2)


def cut_mm(narrowest_mm: float, *, kerf_mm: float = 0.0) -> float:
    """The narrowest cut itself, from the narrowest drawn that was open: a laser along its outlines adds its kerf."""
    return narrowest_mm + kerf_mm


def wall_deg(bar: Bar) -> float:
    """The wall's angle from the vertical, ``atan((foot - face) / 2 d)``; positive where the foot is wider."""
    return math.degrees(math.atan2(bar.foot_mm - bar.face_mm, 2 * bar.depth_mm))


def wall_from_floor_deg(widest_mm: float, length_mm: float, floor_ends_mm: float, depth_mm: float) -> float:
    """The wall's angle from a cut that tapers to nothing, by where its flat floor ends.

    There both walls meet at the depth: ``tan(angle) = w / 2 d`` with w the cut's width there.

    Parameters
    ----------
    floor_ends_mm
        Measured from the narrow end.
    """
    return math.degrees(math.atan2(widest_mm * floor_ends_mm / length_mm, 2 * depth_mm))


def included_deg(bar: Bar) -> float:
    """The angle that a V-tool encloses: both its walls."""
    return 2 * wall_deg(bar)


def land_mm(narrowest_mm: float, *, factor: float, loss_mm: float, kerf_mm: float = 0.0) -> float:
    """The material's own narrowest land, from the narrowest drawn that held under a cutter.

    A cutter's limit is ``land × factor + 2 loss`` (`job.Setup.face_limits`); this undoes it, and takes off the kerf of
    a laser, which followed the strip's outlines.
    """
    land = (narrowest_mm - kerf_mm - 2 * loss_mm) / factor
    if not land > 0:
        raise InputError(
            f"must be more than what the cutter takes off both sides, {kerf_mm + 2 * loss_mm:g} mm",
            value=narrowest_mm,
            hint="name the cutter that cut the strip with {cutter}",
            names=("cutter",),
        )
    return land
