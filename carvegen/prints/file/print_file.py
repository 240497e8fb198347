"""The print file: a whole print in TOML, read once to frozen values; every fault is told."""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from carvegen.artwork import plain_name
from carvegen.base.errors import CarvegenError, InputError
from carvegen.base.parameters import REQUIRED, Parameter, check_all
from carvegen.base.words import nearest
from carvegen.facts.profile_reader import read_toml
from carvegen.facts.register import RegisterPlan
from carvegen.marking.marks import HoleMeaning, Meaning
from carvegen.motifs import motif, summaries
from carvegen.prints.file.declared_values import FilePlace, remedy, settings_of, value_of
from carvegen.prints.file.key_lines import help_of, key_named, placed
from carvegen.prints.file.keys import (
    INKED,
    LISTS,
    TABLES,
    ArtworkTable,
    MarksTable,
    PrintBlock,
    PrintLayer,
    PrintMark,
    PrintMotif,
    PrintTable,
    called_by_kind,
    filled,
    keys_of,
)  # fmt: skip

if TYPE_CHECKING:
    from pathlib import Path

    from carvegen.facts.profiles import Library, Paper

__all__ = [
    "Print", "PrintBlock", "PrintLayer", "PrintMotif", "all_at_once", "block_name_fault", "file_name", "in_keys",
    "read_print",
]  # fmt: skip

_BUILT = frozenset({"inks", "lands", "register"})  #: folders that a build writes beside those of the blocks
#: Names of devices, which no folder may have on Windows; from memory.
_DEVICES = frozenset({"con", "prn", "aux", "nul", *(f"{port}{k}" for port in ("com", "lpt") for k in range(1, 10))})
#: Keys of a mark that say nothing of what a hole is, and why.
_NOT_OF_HOLES: Mapping[str, str] = MappingProxyType({
    "blocks": "what a hole is holds for every block",
    "strength": "a hole is open air or only drawn, not more or less so",
    "try": "what a hole is does not grow",
})  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Print(PrintTable, ArtworkTable, MarksTable):
    """A whole print, in printing order."""

    path: Path
    layers: tuple[PrintLayer, ...]
    blocks: tuple[PrintBlock, ...]
    openings: tuple[str, ...]
    highlights: tuple[str, ...]
    motifs: tuple[PrintMotif, ...]
    marked: tuple[PrintMark, ...]
    stock: Paper | None  #: what is known of the paper that is embossed
    register: RegisterPlan
    files: Mapping[str, Any]  #: how files are written
    #: Which inks hide each block's, where its own no longer tells.
    hidden_by: Mapping[str, frozenset[str]] | None = None

    @property
    def width_mm(self) -> float:
        """Width of the picture."""
        return self.size_mm[0]

    @property
    def height_mm(self) -> float:
        """Height of the picture."""
        return self.size_mm[1]

    @property
    def window(self) -> tuple[float, float, float, float]:
        """Left, bottom, right and top of the piece of the face that the paper shows."""
        bleed = self.bleed_mm
        return (bleed, bleed, self.width_mm - bleed, self.height_mm - bleed)

    def place(self, key: str) -> str:
        """Where a key is, for messages: the file, the line and the key."""
        return placed(self.path, key)


def read_print(path: Path, shelf: Library) -> Print:
    """The print that a TOML file describes.

    Parameters
    ----------
    shelf
        The profiles that blocks may name.

    Raises
    ------
    InputError
        If it can't be read, or has faults: all of them, each with file, key, value and what to do.
    """
    tables = read_toml(path)
    faults: list[InputError] = []
    top = FilePlace(str(path), faults)
    for name in tables:
        if name not in {*TABLES, *LISTS}:
            top.fault(name, "is not known here", value=tables[name], hint=nearest(name, {*TABLES, *LISTS}))
    once = {name: _table(top, name, tables.get(name, REQUIRED if name == "print" else {}), keys_of(name))
            for name in TABLES}  # fmt: skip
    many = {name: _tables(top, name, tables.get(name, [])) for name in LISTS}
    _check_layers(top, many["layers"])
    _check_blocks(top, many["blocks"], shelf)
    paper = once["print"].get("paper_profile")
    if paper and paper not in shelf.keys("papers"):
        top.fault(
            "print.paper_profile", "must be a known paper", value=paper, hint=nearest(paper, shelf.keys("papers"))
        )
    motifs = [_settled(top, f"motifs[{k}]", entry, many["blocks"]) for k, entry in enumerate(many["motifs"])]
    _check_names(top, many["motifs"])
    _check_marked(top, many)
    all_at_once(faults, str(path))
    return _print(path, once, many, motifs, shelf)


def all_at_once(faults: Sequence[InputError], where: str) -> None:
    """Raise the fault, or one error that tells all of them; nothing if there is none."""
    if len(faults) == 1:
        raise faults[0]
    if faults:
        bullets = "".join(map(_bullet, faults))
        raise InputError(f"has {len(faults)} faults:{bullets}", where=where, hint="mend these, then run it again")


def _bullet(fault: InputError) -> str:
    return f"\n  - {fault}" + (f"\n      what to do: {fault.hint}" if fault.hint else "")


def in_keys(error: CarvegenError, print_: Print, table: str) -> CarvegenError:
    """An error of the library within a table of the print file, its fields by the names of their keys.

    Where the library has no remedy, it is what the key stands for.
    """
    keys = [key_named(field, table) for field in error.fields]
    one = help_of(keys[0], table) if len(keys) == 1 else None
    if one and not error.hint:
        error.hint = remedy(one)
    if error.where.startswith(str(print_.path)):
        return error.named(lambda field: key_named(field, table))
    if len(keys) == 1 and not error.where:
        error.where, error.fields = print_.place(f"{table}.{keys[0]}"), ()
        return error.named(lambda field: key_named(field, table))
    return error.named(lambda field: key_named(field, table)).within(print_.place(table))


def _table(top: FilePlace, name: str, table: object, keys: Sequence[Parameter]) -> dict[str, Any]:
    """The values of one table, defaults filled in."""
    if not isinstance(table, dict):
        fault = "is missing" if table is REQUIRED else "must be a table"
        top.fault(name, fault, value=None if table is REQUIRED else table, hint=f"write a table: {_heading(name)}")
        table = {}
        keys = [entry for entry in keys if not entry.required]
    known = {entry.key: entry for entry in keys}
    for key in sorted(table.keys() - known.keys()):
        top.fault(f"{name}.{key}", "is not known here", value=table[key], hint=nearest(key, known))
    return {key: value_of(top, f"{name}.{key}", entry, table.get(key, REQUIRED)) for key, entry in known.items()}


def _tables(top: FilePlace, name: str, tables: object) -> list[dict[str, Any]]:
    if not isinstance(tables, list):
        top.fault(name, "must be a list of tables", value=tables, hint=f"write each as [[{name}]]")
        return []
    return [_table(top, f"{name}[{k}]", table, keys_of(name)) for k, table in enumerate(tables)]


def _heading(name: str) -> str:
    plain = name.partition("[")[0]
    return f"[[{plain}]]" if plain in LISTS else f"[{plain}]"


def _check_layers(top: FilePlace, layers: Sequence[Mapping[str, Any]]) -> None:
    """Refuse tables that say nothing of their layer."""
    for k, layer in enumerate(layers):
        if layer["shape"] == "" and layer["gaps"] == "":
            hint = 'give it a shape: shape = "circle 150 110 12"; or say what holes in it are: gaps = "open"'
            top.fault(f"layers[{k}].shape", "is missing", hint=hint)


def _check_blocks(top: FilePlace, blocks: Sequence[Mapping[str, Any]], shelf: Library) -> None:
    if not blocks:
        top.fault("blocks", "has no block", hint="write one [[blocks]] for each colour, in printing order")
    seen: set[str] = set()
    for k, block in enumerate(blocks):
        place = f"blocks[{k}]"
        _check_profiles(top, place, block, shelf)
        name = block.get("name") or ""
        if fault := block_name_fault(name, seen):
            top.fault(f"{place}.name", fault, value=name, hint="give each block a name of its own")
        seen.add(name)
        role = block.get("role", "")
        if role in INKED and block.get("ink") == "":
            top.fault(f"{place}.ink", f"is missing: a {role} block prints ink", hint='write ink = "#264b5e"')
        if role in ("key", "tone") and not block.get("layers"):
            hint = 'name what prints on it: layers = ["POSTS"]'
            top.fault(f"{place}.layers", f"names no layer: a {role} block would print nothing", value=[], hint=hint)
        if role not in ("background", "ground") and "*" in block.get("layers", ()):
            hint = "name its layers, or make its role background or ground"
            top.fault(f"{place}.layers", 'has "*", which is for background and ground', value="*", hint=hint)


def block_name_fault(name: str, others: Container[str]) -> str:
    """What is wrong with the name of a block, which becomes a folder, beside others; nothing if it will do."""
    if name and name in others:
        return "is there twice"
    if name in _BUILT:
        return "is that of a folder in which a build keeps something else"
    return "is a name that Windows keeps for itself" if name in _DEVICES else ""


def _check_profiles(top: FilePlace, place: str, block: Mapping[str, Any], shelf: Library) -> None:
    named = [("materials", "material", block.get("material")), ("cutters", "cutter", block.get("cutter"))]
    named += [("materials", "counter_material", block.get("counter_material"))]
    named += [("machines", f"machines[{j}]", name) for j, name in enumerate(block.get("machines", ()))]
    named += [("cutters", f"more_cutters[{j}]", name) for j, name in enumerate(block.get("more_cutters", ()))]
    for kind, key, name in named:
        if name and name not in shelf.keys(kind):
            hint = shelf.nearest(kind, name)
            top.fault(f"{place}.{key}", f"must be a known {kind.removesuffix('s')}", value=name, hint=hint)
        elif name and key.startswith("more_cutters") and "router" not in shelf.cutter(name).machines:
            hint = "choose a cutter for a router: carvegen profiles list"
            top.fault(f"{place}.{key}", "must be a cutter that goes into a router", value=name, hint=hint)


def usual_name(motif: str, nth: int) -> str:
    """What a motif is called that has no name of its own."""
    return f"{motif} {nth + 1}"


def _check_names(top: FilePlace, motifs: Sequence[Mapping[str, Any]]) -> None:
    """Refuse motifs that are called alike: kept files and commands name them."""
    count, seen, files = dict[str, int](), set[str](), set[str | None]()
    for k, entry in enumerate(motifs):
        kind = entry.get("motif") or ""
        nth = count[kind] = count.get(kind, -1) + 1
        name = entry.get("name") or usual_name(kind, nth)
        if not file_name(name):
            top.fault(f"motifs[{k}].name", "must hold a letter or a digit", value=name, hint="near flakes, say")
        elif file_name(name) in seen and kind:
            top.fault(f"motifs[{k}].name", "is that of another motif, too", value=name, hint="give each its own name")
        seen.add(file_name(name))
        if (file := entry.get("kept")) and file in files:
            top.fault(
                f"motifs[{k}].kept", "is that of another motif, too", value=file, hint="give each a file of its own"
            )
        files.add(file)


def _check_marked(top: FilePlace, many: Mapping[str, Sequence[Mapping[str, Any]]]) -> None:
    """Refuse marks for motifs and blocks that are not there."""
    kinds = [entry.get("motif") or "" for entry in many["motifs"]]
    own = [
        entry.get("name") or usual_name(kinds[k], kinds[:k].count(kinds[k])) for k, entry in enumerate(many["motifs"])
    ]
    named = [bool(entry.get("name")) for entry in many["motifs"]]
    own += [called_by_kind(kind, kinds[:k].count(kind)) for k, kind in enumerate(kinds) if not named[k]]
    blocks = [entry["name"] for entry in many["blocks"] if entry.get("name")]
    for k, entry in enumerate(many["marked"]):
        for key, known, what in (("for", [*own, *kinds], "motif"), ("blocks", blocks, "block")):
            for j, name in enumerate(entry.get(key) or ()):
                if plain_name(name) not in map(plain_name, known):
                    where, hint = f"marked[{k}].{key}[{j}]", nearest(name, set(known))
                    top.fault(where, f"must be a {what} of this print", value=name, hint=hint)
        if entry.get("meaning") == Meaning.COMES_OUT and entry.get("for"):
            hint = "leave it out: what comes out is white whatever has grown there"
            top.fault(f"marked[{k}].for", "has no meaning here", value=", ".join(entry["for"]), hint=hint)
        if entry.get("meaning") in tuple(HoleMeaning):
            _check_hole(top, f"marked[{k}]", entry)


def _check_hole(top: FilePlace, place: str, entry: Mapping[str, Any]) -> None:
    """Refuse what says nothing of a hole."""
    usual = {setting.key: setting.default for setting in keys_of("marked")}
    for key, why in _NOT_OF_HOLES.items():
        value = entry.get(key)
        if value is not None and value != usual[key]:
            shown = ", ".join(value) if isinstance(value, tuple) else value
            top.fault(f"{place}.{key}", "has no meaning here", value=shown, hint=f"leave it out: {why}")


def file_name(name: str) -> str:
    """A name as that of a file: small letters, digits and "-"."""
    return "-".join("".join(sign if sign.isalnum() else " " for sign in name.lower()).split())


def _settled(top: FilePlace, place: str, entry: dict[str, Any], blocks: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """The motif's table with its settings made from preset and own values."""
    names = [block["name"] for block in blocks if block.get("name")]
    for j, name in enumerate(entry.get("blocks", ())):
        if name not in ("*", *names):
            top.fault(f"{place}.blocks[{j}]", "must be a block of this print", value=name, hint=nearest(name, names))
    name = entry.get("motif")
    for key in ("far_behind", "middle_behind"):
        if entry.get(key) and name != "snowfall":
            top.fault(f"{place}.{key}", "is for falling snow alone", value=list(entry[key]), hint="leave it out")
    if name not in summaries():
        if name:
            top.fault(f"{place}.motif", "must be a known motif", value=name, hint=nearest(name, summaries()))
        return entry
    module = motif(name)
    preset = entry["preset"] or next(iter(module.PRESETS))
    if preset not in module.PRESETS:
        top.fault(f"{place}.preset", f"must be a preset of {name}", value=preset, hint=nearest(preset, module.PRESETS))
        return entry
    own = settings_of(top, f"{place}.settings", module.Settings, entry["settings"] or {})
    try:
        settings = module.Settings(**{**module.PRESETS[preset], **own})
        check_all(settings)
    except InputError as error:
        hint = error.hint or "change one of the two"
        top.fault(f"{place}.settings.{', '.join(error.fields)}", error.message, value=error.value, hint=hint)
        return entry
    return {**entry, "settings": settings}


def _print(
    path: Path, once: Mapping[str, Any], many: Mapping[str, Any], motifs: Iterable[dict[str, Any]], shelf: Library
) -> Print:
    count: dict[str, int] = {}
    named = []
    for entry in motifs:
        nth = count[entry["motif"]] = count.get(entry["motif"], -1) + 1
        named.append(filled(PrintMotif, {**entry, "name": entry["name"] or usual_name(entry["motif"], nth)}, nth=nth))
    own = once["print"]
    stock = shelf.paper(own["paper_profile"]) if own["paper_profile"] else None
    if stock is not None:
        own = {**own, "paper_g_m2": stock.weight_g_m2, "paper_mm": stock.thickness_mm}
    once_there = [
        vars(filled(kind, values))
        for kind, values in ((PrintTable, own), (ArtworkTable, once["artwork"]), (MarksTable, once["marks"]))
    ]
    return Print(
        path=path, **once_there[0], **once_there[1], **once_there[2],
        layers=tuple(filled(PrintLayer, entry) for entry in many["layers"]),
        blocks=tuple(filled(PrintBlock, entry) for entry in many["blocks"]),
        openings=tuple(entry["shape"] for entry in many["openings"]),
        highlights=tuple(entry["shape"] for entry in many["highlights"]),
        motifs=tuple(named), marked=tuple(filled(PrintMark, entry) for entry in many["marked"]), stock=stock,
        register=filled(RegisterPlan, once["register"]), files=MappingProxyType(once["files"]),
    )  # fmt: skip
