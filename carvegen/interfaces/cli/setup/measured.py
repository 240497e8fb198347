"""Keep what was read from a test strip as a profile of your own."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from carvegen.base.errors import CarvegenError, InputError
from carvegen.interfaces.cli.options import as_json, library, profile_folders
from carvegen.interfaces.cli.options.option_values import ANGLE, LENGTH

if TYPE_CHECKING:
    from carvegen.facts.profiles import Cutter, Library, Material

__all__ = ["command"]


def _length(option: str, words: str) -> Any:  # noqa: ANN401
    return click.option(option, type=LENGTH, help=words)


_common = (
    click.option("--like", required=True, metavar="NAME", help="The profile to start from: carvegen profiles list."),
    click.option("--name", required=True, metavar="NAME", help="What yours is called, such as my-lino."),
    click.option("--date", "day", required=True, metavar="YYYY-MM-DD", help="The day on which you measured."),
    click.option("--out", required=True, type=click.Path(path_type=Path), help="Folder for profiles of your own."),
    profile_folders,
    as_json,
)


def _with(*options: Callable[[Any], Any]) -> Callable[[Any], Any]:
    def decorate(function: Any) -> Any:  # noqa: ANN401
        for option in reversed((*_common, *options)):
            function = option(function)
        return function

    return decorate


@click.group("measured")
def command() -> None:
    """Keep what you measured on a test strip as a profile of your own (carvegen strip makes the strip)."""


@command.command()
@_with(
    _length("--comb-face", "Laser: across all pieces of the comb pushed together, at the face."),
    _length("--comb-back", "Laser: the same at the back."),
    _length("--thickness", "Laser: thickness of the strip."),
    _length("--bar-face", "Across the bar, at the face."),
    _length("--bar-foot", "V-tool: across the bar, at its foot."),
    _length("--floor-ends", "V-tool: from the tip of the tapering cut to where its flat floor ends."),
    _length("--depth", "V-tool: depth of the cuts."),
    _length("--cut", "The narrowest cut that is open and prints clear."),
)
def cutter(**readings: Any) -> None:  # noqa: ANN401
    """Keep a cutter's kerf, wall, loss and smallest cut."""
    _keep("cutters", _cutter_values(readings), readings)


@command.command()
@_with(
    click.option("--cutter", "cutter", required=True, metavar="NAME", help="What cut the strip."),
    _length("--land-across", "The narrowest line that held, of the ladder across the grain."),
    _length("--land-along", "The narrowest line that held, along the grain."),
    _length("--dot", "The smallest dot that held."),
    _length("--cut", "The narrowest cut that is open and prints clear."),
)
def material(**readings: Any) -> None:  # noqa: ANN401
    """Keep a material's narrowest land, smallest dot and narrowest cut."""
    _keep("materials", _material_values(readings), readings)


@command.command()
@_with(
    _length("--relief", "The highest step that is whole."),
    click.option("--bevel", type=ANGLE, help="The steepest slope along which nothing tears."),
    _length("--corner", "The sharpest corners at which nothing tears."),
    _length("--gap", "The narrowest gap in which the paper comes down to the floor."),
    _length("--thickness", "The paper's thickness."),
    click.option("--weight", type=float, metavar="G/M2", help="Its weight, in g/m2."),
)
def paper(**readings: Any) -> None:  # noqa: ANN401
    """Keep what a paper bears, read from an embossing strip (carvegen strip --emboss)."""
    _keep("papers", _paper_values(readings), readings)


def _paper_values(readings: dict[str, Any]) -> dict[str, float]:
    from carvegen.blocks.embossing.embossing_strip import LADDERS

    values: dict[str, float] = {}
    for ladder in LADDERS:
        value = readings[ladder.option.removeprefix("--")]
        if value is None:
            continue
        if not any(abs(value - size) < _SAME for size in ladder.sizes):
            raise InputError(
                f"must be one of the strip's {ladder.name}: {', '.join(f'{size:g}' for size in ladder.sizes)}",
                value=value, where=ladder.option, hint="read it again: the last before the first that failed",
            )  # fmt: skip
        values[ladder.key] = value
    for option, key in (("thickness", "thickness_mm"), ("weight", "weight_g_m2")):
        if readings[option] is not None:
            values[key] = readings[option]
    return values


_SAME = 1e-6  #: what rounding makes of one size


def _cutter_values(readings: dict[str, Any]) -> dict[str, float]:
    from carvegen.blocks.test_strip import BAR_MM, WEDGE_MM
    from carvegen.facts.profiles.own_profile import Bar, cut_mm, edge_loss_mm, included_deg, wall_from_floor_deg

    form = library(readings["folders"]).cutter(readings["like"]).form
    _refuse_idle(form, readings)
    values = _kerfs(readings) if form == "laser" else {}
    face, foot, depth = readings["bar_face"], readings["bar_foot"], readings["depth"]
    kerf = _kerf_mm(_own_or_like(readings)) if "kerf_top_mm" not in values else values["kerf_top_mm"]
    if face is not None:
        bar = Bar(drawn_mm=BAR_MM, face_mm=face, foot_mm=face, depth_mm=1)
        values["edge_loss_mm"] = edge_loss_mm(bar, kerf)
    if depth is not None and face is not None and foot is not None:
        bar = Bar(drawn_mm=BAR_MM, face_mm=face, foot_mm=foot, depth_mm=depth)
        values["included_deg"] = included_deg(bar)
    elif depth is not None and readings["floor_ends"] is not None:
        values["included_deg"] = 2 * wall_from_floor_deg(*WEDGE_MM, readings["floor_ends"], depth)
    if readings["cut"] is not None:
        values["smallest_cut_mm"] = cut_mm(readings["cut"], kerf_mm=kerf)
    return values


def _kerfs(readings: dict[str, Any]) -> dict[str, float]:
    """A laser's kerf at the face and at the back, of the thickness at which both were measured; empty if none was."""
    from carvegen.blocks.test_strip import PIECE_MM, PIECES
    from carvegen.facts.profiles.own_profile import kerf_mm

    combs = {"comb_face": "kerf_top_mm", "comb_back": "kerf_bottom_mm"}
    values = {
        key: _named(option, kerf_mm, PIECE_MM, PIECES, readings[option])
        for option, key in combs.items() if readings[option] is not None
    }  # fmt: skip
    if values and (len(values) < 2 or readings["thickness"] is None):
        raise InputError(
            "a kerf needs --comb-face, --comb-back and --thickness", hint="measure all three, or leave them out"
        )
    return {**values, "kerf_thickness_mm": readings["thickness"]} if values else {}


def _own_folder(readings: dict[str, Any]) -> list[Path]:
    """The folder that the profile goes into, if it holds profiles already."""
    from carvegen.facts.profiles import FOLDERS

    out: Path = readings["out"]
    return [out] if any((out / kind).is_dir() for kind in FOLDERS) else []


def _own_or_like(readings: dict[str, Any]) -> Cutter:
    """The cutter as it was measured before, or the one that it starts from."""
    own = library(_own_folder(readings))
    if readings["name"] in own.keys("cutters"):
        return own.cutter(readings["name"])
    return library(readings["folders"]).cutter(readings["like"])


def _kerf_mm(tool: Cutter) -> float:
    """The kerf at the face of a laser; 0 of any other cutter, whose paths a shop makes for its width."""
    from carvegen.facts.cutting import groove_mm

    return groove_mm(tool, 1.0) if tool.form == "laser" else 0.0


#: Readings that say something of one form of cutter only.
_ONLY = {"laser": ("comb_face", "comb_back", "thickness"), "v": ("bar_foot", "floor_ends", "depth")}


def _refuse_idle(form: str, readings: dict[str, Any]) -> None:
    """A reading that would change nothing is refused, so that nobody takes it for kept."""
    for only, names in _ONLY.items():
        for name in names if form != only else ():
            if readings[name] is not None:
                raise InputError(
                    f"says nothing of {readings['like']}: only of a {'laser' if only == 'laser' else 'V-tool'}",
                    where=f"--{name.replace('_', '-')}", hint="leave it out",
                )  # fmt: skip
    angle = [readings[name] is not None for name in ("bar_foot", "floor_ends", "depth")]
    if any(angle) and not (angle[2] and (angle[1] or (angle[0] and readings["bar_face"] is not None))):
        raise InputError(
            "the angle of a V-tool needs --depth, and --bar-face with --bar-foot or else --floor-ends",
            hint="measure these, or leave --bar-foot, --floor-ends and --depth out",
        )
    if angle[0] and angle[1]:
        raise InputError("gives the angle a second time", where="--floor-ends", hint="keep this or --bar-foot")


def _material_values(readings: dict[str, Any]) -> dict[str, float]:
    from carvegen.facts.profiles.own_profile import cut_mm, land_mm

    shelf = library([*readings["folders"], *_own_folder(readings)])
    tool, stuff = shelf.cutter(readings["cutter"]), shelf.material(readings["like"])
    _check_rungs(shelf, stuff, tool, readings)
    kerf = _kerf_mm(tool)
    values = {
        key: _named(option, land_mm, readings[option], factor=tool.land_factor, loss_mm=tool.edge_loss_mm, kerf_mm=kerf)
        for option, key in (("land_across", "land_across_mm"), ("land_along", "land_along_mm"), ("dot", "dot_mm"))
        if readings[option] is not None
    }
    if stuff.grain == "none" and "land_across_mm" in values:
        values["land_along_mm"] = values["land_across_mm"]
    if readings["cut"] is not None:
        values["cut_mm"] = cut_mm(readings["cut"], kerf_mm=kerf)
    return values


_RUNGS = {"land_across": "land_across_mm", "land_along": "land_along_mm", "dot": "dot_mm", "cut": "cut_mm"}


def _check_rungs(shelf: Library, stuff: Material, tool: Cutter, readings: dict[str, Any]) -> None:
    """A reading must lie among the rungs of the strip: that of this cutter, or of the one that it started from."""
    from carvegen.blocks.job import setups_for
    from carvegen.blocks.test_strip import rungs_for
    from carvegen.facts.profiles.own_profile import started_from

    keys = {tool.key, started_from(tool.about) or tool.key} & set(shelf.keys("cutters"))
    rungs = [rungs_for(setups_for(shelf, material=stuff.key, cutter=key)[0]) for key in sorted(keys)]
    for option, key in _RUNGS.items():
        sizes = [size for ladders in rungs for size in ladders.get(key, ())]
        if readings[option] is not None and sizes and not min(sizes) <= readings[option] <= max(sizes):
            raise InputError(
                f"must be a rung of the strip, as drawn: {min(sizes):g} to {max(sizes):g} mm", value=readings[option],
                where=f"--{option.replace('_', '-')}",
                hint="read it again; if the finest rung held, or the coarsest failed, give that one and cut a new "
                "strip with the profile that you get (--profiles)",
            )  # fmt: skip


def _named(option: str, function: Any, *args: Any, **more: Any) -> float:  # noqa: ANN401
    try:
        return float(function(*args, **more))
    except CarvegenError as error:
        raise error.within("--" + option.replace("_", "-")) from None


def _keep(kind: str, values: dict[str, float], readings: dict[str, Any]) -> None:
    from carvegen.facts.profiles.own_profile import day_of, own_profile

    day = day_of(readings["day"])
    made = own_profile(
        library(readings["folders"]),
        readings["out"],
        kind=kind,
        like=readings["like"],
        name=readings["name"],
        values=values,
        day=day,
    )
    if readings["as_json"]:
        record = {"file": str(made.path), "values": {k: round(v, 4) for k, v in values.items()}}
        click.echo(json.dumps({**record, "replaced": dict(made.replaced)}, indent=1))
        return
    for key, value in values.items():
        click.echo(f"  {key} = {value:.4g}" + (f"; REPLACES {made.replaced[key]}" if key in made.replaced else ""))
    click.echo(f"Written to {made.path}. Use it with --profiles {readings['out']}.")
