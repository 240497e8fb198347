"""Show and check the materials, cutters, machines and papers."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from carvegen.base.errors import InputError
from carvegen.interfaces.cli.options import as_json as json_option
from carvegen.interfaces.cli.options import library, profile_folders
from carvegen.interfaces.cli.setup import measured

if TYPE_CHECKING:
    from carvegen.facts.profiles import Cutter, Library, Machine, Material, Paper

    Profile = Material | Cutter | Machine | Paper

__all__ = ["command"]

_DETAILS = (
    "grain", "composition", "serves", "form", "machines", "kind", "units", "curves", "usual_cutter",
    "usual_straight_cutter", "origin",
)  # fmt: skip


@click.group("profiles")
def command() -> None:
    """Show and check the materials, cutters, machines and papers; keep your own.

    A profile is all that is known of one of them, each value with its source.

    \b
    carvegen profiles list
    carvegen profiles show linoleum
    """


command.add_command(measured.command)


@command.command("list")
@profile_folders
@json_option
def list_(folders: tuple[Path, ...], as_json: bool) -> None:
    """List every profile with its name, and whether a material may meet laser and router."""
    shelf = library(folders)
    result = {kind: [_read(shelf, kind, key) for key in shelf.keys(kind)] for kind in _folders()}
    if as_json:
        _say_json({kind: [_brief(profile) for profile in entry] for kind, entry in result.items()})
        return
    for kind, entry in result.items():
        click.echo(kind)
        heading = ["key", "name", *(["laser", "router"] if kind == "materials" else [])]
        for line in _table([heading, *(list(_brief(profile).values()) for profile in entry)]):
            click.echo(f"  {line}")


@command.command()
@click.argument("name", metavar="KIND-OR-KEY")
@profile_folders
@json_option
def show(name: str, folders: tuple[Path, ...], as_json: bool) -> None:
    """Show all that is known about a profile, with sources; or about all of a kind, such as materials."""
    shelf = library(folders)
    result = [(kind, key) for kind in _folders() for key in shelf.keys(kind) if name in (kind, key)]
    if not result:
        raise _unknown(shelf, name)
    pages = [_page(kind, _read(shelf, kind, key), shelf.path(kind, key)) for kind, key in result]
    if as_json:
        _say_json(pages)
        return
    for page in pages:
        click.echo("\n".join(_lines(page)))


@command.command("sources")
@json_option
def sources_(as_json: bool) -> None:
    """Print the register of sources, to which profiles, cautions and formulas point by key."""
    from dataclasses import asdict

    from carvegen.facts.sources import MARKS, sources

    if as_json:
        _say_json([asdict(source) for source in sources().values()])
        return
    for source in sources().values():
        click.echo(f"{source.key}: {source.citation}")
        click.echo(f"  {source.edition}; {source.where}; {'seen' if source.seen else 'from memory'}")
        click.echo(f"  says: {source.says}")
    click.echo(f"\n{len(sources())} sources. Where a number has none, it says: {'; '.join(MARKS)}.")


@command.command()
@profile_folders
@json_option
def check(folders: tuple[Path, ...], as_json: bool) -> None:
    """Read every profile and name every fault in it."""
    shelf = library(folders)
    faults = shelf.check()
    files = sum(len(shelf.keys(kind)) for kind in _folders())
    if as_json:
        _say_json({"files": files, "faults": [_fault(fault) for fault in faults]})
    for fault in () if as_json else faults:
        click.echo(str(fault) + (f"\n  {fault.hint}" if fault.hint else ""))
    if faults:
        count = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
        raise InputError(f"the profiles have {count}", hint="mend the places above, then check again")
    if not as_json:
        click.echo(f"{files} profiles, no fault")


def _folders() -> tuple[str, ...]:
    from carvegen.facts.profiles import FOLDERS

    return FOLDERS


def _read(shelf: Library, kind: str, key: str) -> Profile:
    read: dict[str, Any] = {"materials": shelf.material, "cutters": shelf.cutter, "machines": shelf.machine,
                            "papers": shelf.paper}  # fmt: skip
    profile: Profile = read[kind](key)
    return profile


def _unknown(shelf: Library, name: str) -> InputError:
    from carvegen.base.words import nearest

    known = [*_folders(), *(key for kind in _folders() for key in shelf.keys(kind))]
    return InputError("must be a kind or a key of a profile", value=name, hint=nearest(name, known))


def _brief(profile: Profile) -> dict[str, str]:
    """The profile in a line."""
    permits = getattr(profile, "permits", {})
    verdicts = {kind: permits[kind].verdict.value for kind in ("laser", "router") if kind in permits}
    return {"key": profile.key, "name": profile.name, **verdicts}


def _page(kind: str, profile: Profile, path: Path) -> dict[str, Any]:
    """All that is known about a profile, as plain values."""
    from carvegen.facts.profiles import figures

    permits = {
        machine: {"verdict": permit.verdict.value, "why": permit.why, "source": permit.source,
                  "cautions": list(permit.cautions)}
        for machine, permit in getattr(profile, "permits", {}).items()
    }  # fmt: skip
    return {
        "kind": kind.removesuffix("s"), "key": profile.key, "name": profile.name, "about": profile.about,
        "file": str(path),
        "details": {name: getattr(profile, name) for name in _DETAILS if hasattr(profile, name)} | _declared(profile),
        "values": {
            figure.name: {"value": figure.value, "unit": figure.unit, "source": figure.source}
            for figure in figures(profile)
        },
        "permits": permits,
        "layer_colours": dict(getattr(profile, "layer_colours", {})),
        "cautions": list(getattr(profile, "cautions", ())),
    }  # fmt: skip


def _declared(profile: Profile) -> dict[str, tuple[str, ...]]:
    """By which words a laser takes a material, where it takes it at all."""
    from carvegen.facts.composition import workable
    from carvegen.facts.profiles import Material, Verdict

    if not isinstance(profile, Material) or profile.permits["laser"].verdict is Verdict.NEVER:
        return {}
    return {"declare_for_a_laser": tuple(word for one in workable(profile.composition) for word in one.called("en"))}


def _lines(page: dict[str, Any]) -> Iterator[str]:
    """The page as text."""
    yield f"{page['kind']} {page['key']}: {page['name']}"
    yield f"  {page['about']}"
    yield f"  file: {page['file']}"
    for name, value in page["details"].items():
        yield f"  {name.replace('_', ' ')}: {_words(value)}"
    rows = [[name, f"{value['value']:g} {value['unit']}", value["source"]] for name, value in page["values"].items()]
    yield from (f"  {line}" for line in _table(rows))
    for layer, colour in page["layer_colours"].items():
        yield f"  layer {layer}: colour {colour}"
    for machine, entry in page["permits"].items():
        yield f"  {machine}: {entry['verdict']}. {entry['why']}"
        yield f"    source: {entry['source']}"
        yield from (f"    - {caution}" for caution in entry["cautions"])
    yield from (f"  - {caution}" for caution in page["cautions"])
    yield ""


def _words(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return ", ".join(value) if isinstance(value, tuple) else str(value)


def _table(rows: list[list[str]]) -> Iterator[str]:
    """Rows of text in columns."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        yield "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()


def _fault(fault: InputError) -> dict[str, Any]:
    return {"where": fault.where, "message": fault.message, "value": fault.value, "hint": fault.hint}


def _say_json(value: Iterable[Any]) -> None:
    click.echo(json.dumps(value, indent=2, ensure_ascii=False))
