"""What many tried prints come to: shares, worst cases, the overlap that would hide it, and the places."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from carvegen.base.findings import Finding, Severity
from carvegen.facts.register import METHODS, SEEN_FROM_MM, SEEN_MM, pair_rms_mm, pair_worst_mm
from carvegen.prints.misregister.trials import MEET_MM, STEP_MM

if TYPE_CHECKING:
    from carvegen.facts.register import Method, RegisterPlan
    from carvegen.geometry import Floats
    from carvegen.prints.misregister.block_placement import Inked
    from carvegen.prints.misregister.trials import TrialOutcome

__all__ = ["KINDS", "FaultKind", "figures", "findings", "of_kind", "register_lines", "spots"]


@dataclass(frozen=True, kw_only=True)
class FaultKind:
    """A fault that a register error shows."""

    key: str
    name: str
    between: str
    remedy: str  #: the key of the print file that widens the overlap
    hides: bool  #: whether a wider overlap shows less; a wider cut-back leaves more dark shapes too thin for it


KINDS = (
    FaultKind(key="white_line", name="white line", between="between two inks", remedy="trap_mm", hides=True),
    FaultKind(
        key="ink_on_snow", name="ink on the snow", between="of light ink along the snow", remedy="register_error_mm",
        hides=False,
    ),
)  # fmt: skip
_SELDOM = 0.01  #: places that fail in a smaller share of prints are not told
_DAMP_GROWS = "0.5 to 2 %, common practice, no source"
_SOME = 0.05  #: a share of prints from which on it is a finding
_PLAIN = 1.5  #: a line so many times wider than an eye tells apart is plainly seen; our own choice


def figures(
    outcome: TrialOutcome,
    blocks: Sequence[Inked],
    plan: RegisterPlan,
    long_side_mm: float,
    overlaps_mm: tuple[float, float],
    *,
    bare: Sequence[Mapping[str, Any]] = (),
) -> dict[str, Any]:
    """The figures of an outcome as plain values.

    Parameters
    ----------
    overlaps_mm
        The overlap between inks, and that along the snow, as the print file asks for them.
    bare
        Places where paper is bare unasked before anything moves, as `Finding.to_dict` says them.
    """
    off = plan.off_mm
    wide = [piece for piece in bare if piece["measured"] >= plan.visible_mm]
    return {
        "method": plan.method,
        "tolerance_mm": off,
        "tolerance_written": plan.tolerance_mm is not None,
        "turn_deg": round(plan.off_deg(long_side_mm), 4),
        "spread": plan.spread,
        "paper_stretch_percent": [plan.paper_stretch_along_percent, plan.paper_stretch_across_percent],
        "moisture_change_percent": round(plan.moisture_off_percent, 2),
        "blocks_grow_percent": round(100 * plan.moisture_off_percent * max(max(block.moves) for block in blocks), 2),
        "prints": plan.prints,
        "visible_mm": plan.visible_mm,
        "eye_tells_apart": {"mm": round(SEEN_MM, 3), "from_mm": SEEN_FROM_MM},
        "open_from_the_start": {
            "places": len(wide),
            "line_mm": round(sum(piece["length_mm"] for piece in wide), 1),
            "worst_mm": round(max((piece["measured"] for piece in wide), default=0.0), 2),
        },
        "shift_of_two_blocks_mm": {"worst": pair_worst_mm(off), "rms": round(pair_rms_mm(off / 2), 4)},
        "prints_with_any": round(float(outcome.failed.any(axis=1).mean()), 4),
        **{kind.key: _kind(outcome, blocks, plan, k, overlaps_mm[k]) for k, kind in enumerate(KINDS)},
    }


def _kind(
    outcome: TrialOutcome, blocks: Sequence[Inked], plan: RegisterPlan, kind: int, overlap_mm: float
) -> dict[str, Any]:
    share = float(outcome.failed[:, kind].mean())
    record: dict[str, Any] = {
        "share_of_prints": round(share, 4),
        "give_or_take": round(2 * math.sqrt(max(share * (1 - share), 1 / plan.prints) / plan.prints), 4),
        "worst_mm": 0.0, "overlap_mm": overlap_mm, "overlap_for_99_in_100_mm": None, "overlap_for_all_mm": None,
        "edge_mm": 0.0, "edge_that_fails_mm": 0.0, "edge_with_less_overlap_mm": 0.0, "edge_without_overlap_mm": 0.0,
        "line_a_print": _lines_of(outcome, kind), "places": [],
    }  # fmt: skip
    xy, shares, worst, overlap, pairs = of_kind(outcome, kind)
    if not len(xy):
        return record
    full = overlap >= 0.9 * overlap_mm
    record |= {
        "worst_mm": _up(max(0.0, worst.max())),
        "edge_mm": round(len(xy) * STEP_MM, 1),
        "edge_that_fails_mm": round(float((shares >= _SELDOM).sum()) * STEP_MM, 1),
        "edge_with_less_overlap_mm": round(float((~full).sum()) * STEP_MM, 1),
        "edge_without_overlap_mm": round(float(((overlap <= MEET_MM) & (shares >= _SELDOM)).sum()) * STEP_MM, 1),
        "places": [
            {**_place(xy[k], shares[k], worst[k]), "between": [blocks[number].name for number in pairs[k]]}
            for k in spots(xy, shares)
        ],
    }
    if full.any():
        widest = np.quantile(outcome.widest_mm[:, kind], 0.99)
        record["overlap_for_99_in_100_mm"] = _up(_enough(overlap_mm, float(widest), plan))
        record["overlap_for_all_mm"] = _up(_enough(overlap_mm, float(worst[full].max()), plan))
    return record


def _lines_of(outcome: TrialOutcome, kind: int) -> dict[str, float]:
    """How long and how wide a line the prints show: the mean, what half and 9 in 10 stay below, the mean width."""
    line, area = outcome.line_mm[:, kind], outcome.opened_mm2[:, kind]
    return {
        "mean_mm": round(float(line.mean()), 1),
        "half_below_mm": round(float(np.median(line)), 1),
        "nine_in_ten_below_mm": round(float(np.quantile(line, 0.9)), 1),
        "mean_width_mm": round(float(area.sum() / line.sum()), 2) if line.any() else 0.0,
    }


def _enough(overlap_mm: float, gap_mm: float, plan: RegisterPlan) -> float:
    """The overlap that leaves of a gap no more than can't be seen; what is there, if that will do."""
    return overlap_mm + max(0.0, gap_mm - plan.visible_mm) if math.isfinite(gap_mm) else overlap_mm


def _up(mm: float) -> float:
    """Rounded up to a twentieth of a millimetre: nobody sets more closely."""
    return round(math.ceil(round(mm / 0.05, 6)) * 0.05, 2)


def of_kind(outcome: TrialOutcome, kind: int) -> tuple[Floats, Floats, Floats, Floats, list[tuple[int, int]]]:
    """All places of a kind: where, share of prints, worst gap, overlap, and the numbers of the two blocks."""
    mine = [edge.snow == bool(kind) for edge in outcome.places]
    pairs = [
        (edge.block, int(under)) for edge, own in zip(outcome.places, mine, strict=True) for under in edge.under[own]
    ]
    xy = np.concatenate([edge.xy[own] for edge, own in zip(outcome.places, mine, strict=True)])
    overlap = np.concatenate([edge.overlap_mm[own] for edge, own in zip(outcome.places, mine, strict=True)])
    shares, worst = (
        np.concatenate([values[own] for values, own in zip(each, mine, strict=True)])
        for each in (outcome.share, outcome.worst_mm)
    )
    return xy, shares, worst, overlap, pairs


def spots(xy: Floats, shares: Floats, *, most: int = 3, apart_mm: float = 15.0) -> list[int]:
    """The places that fail most often, no two of them near one another."""
    chosen: list[int] = []
    for k in np.argsort(-shares, kind="stable").tolist():
        if shares[k] < _SELDOM or len(chosen) == most:
            break
        if all(math.dist(xy[k], xy[other]) >= apart_mm for other in chosen):
            chosen.append(k)
    return chosen


def _place(xy: Floats, share: float, worst: float) -> dict[str, Any]:
    return {
        "at_mm": [round(float(xy[0]), 1), round(float(xy[1]), 1)],
        "share_of_prints": round(float(share), 4),
        "worst_mm": round(max(0.0, float(worst)), 2),
    }


def findings(record: dict[str, Any]) -> list[tuple[str, Finding]]:
    """What must be told of a block, with the block's name: faults that some prints will show."""
    faults = []
    for kind in KINDS:
        fault = record[kind.key]
        if fault["share_of_prints"] >= _SOME and fault["places"]:
            first, line = fault["places"][0], fault["line_a_print"]
            faults.append((first["between"][0], Finding(
                rule=kind.key.replace("_", "-"), at=(first["at_mm"][0], first["at_mm"][1]),
                severity=Severity.RISK if line["mean_width_mm"] >= _PLAIN * SEEN_MM else Severity.ADVICE,
                measured=fault["worst_mm"], limit=record["visible_mm"], unit="mm", length_mm=line["mean_mm"],
                why=f"{_width(line)}, along {line['mean_mm']:g} mm of {fault['edge_mm']:.0f} mm of edge {kind.between}"
                f". {_of_100(fault['share_of_prints'])} prints show some of it",
                remedy=_remedy(kind, fault, _closer_words(record, _closer_method(record, fault))),
            )))  # fmt: skip
    return faults


def _remedy(kind: FaultKind, fault: dict[str, Any], closer: str = "") -> str:
    """What is to be done; `closer`: the words of a closer method, if there is one."""
    where = "register/register.png shows where"
    register = "print in closer register" + (f", such as {closer} in [register]" if closer else "")
    if not (_widened(fault) and _has_room(fault) >= fault["edge_mm"] / 2):
        return f"{register}, or draw the dark shape wider there; {where}"
    if kind.hides:
        return f"{register}, or write {kind.remedy} = {fault['overlap_for_99_in_100_mm']:g}; {where}"
    return f"{register}; {where}"


def _widened(fault: Mapping[str, Any]) -> bool:
    """Whether a wider overlap would hide more."""
    enough = fault["overlap_for_99_in_100_mm"]
    return enough is not None and enough > fault["overlap_mm"]


def _has_room(fault: Mapping[str, Any]) -> float:
    """On how much edge, mm, the dark shape has room for the overlap."""
    return float(fault["edge_mm"] - fault["edge_with_less_overlap_mm"])


def _closer_method(record: Mapping[str, Any], fault: Mapping[str, Any]) -> Method | None:
    """The method of register with the least work by which the overlap hides all, else the closest; none if in use.

    Only methods that are closer than the one in use, by what is usual of both, and closer than it is as told.
    """
    usual = min(record["tolerance_mm"], METHODS[record["method"]].tolerance_mm)
    closer = [method for method in METHODS.values() if method.tolerance_mm < usual]
    hidden = fault["overlap_mm"] + record["visible_mm"]
    closer.sort(key=lambda method: -method.tolerance_mm)
    return next((one for one in closer if pair_worst_mm(one.tolerance_mm) <= hidden), closer[-1] if closer else None)


def _closer_words(record: Mapping[str, Any], closer: Method | None) -> str:
    """What is to be written in [register] for a closer method; a tolerance that is written is of the one in use."""
    if closer is None:
        return ""
    goes = ", only then without tolerance_mm"
    return f'method = "{closer.name}"{goes if record["tolerance_written"] else ""}'


def _width(line: Mapping[str, float]) -> str:
    """How wide a line is in the mean, and what an eye makes of it."""
    mm = line["mean_width_mm"]
    seen = "too fine to be seen" if mm < SEEN_MM else "just seen" if mm < _PLAIN * SEEN_MM else "plainly seen"
    return f"on average {mm:g} mm wide, {seen} at reading distance"


def _of_100(share: float) -> str:
    return f"{100 * share:.0f} of 100"


def register_lines(record: dict[str, Any]) -> list[str]:
    """The figures in short sentences, for the terminal and beneath the picture."""
    pair = record["shift_of_two_blocks_mm"]
    return [
        f"Register by {record['method']}: each impression within {record['tolerance_mm']:g} mm and "
        f"{record['turn_deg']:.2f} degrees of its place. Two blocks are as a rule {pair['rms']:.2f} mm apart, at worst "
        f"{pair['worst']:g} mm. {record['prints']} prints were tried out.",
        *(line for kind in KINDS for line in _in_words(kind, record[kind.key], record)),
        *_seen(record),
        f"  {_paper(record)}. {_swelling(record)}.",
    ]


def _seen(record: dict[str, Any]) -> list[str]:
    """What is bare before anything moves, and how wide a line must be to be seen."""
    start, eye = record["open_from_the_start"], record["eye_tells_apart"]
    bare = "none of what is to be inked"
    if start["places"]:
        places = "one place" if start["places"] == 1 else f"{start['places']} places"
        bare = f"{start['line_mm']:g} mm of bare paper in {places}, up to {start['worst_mm']:g} mm wide"
    return [
        f"  Open even where no block is off: {bare}.",
        f"  Lines are counted from {record['visible_mm']:g} mm of width on; at {eye['from_mm']:g} mm an eye tells "
        f"{eye['mm']:.2f} mm apart.",
    ]


def _paper(record: dict[str, Any]) -> str:
    along, across = record["paper_stretch_percent"]
    if along or across:
        return f"The paper grows by {along:g} % along its grain and {across:g} % across it"
    return (
        f"Stretch of the paper NOT COUNTED: damp cotton paper grows by {_DAMP_GROWS}. Set paper_stretch_along_percent "
        "and paper_stretch_across_percent"
    )


def _swelling(record: dict[str, Any]) -> str:
    """How far the blocks themselves grow with the damp of the air; nothing of wood where there is none."""
    if not record["moisture_change_percent"]:
        return "Swelling of the blocks NOT COUNTED"
    grow = record["blocks_grow_percent"]
    return f"The blocks swell by up to {grow:g} % with the damp" if grow else "The blocks do not swell"


def _in_words(kind: FaultKind, fault: dict[str, Any], record: Mapping[str, Any]) -> list[str]:
    """A fault's lines: how wide it is, whether it is seen and how often; beneath it where, and what helps."""
    name = kind.name[:1].upper() + kind.name[1:]
    if not fault["edge_mm"]:
        return [f"  {name}: there is no such edge in this print."]
    if not fault["places"] and not fault["share_of_prints"]:
        return [f"  {name}: in none of the prints; at worst {fault['worst_mm']:g} mm wide."]
    line = fault["line_a_print"]
    lines = [
        f"  {name}: {_width(line)}, at worst {fault['worst_mm']:g} mm, in {_of_100(fault['share_of_prints'])} prints.",
        f"    A print has {line['mean_mm']:g} mm of it on average, on {fault['edge_mm']:.0f} mm of such edges.",
    ]
    if fault["places"]:
        (x, y), pair = fault["places"][0]["at_mm"], " and ".join(fault["places"][0]["between"])
        lines.append(f"    Most often it is at x {x:g}, y {y:g} mm, between {pair}.")
    return [*lines, f"    {_advice(kind, fault)}", *(f"    {line}" for line in _choices(kind, fault, record))]


def _choices(kind: FaultKind, fault: Mapping[str, Any], record: Mapping[str, Any]) -> list[str]:
    """What may be written into the print file, to what, and what that does; or that nothing need be."""
    if fault["share_of_prints"] < _SOME:
        return [f"Fine as it is: fewer than {_of_100(_SOME)} prints show it."]
    if fault["line_a_print"]["mean_width_mm"] < SEEN_MM:
        return ["Fine as it is: hardly anybody will see it."]
    choices = []
    if kind.hides and _widened(fault):
        wide, now = fault["overlap_for_99_in_100_mm"], fault["overlap_mm"]
        choices.append(
            f"in [print] {kind.remedy} = {wide:g} instead of {now:g}, which helps on {_has_room(fault):.0f} of "
            f"{fault['edge_mm']:.0f} mm of edge"
        )
    method = _closer_method(record, fault)
    if method is not None:
        choices.append(
            f"in [register] {_closer_words(record, method)}, which helps everywhere. "
            f"Blocks are then {pair_worst_mm(method.tolerance_mm):g} mm apart at worst, not "
            f"{record['shift_of_two_blocks_mm']['worst']:g}; the board needs {method.waste_mm:g} mm round the picture"
        )
    return [f"{'Or' if k else 'Write'}: {choice}." for k, choice in enumerate(choices)]


def _advice(kind: FaultKind, fault: dict[str, Any]) -> str:
    """What a wider overlap would hide, and where there is none; never what is set already."""
    now, some, always = (fault[key] for key in ("overlap_mm", "overlap_for_99_in_100_mm", "overlap_for_all_mm"))
    little, none = fault["edge_with_less_overlap_mm"], fault["edge_without_overlap_mm"]
    if some is None:
        text = f"{kind.remedy} = {now:g} has no room anywhere."
    elif some > now and not kind.hides:
        text = f"Even where {kind.remedy} = {now:g} has room, more than 1 of 100 prints shows some. A wider one is no "
        text += "remedy: more dark shapes are too thin for it. Print in closer register."
    elif some > now:
        text = f"Where the dark shape has room for it, {kind.remedy} = {some:g} hides it in 99 of 100 prints"
        text += f" and {always:g} always (now {now:g})." if always > some else f" (now {now:g})."
    elif always > now:
        text = "Where it has room, what is set hides it in 99 of 100 prints"
        text += f", {kind.remedy} = {always:g} always." if kind.hides else "."
    else:
        text = f"Where it has room nothing shows: a larger {kind.remedy} would not help."
    if little:
        ends = "or it ends" if kind.remedy == "trap_mm" else "it ends, or it is not the darkest"
        text += f" On {little:.0f} mm of edge no {kind.remedy} helps: the dark shape is too thin there, {ends}."
        if none:
            both = "one ink ends where the other begins" if kind.remedy == "trap_mm" else "both inks end at the snow"
            text += f" On {none:.0f} mm of that, in sight, {both}, with no overlap."
        text += " Draw it wider there, or print in closer register."
    return text
