"""Options that several commands share, and what becomes of them."""

from __future__ import annotations

import json
import time
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from carvegen.errors import CarvegenError, InputError

if TYPE_CHECKING:
    from carvegen.block import Block
    from carvegen.delivery import Delivery, Style
    from carvegen.facts.profiles import Library
    from carvegen.geometry import PolygonArray
    from carvegen.job import Setup
    from carvegen.making import Ground
    from carvegen.toolpaths.settings import PathSettings
    from carvegen.writers.views import View

__all__ = [
    "as_json",
    "block_size",
    "check_picture",
    "drawing",
    "face_size",
    "figures",
    "finish",
    "ground",
    "kinds_of",
    "library",
    "measure",
    "mending",
    "motif",
    "motif_settings",
    "output",
    "path_settings",
    "paths",
    "placed",
    "places",
    "plain_output",
    "profile_folders",
    "read_as",
    "setup",
    "setups",
    "style",
    "summary",
    "teller",
    "true_size",
]


_NOTES = "carvegen.notes"  #: where a command keeps the notes of the drawings that it reads


class _Measure(click.ParamType[Any]):
    """A click type that reads with one of the functions of `carvegen.units`."""

    def __init__(self, name: str) -> None:
        self.name = name

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:  # noqa: ANN401
        from carvegen import units

        if not isinstance(value, str):
            return value
        try:
            return getattr(units, {"SIZE": "size_mm", "LENGTH": "length_mm", "ANGLE": "angle_deg"}[self.name])(value)
        except CarvegenError as error:
            raise error.within(param.opts[0] if param else self.name) from None


_SIZE, _LENGTH, _ANGLE = _Measure("SIZE"), _Measure("LENGTH"), _Measure("ANGLE")


def measure(name: str) -> click.ParamType[Any]:
    """The click type of a "SIZE", "LENGTH" or "ANGLE"."""
    return _Measure(name)


#: ``--profiles DIR``, as often as wanted: passes `folders`.
profile_folders = click.option(
    "--profiles",
    "folders",
    metavar="DIR",
    multiple=True,
    type=click.Path(path_type=Path),
    help="Folder with profiles of your own; may be given more than once, the last one wins.",
)


def _all(*given: Callable[[Any], Any]) -> Callable[[Any], Any]:
    def decorate(function: Any) -> Any:  # noqa: ANN401
        for option in reversed(given):
            function = option(function)
        return function

    return decorate


def _kept(ctx: click.Context, param: click.Parameter, value: Any) -> Any:  # noqa: ANN401
    """Keep how much is told where `teller` finds it."""
    ctx.meta[f"carvegen.{param.name}"] = value
    return value


def _flag(*names: str, about: str) -> Callable[[Any], Any]:
    return click.option(*names, is_flag=True, expose_value=False, callback=_kept, help=about)


#: ``--json``: passes `as_json`; ``--quiet`` and ``--verbose`` are looked at by `teller` alone.
as_json = _all(
    click.option("--json", "as_json", is_flag=True, help="Write JSON instead of text."),
    _flag("--quiet", "-q", about="Tell of no stages while it works."),
    _flag("--verbose", "-v", about="Tell when each stage began, in seconds from the start."),
)


#: ``--size``: passes `size` in mm.
block_size = click.option(
    "--size", required=True, type=_SIZE, help="Width x height of the block, such as 200x150 or 8x6in."
)

#: ``--size`` where the drawing may give it: passes `size` in mm, or None.
face_size = click.option("--size", type=_SIZE, help="Width x height of the block, if no layer BLOCK EDGE gives it.")

#: ``--size`` of what lies between four corners: passes `size_mm`, or None.
true_size = click.option("--size", "size_mm", type=_SIZE, help="Scan: how far apart the corners are: 200x150.")

#: Material, cutter, machines and how the block is cut.
setup = _all(
    click.option(
        "--material", required=True, metavar="NAME", help="What the block is made of: carvegen profiles list."
    ),
    click.option("--cutter", required=True, metavar="NAME", help="What cuts it: carvegen profiles list."),
    click.option(
        "--machine",
        "machines",
        metavar="NAME",
        multiple=True,
        help="Machine to use instead of the usual one of its kind.",
    ),
    click.option("--thickness", type=_LENGTH, help="Thickness of the block.  [default: the material's]"),
    click.option("--depth", type=_LENGTH, help="Depth of the cut.  [default: the material's usual depth]"),
    click.option("--grain", type=_ANGLE, default="0", help="Direction of the grain; 0 runs to the right, 90 up."),
    click.option("--lean", type=_ANGLE, default="0", help="How far a hand tool is leaned sideways, in degrees."),
    click.option("--declare", "declared", default="", metavar="TEXT", help="What the block is made of, for the shop."),
    click.option("--roller-radius", type=_LENGTH, default="25", show_default=True, help="Radius of the ink roller."),
    click.option(
        "--feel",
        type=click.Choice(["light", "firm", "hard"]),
        default="firm",
        show_default=True,
        help="How the paper is pressed: light (by hand, dry), firm, hard (in a press, or damp).",
    ),
    profile_folders,
)

#: What stays land and what is cut out.
places = _all(
    click.option(
        "--keep-clear",
        multiple=True,
        metavar="SHAPE",
        help='A drawing that stays free of the motif: FILE, "FILE at X Y width W", or "circle X Y R".',
    ),
    click.option(
        "--opening",
        multiple=True,
        metavar="SHAPE",
        help='Cut through the whole block, as for an embossed shape: "circle X Y R", "box X Y W H" or FILE.',
    ),
    click.option("--margin", type=_LENGTH, default="0", help="Strip along the edge that stays free."),
    click.option(
        "--clearance", type=_LENGTH, default="1", show_default=True, help="How far to stay from --keep-clear."
    ),
    click.option(
        "--mask",
        metavar="PICTURE",
        help="Where the motif is thick: a grey picture over the face (white: all, black: none), or a SHAPE.",
    ),
    click.option("--prints", is_flag=True, help="The motif prints, as in white ink: all else is cut away."),
)

#: Where the files go and how they are written, where no picture of the land's width is made.
plain_output = _all(
    click.option("--out", required=True, type=click.Path(path_type=Path), help="Folder for the files."),
    click.option(
        "--for",
        "kinds",
        multiple=True,
        type=click.Choice(["laser", "router", "hand"]),
        help="Write only for this; may be given more than once.  [default: all that the material allows]",
    ),
    click.option(
        "--transfer",
        type=click.Choice(["carbon", "glued", "face-down", "tracing"]),
        default="carbon",
        show_default=True,
        help="How the guide comes onto the block.",
    ),
    click.option("--paper", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True, help="Of the guide."),
    click.option("--pale-guide", is_flag=True, help="Draw the guide pale, to save ink."),
    click.option(
        "--dxf",
        type=click.Choice(["R2000", "R12"]),
        default="R2000",
        show_default=True,
        help="Release of the DXF files.",
    ),
)

#: Where the files go and how they are written.
output = _all(
    plain_output,
    click.option("--width-map", is_flag=True, help="Draw a picture of how wide the land is, too."),
)


def paths() -> Callable[[Any], Any]:
    """Options for every choice about toolpaths."""
    from carvegen.parameters import parameters
    from carvegen.toolpaths.settings import CLEARED, LOWERED, MOST_STEPS, PathSettings

    usual = PathSettings()
    given = [
        click.option(
            "--paths/--no-paths", default=True, show_default=True, help="Write what the machine follows, too."
        ),
        click.option(
            "--lowered",
            type=click.Choice(LOWERED),
            default=usual.lowered,
            show_default=True,
            help="Laser: how areas are lowered: shapes that the operator's own program fills, lines, or contours.",
        ),
        click.option(
            "--shoulder-steps",
            type=click.IntRange(0, MOST_STEPS),
            default=usual.shoulder_steps,
            show_default=True,
            help="Laser: steps beside the land that leave its wall sloped; 0: none.",
        ),
        click.option(
            "--cleared",
            type=click.Choice(CLEARED),
            default=usual.cleared,
            show_default=True,
            help="Router: how the floor is cleared: in rings from the inside out, or in lines to and fro.",
        ),
        click.option(
            "--also-cutter",
            "also_cutters",
            multiple=True,
            metavar="NAME",
            help="Router: a further cutter, such as a wide one that clears before; may be given more than once.",
        ),
        click.option(
            "--no-go",
            multiple=True,
            metavar="SHAPE",
            help='Where a clamp lies and nothing may go, seen as in the print: "box X Y W H" or FILE; more than once.',
        ),
    ]
    for its in parameters(PathSettings):
        text = f"{its.help[0].upper()}{its.help[1:]}."
        if its.unit == "flag":
            both = f"{its.option}/--no-{its.option[2:]}" if its.default else its.option
            given.append(click.option(both, its.name, is_flag=True, default=bool(its.default), help=text))
        else:
            shown = f"{its.default:g}"
            given.append(
                click.option(its.option, its.name, default=shown, show_default=True, help=text, **read_as(its.unit))
            )
    return _all(*given)


def path_settings(given: Mapping[str, Any]) -> PathSettings | None:
    """What is chosen about toolpaths; None where none are wanted.

    `given` holds the block's `size` too, for shapes that are placed on it.
    """
    from dataclasses import fields

    from carvegen import geometry
    from carvegen.toolpaths.settings import PathSettings

    if not given["paths"]:
        return None
    shelf = library(given["folders"])
    plain = {spec.name: given[spec.name] for spec in fields(PathSettings)}
    plain["also_cutters"] = tuple(shelf.cutter(name) for name in given["also_cutters"])
    plain["no_go"] = geometry.stack(placed(text, given) for text in given["no_go"])
    return PathSettings(**plain)


#: ``--mend``, for commands that make a block.
mending = click.option("--mend", is_flag=True, help="Mend the cuts where a limit breaks, and show what was changed.")

#: How a drawing is read: passes `view` and `units`.
drawing = _all(
    click.option(
        "--view",
        type=click.Choice(["print", "block"]),
        help="From which side the drawing shows the block: as the paper will show it, or mirrored, as the block lies.  "
        "[default: what the file says of itself, or else print]",
    ),
    click.option(
        "--units",
        type=click.Choice(["mm", "cm", "in", "pt"]),
        help="What a number in the file means, if it does not say.",
    ),
)


def motif(name: str, *, presets: str) -> Callable[[Any], Any]:
    """Options for every setting of a motif, and one named `presets` for its presets."""
    from carvegen.motifs import motif as module_of
    from carvegen.parameters import parameters

    known = module_of(name)
    given = [
        click.option(
            f"--{presets}",
            "preset",
            type=click.Choice(list(known.PRESETS)),
            default=next(iter(known.PRESETS)),
            show_default=True,
            help="Where the settings below start from.",
        )
    ]
    given += [
        click.option(
            setting.option,
            setting.name,
            help=f"{setting.help[0].upper()}{setting.help[1:]}.",
            **read_as(setting.unit),
        )
        for setting in parameters(known.Settings)
    ]
    return _all(*given)


def read_as(unit: str) -> dict[str, Any]:
    """How a declared setting of a unit is read from the command line."""
    if unit == "flag":
        return {"is_flag": True, "default": None}
    return {"type": {"mm": _LENGTH, "deg": _ANGLE}.get(unit, click.FLOAT)}


def motif_settings(name: str, given: Mapping[str, Any]) -> Any:  # noqa: ANN401
    """The motif's settings from its preset and the options given."""
    from carvegen.motifs import motif as module_of
    from carvegen.parameters import parameters

    module = module_of(name)
    own = {its.name: given[its.name] for its in parameters(module.Settings) if given[its.name] is not None}
    return module.Settings(**{**module.PRESETS[given["preset"]], **own})


def setups(given: Mapping[str, Any]) -> tuple[Setup, ...]:
    """The setups for which files are wanted, the named cutter's first."""
    from carvegen.facts.printing import Printing
    from carvegen.job import setups_for

    return setups_for(
        library(given["folders"]),
        material=given["material"],
        cutter=given["cutter"],
        machines=given["machines"],
        kinds=given.get("kinds", ()),
        thickness_mm=given["thickness"],
        depth_mm=given["depth"],
        grain_deg=given["grain"],
        lean_deg=given["lean"],
        declared=given["declared"],
        printing=Printing(roller_radius_mm=given["roller_radius"], feel=given["feel"]),
    )


def ground(name: str, given: Mapping[str, Any], *, sources: Sequence[str] = ()) -> Ground:
    """The face with what is kept clear and cut out, and what the motif grows from, read from the drawings."""
    from carvegen import geometry
    from carvegen.artwork.density import density_of
    from carvegen.making import Ground

    width, height = given["size"]
    shapes = {option: [placed(text, given) for text in given[option]] for option in ("keep_clear", "opening")}
    return Ground(
        name=name,
        width_mm=width,
        height_mm=height,
        keep_clear=geometry.stack(shapes["keep_clear"]),
        openings=geometry.stack(shapes["opening"]),
        grow_from=geometry.stack(placed(text, given) for text in sources),
        density=density_of(given["mask"], width_mm=width, height_mm=height) if given["mask"] else None,
        prints=given["prints"],
        margin_mm=given["margin"],
        clearance_mm=given["clearance"],
    )


def placed(text: str, given: Mapping[str, Any]) -> PolygonArray:
    """The shapes that lie on the block; what was changed on the way is told, or kept for JSON."""
    from carvegen.artwork.place import place

    width, height = given["size"]
    found = place(text, width_mm=width, height_mm=height)
    keep_notes([f"{text}: {note}" for note in found.notes])
    keep_notes([f"{text}: {warning}" for warning in found.warnings], mark="WARNING")
    return found.shapes


def keep_notes(notes: Sequence[str], *, mark: str = "") -> None:
    """Tell what was understood of a drawing, and keep it for the note, the summary and JSON."""
    context = click.get_current_context()
    context.meta.setdefault(_NOTES, []).extend(f"{mark}: {note}" if mark else note for note in notes)
    for note in () if context.params.get("as_json") else notes:
        click.echo(f"{mark}: {note}" if mark else f"… note: {note}", err=True)


def view(given: Mapping[str, Any]) -> View | None:
    """From which side a drawing is said to show the block; None if the file is to say it."""
    from carvegen.writers.views import View

    return View(given["view"]) if given["view"] else None


def style(given: Mapping[str, Any], *, mend: bool = False) -> Style:
    """How the files are written."""
    from carvegen.delivery import Style

    return Style(
        transfer=given["transfer"],
        paper=given["paper"],
        pale_guide=given["pale_guide"],
        dxf=given["dxf"],
        mend=mend or given.get("mend", False),
        width_map=given["width_map"],
        paths=path_settings(given),
        notes=tuple(click.get_current_context().meta.get(_NOTES, ())),
    )


def library(folders: Sequence[Path] = ()) -> Library:
    """The shipped profiles, those in the user's own configuration folder, and those in `folders`."""
    import platformdirs

    from carvegen.facts.profiles import Library

    own = platformdirs.user_config_path("carvegen") / "profiles"
    return Library([own, *folders] if own.is_dir() else folders)


def teller(*, quiet: bool) -> Callable[[str], None]:
    """What tells of each stage, on the error stream so that output stays clean."""
    meta = click.get_current_context().meta
    if quiet or meta.get("carvegen.quiet"):
        return lambda _: None
    if meta.get("carvegen.verbose"):
        return _Timed()
    return lambda stage: click.echo(f"… {stage}", err=True)


class _Timed:
    """Tells of each stage as it begins, with the time that has passed since the command did."""

    def __init__(self) -> None:
        self.began = time.monotonic()

    def __call__(self, stage: str) -> None:
        click.echo(f"… {time.monotonic() - self.began:6.1f} s  {stage}", err=True)


def check_picture(picture: Path | None, file: Path) -> None:
    """Refuse a picture of no known kind, or one that would overwrite the drawing."""
    if picture is None:
        return
    if picture.suffix.lower() not in (".png", ".svg"):
        raise InputError("must end in .png or .svg", value=str(picture), where="--picture")
    if picture.resolve() == file.resolve():
        raise InputError("must not overwrite the drawing", value=str(picture), where="--picture")


def kinds_of(machines: Sequence[str], folders: Sequence[Path]) -> list[str]:
    """The kinds of the machines that were named."""
    shelf = library(folders)
    return [shelf.machine(key).kind for key in machines]


def figures(block: Block) -> dict[str, float]:
    """How much of a block is cut, for JSON."""
    return {"shapes": len(block.cuts), "cut_outs": len(block.cut_outs), "white_share": round(block.white_share, 4)}


def summary(block: Block) -> str:
    """How much of a block is cut, in a line."""
    size = f"{block.width_mm:g} × {block.height_mm:g} mm"
    return f"{len(block.cuts) + len(block.cut_outs)} shapes on {size}; {block.white_share:.1%} is white."


def _mending(delivery: Delivery) -> str:
    """What was mended, by kind, and how much white it made or took."""
    counts = Counter(change.what for change in delivery.changes)
    white = sum(change.white_mm2 for change in delivery.changes)
    words = ", ".join(f"{count} {what}" for what, count in sorted(counts.items()))
    return f"Mended: {words}; {white:+.1f} mm² of white (see changes.png)."


def finish(delivery: Delivery, out: Path, *, as_json: bool) -> int:
    """Say what was written, what was found and what to look at first; the exit code."""
    block, code = delivery.block, int(any(report.breaks for report in delivery.reports.values()))
    if as_json:
        click.echo(json.dumps({"out": str(out), **figures(block), **delivery.to_dict()}, indent=1))
        return code
    from carvegen.writers.table import findings_table

    click.echo(summary(block))
    for note in (note for note in delivery.notes if note.startswith("WARNING")):
        click.echo(note)
    if len(block.cuts) == 0:
        click.echo("NOTHING IS CUT: no shape fits or holds here. Try another preset, finer limits or other places.")
    if delivery.changes:
        click.echo(_mending(delivery))
    for kind, report in delivery.reports.items():
        click.echo(f"\nFor {'cutting by hand' if kind == 'hand' else f'the {kind}'}:")
        click.echo(findings_table(report))
    for question in delivery.open_questions:
        click.echo(f"\nASK FIRST: {question}")
    click.echo(f"\nWritten to {out}:")
    width = max(map(len, delivery.files))
    for name, purpose in delivery.files.items():
        click.echo(f"  {name.ljust(width)}  {purpose}")
    return code
