"""Where the rings of findings and their labels go on a proof."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from carvegen.base.finding_groups import grouped, letter_of, sentence
from carvegen.base.findings import Severity

if TYPE_CHECKING:
    from carvegen.base.finding_groups import Group
    from carvegen.base.findings import Report
    from carvegen.blocks.views import Seen
    from carvegen.geometry import Floats

__all__ = ["LABEL_MM", "FindingRing", "free_box", "marks", "readable", "summary"]

#: Size of a label's letters: 6 points, the smallest that reads well on paper.
LABEL_MM = 2.1

_RADIUS_MM = 1.6
_ROOM_MM2 = 180.0  # a ring and its label, four times over: found by looking
_FEWEST, _MOST = 8, 200
_FURTHER_MM = (2.0, 4.0, 7.0)  #: further out, where words would lie over words
_AROUND = ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, 1), (1, -1), (-1, -1))  #: where a label may stand
_BETWEEN = ((1, 0.5), (-1, 0.5), (1, -0.5), (-1, -0.5), (0.5, 1), (-0.5, 1), (0.5, -1), (-0.5, -1))
_WORDS_WEIGH = 100.0  #: times as bad as hiding a ring
_RINGS = "The letter at a ring is that of its line here. A whole ring breaks a limit, a broken ring is a risk."


@dataclass(frozen=True, kw_only=True)
class FindingRing:
    """A ring about a finding and the box of its label; mm, in the proof's view."""

    at: tuple[float, float]
    radius: float
    label: str
    box: tuple[float, float, float, float]  #: left, bottom, width, height
    breaks: bool
    count: int = 1  #: of findings that the ring takes in


def marks(report: Report, shown: Seen, *, most: int) -> list[FindingRing]:
    """Rings for the first `most` findings that have a place, each with the letter of its line in `summary`.

    Each label stands beside its ring, on the side where it hides the least of other rings and labels.
    """
    letters = _letters(report)
    placed = [finding for finding in report if finding.at is not None][:most]
    starts = shown.places(finding.at for finding in placed if finding.at is not None)
    ends = shown.places(finding.to or finding.at for finding in placed if finding.at is not None)
    centres = (starts + ends) / 2
    radii = _RADIUS_MM + np.hypot(*(ends - starts).T) / 2
    taken = np.column_stack([centres - radii[:, None], centres + radii[:, None]])
    result = []
    for k, finding in enumerate(placed):
        label = letters[id(finding)]
        box = free_box(centres[k], radii[k], len(label) * LABEL_MM * 0.55 + 0.8, taken)
        taken = np.vstack([taken, box])
        low = (round(float(box[0]), 3), round(float(box[1]), 3))
        size = (round(float(box[2] - box[0]), 3), round(float(box[3] - box[1]), 3))
        centre = (round(float(centres[k, 0]), 3), round(float(centres[k, 1]), 3))
        result.append(
            FindingRing(
                at=centre,
                radius=round(float(radii[k]), 3),
                label=label,
                box=(*low, *size),
                breaks=finding.severity is Severity.BREAKS,
            )
        )
    return result


def readable(shown: Seen) -> int:
    """How many rings with labels a face can carry, at `_ROOM_MM2` for each."""
    return max(_FEWEST, min(_MOST, int(shown.width_mm * shown.height_mm / _ROOM_MM2)))


def summary(report: Report, *, most: int) -> list[str]:
    """What the rings mean, kind by kind, in the words of the checks."""
    if not len(report):
        return ["No findings: every check that was made is kept."]
    lines = [_RINGS]
    lines += [f"{letter_of(k)}: {_kind_line(group)}" for k, group in enumerate(grouped(report))]
    if len(report) > most:
        lines.append(f"The first {most} are ringed, and {len(report) - most} more.")
    return lines


def _letters(report: Report) -> dict[int, str]:
    """The letter of each finding's line, by the finding's identity."""
    return {id(place.finding): letter_of(k) for k, group in enumerate(grouped(report)) for place in group.places}


def _kind_line(group: Group) -> str:
    return f"{group.sentence} {sentence(group.worst.remedy)}"


def free_box(
    centre: Floats,
    radius: float,
    width: float,
    taken: Floats,
    *,
    letters: float = LABEL_MM,
    labels: Floats | None = None,
    within: tuple[float, float, float, float] | None = None,
) -> Floats:
    """Of eight places beside a ring the one that covers the least; (4,) as left, bottom, right, top.

    Parameters
    ----------
    taken
        Boxes that had better not be hidden; (n, 4).
    labels
        Boxes of words that must not be hidden, if places further out are left; (m, 4).
    within
        A box that is not left, if that can be.
    """
    height = letters + 0.5
    side, lift = radius + width / 2 + 0.2, radius + height / 2 + 0.2
    shift = np.array(_AROUND if labels is None else (*_AROUND, *_BETWEEN)) * (side, lift)
    if labels is not None:
        shift = np.vstack([shift, *(shift * (1 + far / side, 1 + far / lift) for far in _FURTHER_MM)])
    half = np.array([width / 2, height / 2])
    boxes = np.hstack([centre + shift - half, centre + shift + half])
    hidden = _covered(boxes, taken)
    if labels is not None:
        hidden += _WORDS_WEIGH * _covered(boxes, labels)
    if within is not None:
        hidden += _WORDS_WEIGH * (width * height - _covered(boxes, np.array([within])))
    return np.asarray(boxes[int(np.argmin(hidden.round(6)))])


def _covered(boxes: Floats, others: Floats) -> Floats:
    """How much of each box the others cover, each for itself; (n,)."""
    low = np.maximum(boxes[:, None, :2], others[None, :, :2])
    high = np.minimum(boxes[:, None, 2:], others[None, :, 2:])
    return np.asarray(np.clip(high - low, 0, None).prod(axis=2).sum(axis=1))
