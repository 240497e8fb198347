"""What many tried prints come to: shares, worst cases, the overlap that would hide it, and the places."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from carvegen.base.findings import Finding, Severity
from carvegen.facts.register import pair_rms_mm, pair_worst_mm
from carvegen.prints.misregister.trials import STEP_MM

if TYPE_CHECKING:
    from carvegen.facts.register import Plan
    from carvegen.geometry import Floats
    from carvegen.prints.misregister.block_placement import Inked
    from carvegen.prints.misregister.trials import Outcome

__all__ = ["KINDS", "Kind", "figures", "findings", "of_kind", "register_lines", "spots"]


@dataclass(frozen=True, kw_only=True)
class Kind:
    """A fault that a register error shows."""

    key: str
    name: str
    between: str
    remedy: str  #: the key of the print file that widens the overlap


KINDS = (
    Kind(key="white_line", name="white line", between="between two inks", remedy="trap_mm"),
    Kind(key="ink_on_snow", name="ink on the snow", between="of light ink along the snow", remedy="register_error_mm"),
)
_SELDOM = 0.01  #: places that fail in a smaller share of prints are not told
_DAMP_GROWS = "0.5 to 2 %, common practice, no source"
_SOME = 0.05  #: a share of prints from which on it is a finding


def figures(
    found: Outcome, blocks: Sequence[Inked], plan: Plan, long_side_mm: float, overlaps_mm: tuple[float, float]
) -> dict[str, Any]:
    """The figures of an outcome as plain values.

    Parameters
    ----------
    overlaps_mm
        The overlap between inks, and that along the snow, as the print file asks for them.
    """
    off = plan.off_mm
    return {
        "method": plan.method,
        "tolerance_mm": off,
        "turn_deg": round(plan.off_deg(long_side_mm), 4),
        "spread": plan.spread,
        "paper_stretch_percent": [plan.paper_stretch_along_percent, plan.paper_stretch_across_percent],
        "moisture_change_percent": round(plan.moisture_off_percent, 2),
        "prints": plan.prints,
        "visible_mm": plan.visible_mm,
        "shift_of_two_blocks_mm": {"worst": pair_worst_mm(off), "rms": round(pair_rms_mm(off / 2), 4)},
        "prints_with_any": round(float(found.failed.any(axis=1).mean()), 4),
        **{kind.key: _kind(found, blocks, plan, k, overlaps_mm[k]) for k, kind in enumerate(KINDS)},
    }


def _kind(found: Outcome, blocks: Sequence[Inked], plan: Plan, kind: int, overlap_mm: float) -> dict[str, Any]:
    share = float(found.failed[:, kind].mean())
    told: dict[str, Any] = {
        "share_of_prints": round(share, 4),
        "give_or_take": round(2 * math.sqrt(max(share * (1 - share), 1 / plan.prints) / plan.prints), 4),
        "worst_mm": 0.0, "overlap_mm": overlap_mm, "overlap_for_99_in_100_mm": None, "overlap_for_all_mm": None,
        "edge_mm": 0.0, "edge_that_fails_mm": 0.0, "edge_with_less_overlap_mm": 0.0, "places": [],
    }  # fmt: skip
    xy, shares, worst, overlap, pairs = of_kind(found, kind)
    if not len(xy):
        return told
    full = overlap >= 0.9 * overlap_mm
    told |= {
        "worst_mm": _up(max(0.0, worst.max())),
        "edge_mm": round(len(xy) * STEP_MM, 1),
        "edge_that_fails_mm": round(float((shares >= _SELDOM).sum()) * STEP_MM, 1),
        "edge_with_less_overlap_mm": round(float((~full).sum()) * STEP_MM, 1),
        "places": [
            {**_place(xy[k], shares[k], worst[k]), "between": [blocks[number].name for number in pairs[k]]}
            for k in spots(xy, shares)
        ],
    }
    if full.any():
        widest = np.quantile(found.widest_mm[:, kind], 0.99)
        told["overlap_for_99_in_100_mm"] = _up(_enough(overlap_mm, float(widest), plan))
        told["overlap_for_all_mm"] = _up(_enough(overlap_mm, float(worst[full].max()), plan))
    return told


def _enough(overlap_mm: float, gap_mm: float, plan: Plan) -> float:
    """The overlap that leaves of a gap no more than can't be seen; what is there, if that will do."""
    return overlap_mm + max(0.0, gap_mm - plan.visible_mm) if math.isfinite(gap_mm) else overlap_mm


def _up(mm: float) -> float:
    """Rounded up to a twentieth of a millimetre: nobody sets more closely."""
    return round(math.ceil(round(mm / 0.05, 6)) * 0.05, 2)


def of_kind(found: Outcome, kind: int) -> tuple[Floats, Floats, Floats, Floats, list[tuple[int, int]]]:
    """All places of a kind: where, share of prints, worst gap, overlap, and the numbers of the two blocks."""
    mine = [its.snow == bool(kind) for its in found.places]
    pairs = [(its.block, int(under)) for its, own in zip(found.places, mine, strict=True) for under in its.under[own]]
    xy = np.concatenate([its.xy[own] for its, own in zip(found.places, mine, strict=True)])
    overlap = np.concatenate([its.overlap_mm[own] for its, own in zip(found.places, mine, strict=True)])
    shares, worst = (
        np.concatenate([values[own] for values, own in zip(each, mine, strict=True)])
        for each in (found.share, found.worst_mm)
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


def findings(told: dict[str, Any]) -> list[tuple[str, Finding]]:
    """What must be told of a block, with the block's name: faults that some prints will show."""
    found = []
    for kind in KINDS:
        its = told[kind.key]
        if its["share_of_prints"] >= _SOME and its["places"]:
            first = its["places"][0]
            enough = its["overlap_for_99_in_100_mm"] or its["overlap_mm"]
            found.append((first["between"][0], Finding(
                rule=kind.key.replace("_", "-"), severity=Severity.RISK, at=(first["at_mm"][0], first["at_mm"][1]),
                measured=its["worst_mm"] + its["overlap_mm"], limit=its["overlap_mm"], unit="mm",
                why=f"{_of_100(its['share_of_prints'])} prints will show a line {kind.between}",
                remedy=_remedy(kind, its, enough),
            )))  # fmt: skip
    return found


def _remedy(kind: Kind, its: dict[str, Any], enough: float) -> str:
    if enough > its["overlap_mm"]:
        return f"print in closer register, or write {kind.remedy} = {enough:g}; register/register.png shows where"
    return "print in closer register, or draw the dark shape wider there; register/register.png shows where"


def _of_100(share: float) -> str:
    return f"{100 * share:.0f} of 100"


def register_lines(told: dict[str, Any]) -> list[str]:
    """The figures in words, for the terminal."""
    pair = told["shift_of_two_blocks_mm"]
    lines = [
        f"Register by {told['method']}: each impression within {told['tolerance_mm']:g} mm and "
        f"{told['turn_deg']:.2f} degrees of its place, so two blocks at worst {pair['worst']:g} mm apart, root mean "
        f"square {pair['rms']:.2f} mm; {_paper(told)}; {_moisture(told)}; {told['prints']} prints tried out."
    ]
    return lines + [f"  {kind.name}: {_in_words(kind, told[kind.key])}" for kind in KINDS]


def _paper(told: dict[str, Any]) -> str:
    along, across = told["paper_stretch_percent"]
    if along or across:
        return f"paper {along:g} % along and {across:g} % across its grain"
    return (
        f"stretch of the paper NOT COUNTED (damp cotton paper grows by {_DAMP_GROWS}: set paper_stretch_along_percent "
        "and paper_stretch_across_percent)"
    )


def _moisture(told: dict[str, Any]) -> str:
    change = told["moisture_change_percent"]
    return f"moisture of the blocks {change:g} %" if change else "moisture of the blocks NOT COUNTED"


def _in_words(kind: Kind, its: dict[str, Any]) -> str:
    if not its["edge_mm"]:
        return "there is no such edge in this print"
    if not its["places"] and not its["share_of_prints"]:
        return f"in none of the prints; at worst {its['worst_mm']:g} mm wide"
    text = f"in {_of_100(its['share_of_prints'])} prints (give or take {100 * its['give_or_take']:.0f})"
    text += f", at worst {its['worst_mm']:g} mm wide"
    if its["places"]:
        (x, y), pair = its["places"][0]["at_mm"], " and ".join(its["places"][0]["between"])
        text += f"; most often at x {x:g}, y {y:g} mm ({pair})"
    if its["overlap_for_99_in_100_mm"] is not None:
        text += (
            f". Where there is room for it, {kind.remedy} = {its['overlap_for_99_in_100_mm']:g} hides it in 99 of 100 "
            f"prints and {its['overlap_for_all_mm']:g} always (now {its['overlap_mm']:g})"
        )
    if its["edge_with_less_overlap_mm"]:
        text += (
            f"; {its['edge_with_less_overlap_mm']:.0f} mm of edge have no room: the dark shape is thin or ends there"
        )
    return text
