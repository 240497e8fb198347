"""The library of materials, cutters, machines and papers: facts from TOML files, checked, frozen, with sources."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TypeVar, cast

from carvegen.base.errors import CarvegenError, InputError
from carvegen.base.words import nearest
from carvegen.facts.profile_reader import ProfileTable, read_toml, shipped
from carvegen.facts.profiles import profile_rules as rules
from carvegen.facts.profiles.profile_values import (
    KINDS,
    Cutter,
    Figure,
    Machine,
    Material,
    Paper,
    Permit,
    Verdict,
    figures,
)

__all__ = [
    "FOLDERS", "KINDS", "Cutter", "Figure", "Library", "Machine", "Material", "Paper", "Permit", "Verdict",
    "figures",
    "shipped",
]  # fmt: skip

FOLDERS = ("materials", "cutters", "machines", "papers")  #: the kinds of profile, and their folders

T = TypeVar("T")

_KEY = re.compile(r"[a-z0-9]+(?:[.-][a-z0-9]+)*")


_Stamp = tuple[int, int] | None


def _stamp(path: Path) -> _Stamp:
    """By what a changed file is known: when it was written (ns), and its size; None if it is not there."""
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_mtime_ns, status.st_size


class Library:
    """The profiles at hand: the shipped ones, overridden by those in `folders`, the later the stronger.

    A file replaces the shipped one of the same name wholly; but what the shipped one says is *never*, stays
    *never*, and what is a laser there stays one. A sound file is read once, until it is changed.

    Raises
    ------
    InputError
        If a folder is missing, or has none of `FOLDERS` in it.
    """

    def __init__(self, folders: Sequence[Path] = ()) -> None:
        if not shipped().is_dir():
            raise CarvegenError("the shipped profiles are missing", hint="install carvegen again")
        self._folders = (shipped(), *(_usable(folder) for folder in folders))
        self._sound: dict[tuple[str, str], tuple[_Stamp, object]] = {}
        self.look_again()

    def look_again(self) -> None:
        """Know the files that have come, and no more those that have gone, since it was made."""
        self._paths = {kind: _paths(kind, self._folders) for kind in FOLDERS}

    def keys(self, kind: str) -> tuple[str, ...]:
        """The sorted keys of a kind: one of `FOLDERS`."""
        return tuple(sorted(self._paths[kind]))

    def path(self, kind: str, key: str) -> Path:
        """The file of this profile; `InputError` with the nearest key if there is none."""
        if key not in self._paths[kind]:
            one = kind.removesuffix("s")
            raise InputError(f"must be a known {one}", value=key, where=one, hint=self.nearest(kind, key))
        return self._paths[kind][key]

    def nearest(self, kind: str, key: str) -> str:
        """A hint that holds the nearest key of a kind and all of them; of materials also which no laser may meet."""
        known = nearest(key, self._paths[kind])
        if kind != "materials":
            return known
        never = [name for name in self.keys(kind) if _never(self._material(name)[0])]
        return f"{known}; never for a laser: {', '.join(never)}" if never else known

    def material(self, key: str) -> Material:
        """The material of this key; `InputError` with the first fault of its file."""
        return self._once("materials", key, self._material)

    def cutter(self, key: str) -> Cutter:
        """The cutter of this key; `InputError` with the first fault of its file."""
        return self._once("cutters", key, self._cutter)

    def machine(self, key: str) -> Machine:
        """The machine of this key; `InputError` with the first fault of its file."""
        return self._once("machines", key, self._machine)

    def paper(self, key: str) -> Paper:
        """The paper of this key; `InputError` with the first fault of its file."""
        return self._once("papers", key, self._paper)

    def _once(self, kind: str, key: str, read: Callable[[str], tuple[T | None, list[InputError]]]) -> T:
        """A profile that has been read already, or else the file's; `InputError` with its first fault."""
        as_it_is = _stamp(self.path(kind, key))
        if (kind, key) not in self._sound or self._sound[kind, key][0] != as_it_is:
            self._sound[kind, key] = as_it_is, _whole(*read(key))
        return cast("T", self._sound[kind, key][1])

    def check(self) -> tuple[InputError, ...]:
        """Every fault in every file, and every file or folder that no name reaches; may be empty."""
        faults = [fault for folder in self._folders for fault in _strays(folder)]
        for kind, read in zip(FOLDERS, (self._material, self._cutter, self._machine, self._paper), strict=True):
            faults += [fault for key in self.keys(kind) for fault in read(key)[1]]
        return tuple(faults)

    def _material(self, key: str) -> tuple[Material | None, list[InputError]]:
        sheet = _sheet(self.path("materials", key))
        if sheet.faults:
            return None, sheet.faults
        material, original = rules.material(sheet, key), self._replaced("materials", key)
        if original:
            rules.keep_never(sheet, material, rules.material(original, key))
        if not self.path("materials", key).is_relative_to(shipped()):  # tests read the shipped ones
            rules.keep_safe(sheet, material)
        return material, sheet.faults

    def _cutter(self, key: str) -> tuple[Cutter | None, list[InputError]]:
        sheet = _sheet(self.path("cutters", key))
        if sheet.faults:
            return None, sheet.faults
        cutter, original = rules.cutter(sheet, key), self._replaced("cutters", key)
        if original and cutter.form:
            rules.keep_kind(sheet, "form", cutter.form, rules.cutter(original, key).form)
        return cutter, sheet.faults

    def _machine(self, key: str) -> tuple[Machine | None, list[InputError]]:
        sheet = _sheet(self.path("machines", key))
        if sheet.faults:
            return None, sheet.faults
        machine, original = rules.machine(sheet, key), self._replaced("machines", key)
        if original and machine.kind:
            rules.keep_kind(sheet, "kind", machine.kind, rules.machine(original, key).kind)
        for field in ("usual_cutter", "usual_straight_cutter"):
            if getattr(machine, field):
                self._check_usual(sheet, machine, field)
        return machine, sheet.faults

    def _paper(self, key: str) -> tuple[Paper | None, list[InputError]]:
        sheet = _sheet(self.path("papers", key))
        return (None if sheet.faults else rules.paper(sheet, key)), sheet.faults

    def _replaced(self, kind: str, key: str) -> ProfileTable | None:
        """The shipped file of this name, where a user's stands in for it."""
        original = shipped() / kind / f"{key}.toml"
        return _sheet(original) if original.is_file() and original != self.path(kind, key) else None

    def _check_usual(self, sheet: ProfileTable, machine: Machine, field: str) -> None:
        """A usual cutter is known and goes into the machine; its own faults are its own."""
        name, known = getattr(machine, field), self._paths["cutters"]
        if name not in known:
            sheet.fault(field, "must be a known cutter", value=name, hint=nearest(name, known))
            return
        try:
            cutter = self.cutter(name)
        except InputError:
            return
        if machine.kind not in cutter.machines:
            fits = ", ".join(cutter.machines)
            sheet.fault(field, f"must go into this machine; it goes into: {fits}", value=name)


def _never(material: Material | None) -> bool:
    """Whether no laser may meet it; a faulty one is told of when it is used."""
    return material is not None and material.permits["laser"].verdict is Verdict.NEVER


def _sheet(path: Path) -> ProfileTable:
    """The file's tables; an empty sheet with one fault if it can't be read at all."""
    try:
        return ProfileTable(read_toml(path), where=str(path), faults=[])
    except InputError as fault:
        return ProfileTable({}, where=str(path), faults=[fault])


def _whole(profile: T | None, faults: list[InputError]) -> T:
    """The profile; or its first fault raised, with a word on the others."""
    if profile is not None and not faults:
        return profile
    first, others = faults[0], len(faults) - 1
    more = f"{others} more in this file: carvegen profiles check" if others else ""
    first.hint = "; ".join(part for part in (first.hint, more) if part)
    raise first


def _usable(folder: Path) -> Path:
    if not folder.is_dir():
        raise InputError("must be a folder", value=str(folder), where="profiles")
    if not any((folder / kind).is_dir() for kind in FOLDERS):
        raise InputError(
            f"must have a folder in it called {', '.join(FOLDERS[:-1])} or {FOLDERS[-1]}",
            value=str(folder), where="profiles",
        )  # fmt: skip
    return folder


def _paths(kind: str, folders: Sequence[Path]) -> dict[str, Path]:
    """The file of each key; later folders win."""
    return {
        path.stem: path
        for folder in folders
        for path in sorted((folder / kind).glob("*.toml"))
        if _KEY.fullmatch(path.stem) and path.is_file()
    }


def _strays(folder: Path) -> list[InputError]:
    """Folders of unknown kind, and profile files whose names can't be keys."""
    seen = sorted(path.name for path in folder.iterdir() if path.is_dir())
    faults = [
        InputError("must be a kind of profile", value=name, where=str(folder), hint=nearest(name, FOLDERS))
        for name in seen
        if name not in FOLDERS and not name.startswith(".")
    ]
    for path in (path for kind in FOLDERS for path in sorted((folder / kind).glob("*.toml"))):
        if not path.name.startswith(".") and not _KEY.fullmatch(path.stem):
            rule = "a profile's file name has small letters and digits, joined by - or ."
            faults.append(InputError(rule, value=path.name, where=str(path.parent)))
    return faults
