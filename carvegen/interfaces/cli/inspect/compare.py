"""``carvegen compare``: what differs between two builds, two blocks, or a block and a scan of it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from carvegen.base.errors import InputError
from carvegen.base.words import shortened
from carvegen.interfaces.cli import options

if TYPE_CHECKING:
    from carvegen.blocks.comparison import Difference
    from carvegen.delivery.first_proof import Proof

__all__ = ["command"]

_TIMES = (0.42, 0.42, 0.16)  #: shares of the time, measured on drawings of 20,000 flakes: A and B are read, compared


@click.command(name="compare")
@click.argument("before", metavar="A", type=click.Path(path_type=Path))
@click.argument("after", metavar="B", type=click.Path(path_type=Path))
@click.option("--block", help="One block only, where A or B is a folder that build has written.")
@options.ink_options
@click.option("--view", type=options.OneOf(["print", "block"]), help="From which side B shows the block.")
@click.option("--corners", help="Scan: the block's corners in pixels, if the drawing itself does not show its place.")
@click.option("--dpi", type=float, help="Scan: its dots per inch.  [default: what the file says]")
@options.true_size
@click.option("--tolerance", type=float, default=None, help="Differences narrower than twice this are left out, in mm."
              "  [default: 0.01; 0.3 for a scan]")  # fmt: skip
@click.option("-o", "--picture", metavar="FILE", type=click.Path(path_type=Path), help="Draw what differs: a .png.")
@click.option(
    "--sheet", metavar="FILE", type=click.Path(path_type=Path), help="Scan: what is still to cut at 1:1: a .pdf."
)
@options.as_json
def command(
    before: Path, after: Path, picture: Path | None, sheet: Path | None, as_json: bool, **args: Any  # noqa: ANN401
) -> int:  # fmt: skip
    """Say what differs from A to B: newly cut, newly land, how much and where.

    A and B are folders that build has written, lands or machine files of one block, or a scan or photograph of a
    proof or a block. A scan is laid on the plan by the drawing itself; what differs is ringed on it: still to cut,
    cut too much, in no plan; of a finished print, with --print, block by block. Exit code 1 if anything differs.

    \b
    carvegen compare built-monday built-today
    carvegen compare built proof.jpg --sheet to-cut.pdf
    carvegen compare built print.jpg --print print.toml
    """
    if picture is not None and picture.suffix.lower() != ".png":
        raise InputError("must end in .png", value=str(picture), where="--picture")
    if sheet is not None and sheet.suffix.lower() != ".pdf":
        raise InputError("must end in .pdf", value=str(sheet), where="--sheet")
    options.teller(quiet=as_json, stage="comparing")  # loading what compares is part of the time
    from carvegen.artwork.kinds import is_picture
    from carvegen.base.files import save_file
    from carvegen.base.progress import each_part
    from carvegen.blocks.comparison import difference, is_cut
    from carvegen.delivery.first_proof import first_proof
    from carvegen.writers.whole_print.compare_png import compare_png

    args |= options.inks_of(args.pop("inks"), args.pop("print_file"))
    if args.get("inks") and not (args.get("coats") and is_picture(before) is not is_picture(after)):
        raise InputError("are for a scan of a print and its plan, each with its colour", where="--inks",
                         hint="give --print PRINT.toml")  # fmt: skip
    if is_picture(before) is not is_picture(after):
        plan, seen = (after, before) if is_picture(before) else (before, after)
        proof = first_proof(plan, seen, picture, sheet, args)
        if proof is not None:
            return _say_proof(proof, as_json=as_json)
        options.tell_notes(["too little is drawn on the plan to lay the scan on it: its page or corners are followed"])
    reading, reading_other, comparing = each_part(_TIMES)
    with reading:
        one = _lands(before, {**args, "view": None})
    with reading_other:
        other = _lands(after, args)
    if len(one) == 1 and len(other) == 1:
        (name, land), (_, second) = *one.items(), *other.items()
        one, other = {name: land}, {name: second}
    elif args["block"]:
        one, other = ({name: land for name, land in lands.items() if name == args["block"]} for lands in (one, other))
    tolerance = _tolerance(args["tolerance"], before, after)
    both = [name for name in one if name in other]
    result = list[Any]()
    with comparing:
        for name, differing in zip(both, each_part([1.0] * len(both)), strict=True):
            with differing:
                result.append(difference(name, one[name], other[name], tolerance))
    lost, new = sorted(one.keys() - other.keys()), sorted(other.keys() - one.keys())
    if picture is not None:
        shown = [change for change in result if change.any] or result
        save_file(picture, compare_png([(_common(change), change.cut, change.land) for change in shown]))
    blocks = [{**change.to_dict(), "cut": is_cut(before, change.name)} for change in result]
    record = {"tolerance_mm": tolerance, "blocks": blocks, "only_in_a": lost, "only_in_b": new}
    click.echo(json.dumps(record, indent=1)) if as_json else _say(record)
    if picture is not None:
        options.look_first(picture)
    return int(any(change.any for change in result) or bool(lost or new))


def _say_proof(proof: Proof, *, as_json: bool) -> int:
    if as_json:
        click.echo(json.dumps(proof.to_dict(), indent=1))
    else:
        for line in proof.lines():
            click.echo(line)
        options.look_first(proof.picture)
    return int(bool(proof.spots))


def _lands(path: Path, args: dict[str, Any]) -> dict[str, Any]:
    from carvegen.artwork import scan
    from carvegen.blocks.comparison import land_in, lands_in

    if path.is_dir():
        result = lands_in(path)
        wanted = args["block"]
        if wanted and wanted not in result:
            raise InputError("has no such block", value=wanted, where=str(path), hint=f"known: {', '.join(result)}")
        return {wanted: result[wanted]} if wanted else result
    scale = {"dpi": args["dpi"], "size_mm": args["size_mm"]}
    scale["corners"] = scan.corners_from(args["corners"]) if args["corners"] else None
    kept = {name: value for name, value in scale.items() if value is not None}
    return {shortened(path.stem, 60): land_in(path, view=options.view(args), scan=kept)}


def _tolerance(asked_mm: float | None, *paths: Path) -> float:
    from carvegen.artwork.kinds import is_picture

    if asked_mm is not None and not 0 < asked_mm <= 20:
        raise InputError("must lie above 0 and up to 20 mm", value=asked_mm, where="--tolerance")
    return asked_mm or (0.3 if any(map(is_picture, paths)) else 0.01)


def _common(difference: Difference) -> Any:  # noqa: ANN401
    import shapely

    return shapely.intersection(difference.before, difference.after)


def _can_still_be(*, cut: bool, comes_back: bool) -> str:
    """What the difference means for the block of A."""
    if not cut:
        return "A is a plan: if nothing is cut yet, cut B" + "; if A is, it needs a new block" * comes_back
    return "land can't be put back: a new block" if comes_back else "it can be cut on"


def _say(record: dict[str, Any]) -> None:
    for block in record["blocks"]:
        if not block["differs"]:
            click.echo(f"{block['block']}: the same, within {record['tolerance_mm']:g} mm")
            continue
        areas = f"{block['newly_cut_mm2']:.2f} mm² newly cut, {block['newly_land_mm2']:.2f} mm² newly land"
        so = _can_still_be(cut=block["cut"], comes_back=block["newly_land_mm2"] > 0)
        click.echo(f"{block['block']}: {areas}; {so}")
        for place in block["places"]:
            x, y = place["at_mm"]
            click.echo(f"  newly {place['newly']}: {place['area_mm2']:.2f} mm² at x {x:.1f}, y {y:.1f} mm")
    for words, names in (("only in A", record["only_in_a"]), ("only in B", record["only_in_b"])):
        for name in names:
            click.echo(f"{name}: {words}")
