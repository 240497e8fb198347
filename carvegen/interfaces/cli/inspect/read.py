"""``carvegen read``: what is understood of a drawing or a scan, and clean outlines of it."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from carvegen.base.errors import InputError
from carvegen.base.words import shortened
from carvegen.interfaces.cli import options

if TYPE_CHECKING:
    from carvegen.artwork import Artwork
    from carvegen.base.colour import Ink

__all__ = ["command"]

_PLACED = frozenset({
    "block", "corners", "size_mm", "dpi", "view", "points", "width_mm", "bar_mm", "tilt_deg", "deskew"
})  # fmt: skip
_MOST_NAMES = 12  #: of groups inside a layer
_LAID_TIME, _READ_TIME = 0.7, 0.95  #: shares of the time when a scan is laid on its plan, and read there; measured
_CELL = 60  #: letters of a layer's name in the table


def _scan_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """An option for each declared setting of a scan."""
    from carvegen.artwork.scan.description import ScanOptions
    from carvegen.base.parameters import parameters
    from carvegen.interfaces.cli.options.option_values import option_of

    for setting in reversed(parameters(ScanOptions)):
        switched_off = setting.unit == "flag" and setting.default
        words = f"{'Do not ' if switched_off else ''}{setting.help}."
        function = click.option(
            f"--no-{setting.name}" if switched_off else option_of(setting.name),
            setting.name,
            help=words[0].upper() + words[1:] + _default(setting),
            **(
                {"is_flag": True, "flag_value": not setting.default, "default": None}
                if setting.unit == "flag"
                else options.read_as(setting)
            ),
        )(function)
    return function


def _default(setting: Any) -> str:  # noqa: ANN401
    return "" if setting.unit == "flag" or not setting.default else f"  [default: {setting.default:g}]"


@click.command(name="read")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "-o", "--out", metavar="FILE", type=click.Path(path_type=Path), help="Write clean outlines: .svg or .dxf."
)
@click.option(
    "--picture", metavar="FILE", type=click.Path(path_type=Path), help="Draw what was understood: a file in .png."
)
@options.units
@click.option("--outlines", is_flag=True, help="A thin closed line in a drawing stands for the shape that it encloses.")
@click.option("--dpi", type=float, help="Scan: its dots per inch.  [default: what the file says]")
@click.option(
    "--points",
    type=options.Read("POINTS", "points_from", "artwork.scan"),
    help='Scan: two points, in pixels, that lie a known length apart: "120 80 1301 80 = 100mm".',
)
@options.corners
@options.true_size
@click.option(
    "--onto",
    metavar="PLAN",
    type=click.Path(path_type=Path),
    help="Scan: laid by the drawing itself on a plan: a folder of a build, a land or a block's machine file.",
)
@click.option("--block", help="With --onto: the block that the scan shows, if the plan has several.")
@options.ink_options
@click.option(
    "--view", type=options.OneOf(["print", "block"]), help="Scan: of a print or tracing, or of the block itself."
)
@_scan_options
@options.as_json
def command(file: Path, out: Path | None, picture: Path | None, as_json: bool, **settings: Any) -> int:  # noqa: ANN401
    """Show what is understood of a drawing (SVG, DXF) or a scan (PNG, JPEG, TIFF, WebP, HEIC): size, layers, shapes.

    A scan's dark parts are traced at true size; everything that was assumed or changed is noted. Exit
    code 1 if it is not sure everywhere what lies there: these places are on the layer FINDING.

    \b
    carvegen read jetty.tif --inks key,tone,ground -o jetty.svg --picture seen.png
    """
    _check_targets(file, out, picture)
    options.teller(quiet=as_json, stage="reading")  # loading the reader is part of the time
    from carvegen.artwork import read
    from carvegen.artwork.kinds import is_picture
    from carvegen.artwork.scan import ScanOptions, read_scan
    from carvegen.artwork.scan.planes import UNSURE

    units, outlines, onto, block = (settings.pop(name) for name in ("units", "outlines", "onto", "block"))
    settings |= options.inks_of(settings.pop("inks"), settings.pop("print_file"))
    chosen = {name: value for name, value in settings.items() if value is not None}
    if onto is not None:
        artwork, chosen = _on_plan(file, onto, picture, {**settings, "block": block})
    elif chosen or is_picture(file):
        artwork = options.by_corners(file, chosen) if "size_mm" in chosen else read_scan(file, ScanOptions(**chosen))
    else:
        from carvegen.blocks.layer_names import NOTES

        artwork = _as_it_prints(read(file, units=units, outlines=outlines or None, without=(NOTES,)))
    coats = dict(zip(chosen["inks"], chosen["coats"], strict=True)) if chosen.get("coats") else {}
    _write(artwork, file, out, picture, coats)
    (_say_json if as_json else _say)(artwork)
    shown = picture or out
    if shown is not None:
        options.look_first(shown)
    return int(UNSURE in artwork.layers and is_picture(file))


def _as_it_prints(artwork: Artwork) -> Artwork:
    """A drawing in print view: one that says of itself that it shows the block as it lies is mirrored."""
    from dataclasses import replace

    import shapely

    from carvegen import geometry

    shapes = artwork.shapes
    if artwork.says_view != "block" or not len(shapes):
        return artwork
    left, _, right, _ = shapely.total_bounds(shapes).tolist()
    width = left + right if artwork.width_mm is None else artwork.width_mm
    layers = {name: geometry.mirrored(each, width) for name, each in artwork.layers.items()}
    return replace(artwork, layers=layers)


def _on_plan(file: Path, onto: Path, picture: Path | None, settings: dict[str, Any]) -> tuple[Artwork, dict[str, Any]]:
    """What a scan shows, laid on a plan, and the settings by which it is read: with inks that its build tells."""
    from dataclasses import replace

    from carvegen import geometry
    from carvegen.artwork.on_plan import InkSeen, covered, read_laid
    from carvegen.artwork.scan import ScanOptions
    from carvegen.artwork.scan.planes import UNSURE
    from carvegen.base.progress import part
    from carvegen.delivery.first_proof import cover_words, large_differences, side_words
    from carvegen.delivery.laid_on_plan import PRINT, laid_file, planned_in

    planned = planned_in(onto, settings)
    drawn = picture or Path(f"{file.stem}-on-plan.png")
    with part(0, _LAID_TIME):
        match = laid_file(file, planned, drawn, settings)
    if match is None:
        raise InputError(
            "has too little drawn on it to lay a scan there", where=str(onto),
            hint="leave --onto out, and give --corners and --size, or --dpi",
        )  # fmt: skip
    name, laid, notes = match
    if name == PRINT:
        settings = {**settings, "paper": planned.paper}
        settings |= {"inks": tuple(planned.coats), "coats": tuple(planned.coats.values())}
    used = {key: value for key, value in settings.items() if value is not None and key not in _PLACED}
    with part(_LAID_TIME, _READ_TIME):
        artwork = read_laid(laid, ScanOptions(**used))
    if planned.only and name == PRINT:
        layers = {layer: shapes for layer, shapes in artwork.layers.items() if layer in (planned.only, UNSURE)}
        artwork = replace(artwork, layers=layers)
    if len(artwork.layers) == 1 and name != PRINT:
        ((layer, shapes),) = artwork.layers.items()
        seen = InkSeen(land=geometry.union(shapes), hidden=covered(laid))
        if not seen.hidden.is_empty:
            land = seen.as_planned_where_hidden(planned.lands[name])
            artwork = replace(artwork, layers={layer: geometry.parts(land), UNSURE: geometry.parts(seen.hidden)})
        notes += cover_words(seen.hidden, f"there it is as planned; these parts are on the layer {UNSURE}")
        with part(_READ_TIME, 1):
            notes += large_differences(planned, name, seen)
    placed = f"laid on the plan of {name} by the drawing: {laid.fit.words}; {side_words(laid)}"
    return replace(artwork, notes=(placed, *notes, *artwork.notes)), used


def _check_targets(file: Path, out: Path | None, picture: Path | None) -> None:
    for path, where, endings in ((out, "--out", (".svg", ".dxf")), (picture, "--picture", (".png",))):
        if path is not None and path.suffix.lower() not in endings:
            raise InputError(f"must end in {' or '.join(endings)}", value=str(path), where=where)
        if path is not None and path.resolve() == file.resolve():
            raise InputError("must not overwrite the file that is read", value=str(path), where=where)


def _write(
    artwork: Artwork, file: Path, out: Path | None, picture: Path | None, coats: dict[str, Ink]
) -> None:  # fmt: skip
    from carvegen.base.files import save_file
    from carvegen.writers.block import clean_artwork

    if out is None and picture is None:
        return
    size = clean_artwork.page_size(artwork.layers, artwork.width_mm, artwork.height_mm)
    if out is not None:
        if not artwork.true_size:
            raise InputError(
                "does not say how large it is", where=str(file), hint="say what its numbers mean: --units mm"
            )
        dxf = out.suffix.lower() == ".dxf"
        save_file(
            out,
            clean_artwork.artwork_dxf(artwork.layers, size, known_mm=artwork.known_mm)
            if dxf
            else clean_artwork.artwork_svg(artwork.layers, size, file.name, known_mm=artwork.known_mm),
        )
    if picture is not None:
        save_file(picture, clean_artwork.artwork_png(artwork.layers, size, coats=coats))


def _figures(artwork: Artwork) -> list[dict[str, Any]]:
    """How many shapes a layer has, and their area, holes and points."""
    import shapely

    return [
        {
            "name": name,
            "shapes": len(shapes),
            "holes": int(shapely.get_num_interior_rings(shapes).sum()),
            "points": int(shapely.get_num_coordinates(shapes).sum()),
            "area_mm2": round(float(shapely.area(shapes).sum()), 3),
        }
        for name, shapes in artwork.layers.items()
    ]


def _say_json(artwork: Artwork) -> None:
    record = {
        "width_mm": artwork.width_mm and round(artwork.width_mm, 3),
        "height_mm": artwork.height_mm and round(artwork.height_mm, 3),
        "true_size": artwork.true_size,
        "says_view": artwork.says_view,
        "tolerance_mm": round(artwork.tolerance_mm, 4),
        "layers": _figures(artwork),
        "inside": {name: list(names) for name, names in artwork.inside.items()},
        "notes": list(artwork.notes),
    }
    click.echo(json.dumps(record, indent=1))


def _say(artwork: Artwork) -> None:
    options.tell_notes(artwork.notes)
    if not artwork.true_size:
        click.echo("It says no true size; areas are as if its longer side were 1000 mm.")
    elif artwork.width_mm is None or artwork.height_mm is None:
        click.echo(f"It has no page; {_extent(artwork)}{', print view' * bool(artwork.says_view)}.")
    else:
        click.echo(f"Page {artwork.width_mm:.2f} × {artwork.height_mm:.2f} mm, print view.")
    if artwork.says_view == "block":
        click.echo("The file itself is in BLOCK VIEW, mirrored; here it is turned round, as it prints.")
    click.echo(f"Curves are made of straight pieces, at most {artwork.tolerance_mm:.2g} mm off.")
    rows = [("layer", "shapes", "holes", "points", "area mm²")]
    rows += [tuple(shortened(str(cell), _CELL) for cell in row.values()) for row in _figures(artwork)]  # type: ignore[misc]
    widths = [max(len(row[k]) for row in rows) for k in range(5)]
    for name, *numbers in rows:
        cells = [number.rjust(width) for number, width in zip(numbers, widths[1:], strict=True)]
        click.echo("  ".join([name.ljust(widths[0]), *cells]))
    if artwork.colours:
        inks = [f"{shortened(name, _CELL)} {colour}" for name, colour in artwork.colours.items()]
        click.echo(f"inks: {', '.join(inks[:_MOST_NAMES])}{', …' * (len(inks) > _MOST_NAMES)}")
    for name, names in artwork.inside.items():
        more = f" and {len(names) - _MOST_NAMES} more" if len(names) > _MOST_NAMES else ""
        shown = ", ".join(shortened(name, _CELL) for name in names[:_MOST_NAMES])
        click.echo(f"inside {shortened(name, _CELL)}: {shown}{more}; FILE#NAME takes one of them")


def _extent(artwork: Artwork) -> str:
    """How large what is drawn is, in mm; and in the file's own unit, if that is another."""
    import shapely

    from carvegen.base.units import MM_PER

    left, bottom, right, top = shapely.total_bounds(artwork.shapes).tolist()
    extent = f"what is drawn is {right - left:.1f} × {top - bottom:.1f} mm"
    if artwork.unit_mm in (None, 1.0):
        return extent
    unit = next((name for name, mm in MM_PER.items() if mm == artwork.unit_mm), f"{artwork.unit_mm:g} mm")
    return f"its unit is {unit}: {extent}"
