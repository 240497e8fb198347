"""A profile's tables to a material, cutter or machine: what its values must say about one another."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from carvegen.base.words import nearest
from carvegen.facts.cautions import caution, cautions, deference, is_key
from carvegen.facts.composition import ban, statement, substances, workable
from carvegen.facts.profile_reader import ProfileTable, Range
from carvegen.facts.profiles.profile_values import (
    BEAM_RANGES,
    BED_RANGES,
    COLOUR_RANGE,
    CUTTER_RANGES,
    FLUTES_RANGE,
    FORM_RANGES,
    HAND_RANGES,
    KERF_RANGES,
    KINDS,
    MATERIAL_RANGES,
    ORIGINS,
    PACE_RANGES,
    PAPER_RANGES,
    SERVES,
    SLENDER_RANGES,
    TURNING,
    Cutter,
    Machine,
    Material,
    Paper,
    Permit,
    Verdict,
)
from carvegen.facts.sources import cited

__all__ = ["cutter", "keep_kind", "keep_never", "keep_safe", "machine", "material", "paper"]

_SLACK_MM = 1e-9  #: for sums of decimal fractions


def material(sheet: ProfileTable, key: str) -> Material:
    """The material on a sheet; worth nothing if the sheet then has faults."""
    name, about = sheet.text("name"), sheet.text("about")
    grain, composition = sheet.text("grain", among=("none", "side")), sheet.text("composition")
    serves = sheet.text("serves", among=SERVES) if "serves" in sheet.left else SERVES[0]
    table = sheet.table("values")
    own = {name: allowed for group in (SLENDER_RANGES, HAND_RANGES) if set(group) & set(table.left)
           for name, allowed in group.items()}  # fmt: skip
    values, sources = _figures(table, {**MATERIAL_RANGES, **own})
    table.close(also=(*SLENDER_RANGES, *HAND_RANGES))
    permits = {kind: _permit(sheet.table(kind)) for kind in KINDS}
    sheet.close()
    if not sheet.faults:
        _check_material(sheet, grain, values)
        _check_hand(sheet, values)
    return Material(
        key=key, name=name, about=about, grain=grain, composition=composition, serves=serves,
        permits=permits, sources=sources | {kind: permit.source for kind, permit in permits.items()},
        **{field: values.get(field, 0.0) for field in (*MATERIAL_RANGES, *own)},
    )  # fmt: skip


def _figures(table: ProfileTable, ranges: Mapping[str, Range]) -> tuple[dict[str, float], dict[str, str]]:
    """The values and the source of each as it is told."""
    values, sources = table.figures(ranges)
    return values, {name: cited(source) for name, source in sources.items()}


def _cautions(table: ProfileTable) -> tuple[str, ...]:
    """The cautions of a list: those named by key as they are told, those in words as they stand."""
    texts = table.texts("cautions")
    for text in texts:
        if is_key(text) and text not in cautions():
            hint = nearest(text, cautions())
            table.fault("cautions", "must be a known caution, or a sentence", value=text, hint=hint)
    return tuple(caution(text) for text in texts if not is_key(text) or text in cautions())


def _permit(table: ProfileTable) -> Permit:
    """A verdict that can't be read is *never*."""
    verdict = table.text("verdict", among=[verdict.value for verdict in Verdict])
    permit = Permit(
        verdict=Verdict(verdict or "never"), why=table.text("why"),
        source=cited(table.text("source")), cautions=_cautions(table),
    )  # fmt: skip
    table.close()
    return permit


def _check_material(sheet: ProfileTable, grain: str, values: dict[str, float]) -> None:
    """What the values must say about one another."""
    deepest = values["thickness_mm"] - values["floor_mm"]
    if values["depth_largest_mm"] > deepest + _SLACK_MM:
        rule = f"must lie in 0.1…{deepest:g} mm, so that thickness_mm leaves floor_mm under a cut"
        sheet.fault("values.depth_largest_mm", rule, value=values["depth_largest_mm"])
    if values["depth_usual_mm"] > values["depth_largest_mm"]:
        rule = f"must lie in 0.1…{values['depth_largest_mm']:g} mm, the largest depth"
        sheet.fault("values.depth_usual_mm", rule, value=values["depth_usual_mm"])
    if grain == "none" and values["land_across_mm"] != values["land_along_mm"]:
        rule = f"must be {values['land_along_mm']:g} mm like land_along_mm, as there is no grain"
        hint = 'or write grain = "side"'
        sheet.fault("values.land_across_mm", rule, value=values["land_across_mm"], hint=hint)


def _check_hand(sheet: ProfileTable, values: dict[str, float]) -> None:
    """A quick hand is no slower than a slow one."""
    for slow in (name for name in HAND_RANGES if "_slow_" in name and name in values):
        fast = values[slow.replace("_slow_", "_fast_")]
        if values[slow] > fast:
            sheet.fault(f"values.{slow}", f"must not be above the quick hand's, {fast:g}", value=values[slow])


def keep_safe(sheet: ProfileTable, mine: Material) -> None:
    """A user's file allows a machine only what is not banned for it, and a laser only a substance known as workable.

    Its file's name and its name are read for bans like its composition.
    """
    for kind, permit in mine.permits.items():
        if permit.verdict is Verdict.NEVER:
            continue
        for called, text in (("file's name", mine.key), ("name", mine.name), ("composition", mine.composition)):
            banned = ban(text, kind)
            if banned:
                sheet.fault(
                    f"{kind}.verdict", f'must be never for a {called} with "{banned.word}": {banned.why}',
                    value=permit.verdict.value, hint="say what the material is made of, not what it is free of",
                )  # fmt: skip
                return
    if mine.composition and mine.permits["laser"].verdict is not Verdict.NEVER and not workable(mine.composition):
        declared = statement(mine.composition, tuple(substances().values()))
        rest = f'"{" ".join(declared.strange)}"' if declared.strange else "a composition that names no substance"
        sheet.fault(
            "laser.verdict", f"must be never for {rest}: not among the substances known as workable by a laser",
            value=mine.permits["laser"].verdict.value,
            hint=f"write a composition of these and of nothing else: {', '.join(sorted(substances()))}",
        )  # fmt: skip


def keep_never(sheet: ProfileTable, mine: Material, original: Material) -> None:
    """A user's file can't allow what the shipped file of its name says is never."""
    for kind, permit in original.permits.items():
        if permit.verdict is Verdict.NEVER and mine.permits[kind].verdict is not Verdict.NEVER:
            sheet.fault(
                f"{kind}.verdict", f"must stay never, as in the profile that it replaces: {permit.why}",
                value=mine.permits[kind].verdict.value,
                hint="for another material write a file of another name",
            )  # fmt: skip


def keep_kind(sheet: ProfileTable, what: str, mine: str, original: str) -> None:
    """A user's file can't call something else what the shipped file of its name calls a laser, nor the reverse."""
    if (mine == "laser") != (original == "laser"):
        sheet.fault(
            what, f"must stay {original}, as in the profile that it replaces", value=mine,
            hint="for another one write a file of another name",
        )  # fmt: skip


def cutter(sheet: ProfileTable, key: str) -> Cutter:
    """The cutter on a sheet; worth nothing if the sheet then has faults."""
    name, about = sheet.text("name"), sheet.text("about")
    form = sheet.text("form", among=tuple(FORM_RANGES))
    machines = sheet.texts("machines", among=KINDS)
    table = sheet.table("values")
    own = _own_ranges(form, table.left)
    values, sources = _figures(table, {**CUTTER_RANGES, **own})
    if form:
        table.close()
    sheet.close()
    _check_beam(sheet, form, machines)
    return Cutter(
        key=key, name=name, about=about, form=form, machines=machines, sources=sources,
        values={field: value for field, value in values.items() if field in own},
        **{field: values.get(field, 0.0) for field in CUTTER_RANGES},
    )  # fmt: skip


def paper(sheet: ProfileTable, key: str) -> Paper:
    """The paper on a sheet; worth nothing if the sheet then has faults."""
    name, about = sheet.text("name"), sheet.text("about")
    table = sheet.table("values")
    values, sources = table.figures(PAPER_RANGES)
    table.close()
    sheet.close()
    return Paper(
        key=key, name=name, about=about, sources=sources, **{field: values.get(field, 0.0) for field in PAPER_RANGES}
    )


def _check_beam(sheet: ProfileTable, form: str, machines: Sequence[str]) -> None:
    """A beam goes into lasers only, and nothing else does: what is asked of a laser is asked of every beam."""
    if form and any((kind == "laser") != (form == "laser") for kind in machines):
        rule = 'must be ["laser"] for a laser' if form == "laser" else "must not hold laser: that is for form laser"
        sheet.fault("machines", rule, value=", ".join(machines))


def _own_ranges(form: str, names: Sequence[str]) -> dict[str, Range]:
    """The form's own values that the file must have: of a laser, the whole of each group that it begins.

    How many flutes a turning cutter has, it may say or not.
    """
    if form != "laser":
        flutes = {"flutes": FLUTES_RANGE} if "flutes" in names and form in TURNING else {}
        return dict(FORM_RANGES.get(form, {})) | flutes
    begun = [group for group in (KERF_RANGES, BEAM_RANGES) if set(group) & set(names)]
    return {name: allowed for group in begun or [KERF_RANGES] for name, allowed in group.items()}


def machine(sheet: ProfileTable, key: str) -> Machine:
    """The machine on a sheet; worth nothing if the sheet then has faults."""
    name, about = sheet.text("name"), sheet.text("about")
    kind, units = sheet.text("kind", among=KINDS), sheet.text("units", among=("mm", "in"))
    curves, usual_cutter = sheet.flag("curves"), sheet.text("usual_cutter")
    straight = sheet.text("usual_straight_cutter") if "usual_straight_cutter" in sheet.left else ""
    origin = sheet.text("origin", among=ORIGINS) if "origin" in sheet.left else "lower-left"
    table = sheet.table("values", optional=kind == "hand")
    paces = PACE_RANGES.get(kind, {})
    own_paces = {name: allowed for name, allowed in paces.items() if name in table.left}
    values, sources = _figures(table, {**({} if kind == "hand" else BED_RANGES), **own_paces})
    table.close(also=paces)
    _check_spindle(sheet, values)
    colours = sheet.table("layer_colours", optional=True).whole_numbers(COLOUR_RANGE)
    own = _cautions(sheet)
    first = (deference(kind),) if kind else ()
    sheet.close()
    return Machine(
        key=key, name=name, about=about, kind=kind, units=units, curves=curves, usual_cutter=usual_cutter,
        usual_straight_cutter=straight,
        bed_width_mm=values.get("bed_width_mm"), bed_height_mm=values.get("bed_height_mm"),
        layer_colours=colours, cautions=tuple(dict.fromkeys((*first, *own))), sources=sources, origin=origin,
        **{name: values[name] for name in own_paces},
    )  # fmt: skip


def _check_spindle(sheet: ProfileTable, values: dict[str, float]) -> None:
    least, most = values.get("spindle_least_rpm", 0.0), values.get("spindle_most_rpm", float("inf"))
    if least > most:
        sheet.fault("values.spindle_least_rpm", f"must not be above spindle_most_rpm, {most:g} rpm", value=least)
