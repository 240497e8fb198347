"""A picture file laid on the plan that it shows, of several; a poor fit and the wrong side are refused."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from carvegen.artwork.drawing import Notes
from carvegen.artwork.kinds import picture_bytes
from carvegen.artwork.on_plan.laid_picture import MOST_PX_PER_MM, Laid
from carvegen.artwork.on_plan.plan_fit import shows_where_it_lies
from carvegen.artwork.on_plan.plan_scan import laid_on
from carvegen.artwork.scan import frame as frames
from carvegen.artwork.scan.description import ScanOptions
from carvegen.artwork.scan.pixels import opened
from carvegen.base.errors import InputError
from carvegen.base.progress import each_part, part

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping
    from pathlib import Path

    from carvegen.artwork.on_plan.plan import TonePlan
    from carvegen.artwork.scan.description import Corners
    from carvegen.artwork.scan.pixels import ScanPicture

__all__ = ["LaidError", "PoorFitError", "lay_file", "marked_off_mm"]

_FINE_PX_PER_MM = 8.0  #: a print that a smaller picture shows coarser is looked at in all its pixels; our own choice


_SMALL_TIME = 0.8  #: share of the time in which a smaller picture is looked at
_MARK = (
    "Is it this block's plan? Photograph all of it, from above and sharp, or "
    'mark the corners of the plan\'s face in pixels: {corners} "90 80 2400 95 2390 1800 85 1790"'
)
_POSITIVE = "hand in the picture as it was taken; only of an ink that is lighter than its paper hand in the negative"


class LaidError(InputError):
    """A picture that was laid can't be what was asked for; how it lies is worth a look."""

    def __init__(self, message: str, laid: Laid, path: Path, **details: Any) -> None:  # noqa: ANN401
        super().__init__(message, where=str(path), **details)
        self.laid, self.path = laid, path

    def look_at(self, picture: Path, more: str = "") -> None:
        """Name the picture that was drawn of it first of what to do."""
        seen = "violet the plan as it was laid, red where the picture disagrees"
        self.hint = f"look first at {picture}: {seen}. {more}{self.hint_template}"

    def __reduce__(self) -> tuple[object, ...]:
        plain = partial(
            InputError, self._message, value=self.value, where=self.where, field=self.fields, hint=self._hint,
            names=self.names,
        )  # fmt: skip
        return plain, ()  # no picture goes to another process


class PoorFitError(LaidError):
    """A picture does not fit the plan."""

    def __init__(self, laid: Laid, path: Path, name: str, names: Collection[str]) -> None:
        one = len(names) == 1
        which = "the plan" if one else f"any plan ({', '.join(names)}); nearest comes {name}"
        super().__init__(
            f"does not fit {which}: {laid.fault}", laid, path, hint=_POSITIVE if laid.negative else _MARK,
            names=() if laid.negative else ("corners",),
        )  # fmt: skip


def lay_file(
    path: Path, plans: Mapping[str, TonePlan], *, corners: Corners | str | None = None, dpi: float | None = None,
    view: str | None = None, either_tone: bool = False,
) -> tuple[str, Laid] | None:  # fmt: skip
    """The plan that a picture file shows, by name, and the picture laid on it; None if too little is drawn on any.

    Parameters
    ----------
    corners
        The plan's corners in pixels, if they were marked by hand: a start, no more.
    dpi
        Of the picture; what the file says by default.
    view
        From which side it shows the block, "print" or "block", if that is known.
    either_tone
        Whether land may be lighter than what is cut: a stencil's openings show what is behind them.

    Raises
    ------
    PoorFitError
        If it fits none.
    InputError
        If it can't be read, or shows the other side.
    """
    plans = {name: plan for name, plan in plans.items() if shows_where_it_lies(plan)}
    if not plans:
        return None
    data, four = picture_bytes(path), None if isinstance(corners, str) else corners
    enough_px = int(max(max(plan.size_mm) for plan in plans.values()) * MOST_PX_PER_MM)
    try:
        with part(0, _SMALL_TIME):
            name, laid = _best(plans, opened(data, Notes(), enough_px=enough_px), four, dpi, either_tone=either_tone)
        if laid.part.smaller > 1 and laid.px_per_mm < _FINE_PX_PER_MM:
            with part(_SMALL_TIME, 1):
                name, laid = _best(plans, opened(data, Notes()), four, dpi, either_tone=either_tone)
    except InputError as error:
        raise error.within(str(path)) from None
    if laid.fault:
        raise PoorFitError(laid, path, name, plans)
    if view is not None and (view == "block") is not laid.mirrored:
        side = "the block itself: its drawing is mirrored" if laid.mirrored else "a print: its drawing is not mirrored"
        raise LaidError(
            f"shows {side}", laid, path, value=view, field="view",
            hint="leave {view} out: the side is told by the drawing", names=("view",),
        )  # fmt: skip
    return name, laid


def _best(
    plans: Mapping[str, TonePlan], picture: ScanPicture, corners: Corners | None, dpi: float | None, *,
    either_tone: bool,
) -> tuple[str, Laid]:  # fmt: skip
    """The plan that a picture shows best, and the picture on it; corners and dots per inch are those of its file."""
    dpi = None if dpi is None else dpi / picture.smaller
    frame = frames.framed(picture, ScanOptions(dpi=dpi), Notes())
    px_per_mm = None if frame is None else 1 / frame.pitch_mm
    starts = [frames.upright_corners(corners, picture) / picture.smaller] if corners else []
    fits = {}
    for (name, plan), laying in zip(plans.items(), each_part([1.0] * len(plans)), strict=True):
        with laying:
            fits[name] = laid_on(plan, picture, corners=starts, px_per_mm=px_per_mm)
    if len(fits) == 1 and all(one.fit.fault for one in fits.values()):
        pale = {
            name: laid_on(plan, picture, corners=starts, px_per_mm=px_per_mm, pale=True, either_tone=either_tone)
            for name, plan in plans.items()
        }
        fits = {name: fits[name] if one.fit.fault and not one.negative else one for name, one in pale.items()}
    name, laid = max(fits.items(), key=lambda one: (not one[1].fault, one[1].fit.weight))
    larger = np.diag([picture.smaller, picture.smaller, 1.0])
    return name, replace(laid, place=larger @ laid.place, lens=laid.lens.within(1 / picture.smaller))


def marked_off_mm(laid: Laid, corners: Corners) -> float:
    """How far corners that were marked lie from where the drawing says they are, at most; mm."""
    straight = laid.lens.straight(np.asarray(corners, dtype=np.float64))
    there = np.linalg.inv(laid.place) @ np.column_stack([straight, np.ones(4)]).T
    xy = (there[:2] / there[2]).T
    return float(np.linalg.norm(xy[:, None] - laid.plan.corners[None], axis=2).min(axis=1).max())
