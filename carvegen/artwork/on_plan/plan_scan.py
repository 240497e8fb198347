"""A photograph or scan laid on a plan: where it lies, what its lens bends, and how well it fits."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from carvegen.artwork.on_plan.laid_picture import Laid, scale_in
from carvegen.artwork.on_plan.lens import Lens, solved
from carvegen.artwork.on_plan.plan import MOST_PX_PER_MM, ImagePyramid, plan_of, resized
from carvegen.artwork.on_plan.plan_fit import judged
from carvegen.artwork.on_plan.plan_place import best_place, is_mirrored, refined
from carvegen.artwork.on_plan.sides import held_by_sides
from carvegen.artwork.on_plan.tones import colour_tells, drawn_tone, ranged, toned
from carvegen.artwork.scan.quad import quads
from carvegen.base.errors import InputError
from carvegen.base.progress import each_part, part, reached

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from carvegen.artwork.on_plan.plan import Matrix, Tone, TonePlan
    from carvegen.artwork.on_plan.plan_fit import PlanFit
    from carvegen.artwork.scan.pixels import ScanPicture

__all__ = ["better_fit", "laid_on", "shown_alone"]

_LOOK_PX = 2600  #: longer side of the picture that is laid
_BUSY_PX, _BUSY, _BUSY_ROOM, _BUSY_SHARE = 400, 0.3, 0.1, 0.5  #: where in a picture something is drawn; our own choice
_LEAST_TONES = 2.0  #: of 255; what differs by less shows nothing
_MOST_QUADS = 3
_ABOUT_AS_WELL = 0.9  #: of a fit's weight; our own choice
_CLEARLY = 1.5  #: times a block's own weight, at which another is the one that is shown: two may be much alike
_TONED = 0.25  #: correlation; prints had 0.36 to 0.82, proofs of one block -0.13 to 0.09
_PURE = 0.02  #: all land or all cut, but for so much
_LENS_ROUNDS, _SAME_LENS = 3, 5e-4
_TIMES = (0.6, 0.4)  #: shares of the time, estimated: the place, and the lens that bends it
_WHOLE_TIME = 0.7  #: share in the whole picture where a part of it is looked at, too


def laid_on(
    plan: TonePlan,
    picture: ScanPicture,
    *,
    corners: Sequence[NDArray[np.float64]] = (),
    px_per_mm: float | None = None,
    pale: bool = False,
    either_tone: bool = False,
) -> Laid:
    """Where a plan lies in a picture, and what the picture shows there.

    Parameters
    ----------
    corners
        Fours that were marked by hand; (4, 2) each, pixels. They are a start only: the drawing itself decides.
    px_per_mm
        Of the picture, if it is known.
    pale
        Whether to look for an ink that differs from the paper far less than paper and table do, by colour alone
        perhaps. Where colour tells land from cut, and not how light they are, either may be the lighter.
    either_tone
        Whether land may be lighter than what is cut however light both are: a stencil's openings show what is behind.
        With `pale` only.
    """
    lens = Lens.none((picture.width, picture.height))
    with part(0, _WHOLE_TIME):
        whole = _laid_on(plan, picture, corners, px_per_mm, lens, pale=pale, either_tone=either_tone)
    box = _busy_box(picture) if whole.fit.fault and not whole.negative else None
    if box is None:
        return whole
    left, top = box[:2]
    busy = replace(picture, image=picture.image.crop(box))
    moved = [np.asarray(corner) - (left, top) for corner in corners]
    with part(_WHOLE_TIME, 1):
        nearer = _laid_on(
            plan, busy, moved, px_per_mm, lens.within(1, (left, top)), pale=pale, either_tone=either_tone
        )  # fmt: skip
    if nearer.fit.fault and not nearer.negative:
        return whole
    shift = np.array([[1, 0, left], [0, 1, top], [0, 0, 1.0]])
    lens = replace(lens, strength=nearer.lens.strength)
    return replace(nearer, place=shift @ nearer.place, lens=lens, pictured_px=whole.pictured_px)


def better_fit(laid: Laid, plan: TonePlan) -> Laid | None:
    """The picture on another plan of the same face, at the place where it lies, if it fits that better; else None.

    Snow that one block's plan does not have, or an ink that fades, makes a finished print fit that block about as well:
    then the tones within its land and its cuts decide.
    """
    return _better_fits(laid, [plan])[0]


def shown_alone(laid: Laid, lands: Mapping[str, BaseGeometry]) -> str | None:
    """The block of some, by its land on the plan's face, that a picture shows rather than the plan; None if none."""
    fits = _better_fits(laid, [plan_of(land, laid.plan.size_mm) for land in lands.values()])
    weights = {name: one.fit.weight for name, one in zip(lands, fits, strict=True) if one is not None}
    name = max(weights, key=lambda one: weights[one], default=None)
    enough = laid.fit.weight * (1.0 if laid.plan.is_print else _CLEARLY)
    return name if name is not None and weights[name] > enough else None


def _better_fits(laid: Laid, plans: Sequence[TonePlan]) -> list[Laid | None]:
    """`better_fit` of each; the picture is looked at once."""
    scale = min(laid.px_per_mm, MOST_PX_PER_MM)
    tone, place = ranged(drawn_tone(laid.seen_at(scale).image)), np.diag([scale, scale, 1.0])
    seen = ImagePyramid(tone)
    own = judged(laid.plan, seen, place).weight
    fits: list[Laid | None] = []
    for plan in plans:
        fit = judged(plan, seen, place)
        near = fit.weight > own * _ABOUT_AS_WELL
        better = near and (fit.weight > own or _tones_within(laid.plan, plan, tone) > _TONED)
        fits.append(replace(laid, plan=plan, fit=fit) if better and not fit.fault else None)
    return fits


def _tones_within(own: TonePlan, other: TonePlan, tone: Tone) -> float:
    """How a picture's tones go with another plan's where its own has but one, all land or all cut; correlation."""
    land, inks = (resized(plan.tone, tone.shape[::-1]) for plan in (own, other))
    pairs = [(tone[part], inks[part]) for part in (land < _PURE, land > 1 - _PURE) if part.any()]
    varied = [pair for pair in pairs if min(map(np.ptp, pair)) > _PURE]
    return max((float(np.corrcoef(*pair).item(1)) for pair in varied), default=0.0)


def _busy_box(picture: ScanPicture) -> tuple[int, int, int, int] | None:
    """Left, top, right and bottom of what is drawn in a picture, with room about it; None if that is most of it.

    What is small in a picture is looked for in vain in the whole of it: all else counts there, too.
    """
    step = max(1, max(picture.width, picture.height) // _BUSY_PX)
    tone = np.asarray(picture.image.convert("L").reduce(step), dtype=np.float32)
    steep = ndimage.gaussian_filter(np.hypot(*np.gradient(ndimage.gaussian_filter(tone, 1))), max(tone.shape) / 40)
    blobs, count = ndimage.label(steep > _BUSY * np.quantile(steep, 0.99))
    if count == 0:
        return None
    largest = 1 + int(np.argmax(ndimage.sum_labels(np.ones_like(tone), blobs, np.arange(1, count + 1))))
    rows, columns = ndimage.find_objects(blobs)[largest - 1]
    room = _BUSY_ROOM * max(rows.stop - rows.start, columns.stop - columns.start)
    left, top = (max(int((side.start - room) * step), 0) for side in (columns, rows))
    right, bottom = (min(int((columns.stop + room) * step), picture.width),
                     min(int((rows.stop + room) * step), picture.height))  # fmt: skip
    small = (right - left) * (bottom - top) < _BUSY_SHARE * picture.width * picture.height
    return (left, top, right, bottom) if small else None


def _laid_on(
    plan: TonePlan, picture: ScanPicture, corners: Sequence[NDArray[np.float64]], px_per_mm: float | None,
    lens: Lens, *, pale: bool, either_tone: bool,
) -> Laid:  # fmt: skip
    step = max(1, -(-max(picture.width, picture.height) // _LOOK_PX))
    small = picture.image.reduce(step) if step > 1 else picture.image
    tone = drawn_tone(small)
    if np.ptp(tone) < _LEAST_TONES:
        raise InputError("shows one even tone: nothing is drawn in it", hint="photograph it again, in good light")
    shrink = np.diag([small.width / picture.width, small.height / picture.height, 1.0])
    fours = [np.asarray(four) * np.diag(shrink)[:2] for four in corners]
    fours += sorted(quads(np.asarray(small.convert("L"))), key=lambda quad: -float(np.ptp(quad, axis=0).prod()))[
        :_MOST_QUADS
    ]
    shrunk = None if px_per_mm is None else px_per_mm * shrink[0, 0]
    tones = [tone]
    if pale:
        tone = np.asarray(toned(small, small, evenly=True), dtype=np.float32)
        tones = [tone, 255 - tone]  # an ink no darker than the paper is darker in one channel, lighter in another
    each: list[Laid] = []
    steps = each_part(_TIMES * len(tones))
    for tone in tones:
        seen = ImagePyramid(ranged(tone))
        with next(steps):
            place = best_place(plan, seen, corners=fours, px_per_mm=shrunk)
        with next(steps):
            fit, place, bent = _through_lens(plan, seen, place, lens.within(1 / shrink[0, 0]))
        lens_there, whole = bent.within(shrink[0, 0]), np.linalg.inv(shrink) @ place
        each.append(Laid(
            place=whole, lens=lens_there, fit=fit, mirrored=is_mirrored(place, plan), plan=plan,
            pictured_px=(picture.width, picture.height), part=picture, part_place=whole, part_lens=lens_there,
            px_per_mm=scale_in(plan, whole), pale=pale,
        ))  # fmt: skip
        if not fit.fault:
            break
    if len(each) == 1 or each[-1].fit.fault:
        return each[0]
    return each[-1] if either_tone or colour_tells(each[-1]) else replace(each[0], negative=True)


def _through_lens(plan: TonePlan, seen: ImagePyramid, place: Matrix, lens: Lens) -> tuple[PlanFit, Matrix, Lens]:
    """How well the picture fits the plan, with the lens straightened that the offsets tell of, if they tell of one."""
    fit, seen_straight = judged(plan, seen, place), seen
    for k in range(_LENS_ROUNDS):
        reached((k + 1) / (_LENS_ROUNDS + 2))
        cells = fit.alike_there
        bent = solved(fit.middle[cells], fit.move[cells], place, lens, plan.size_mm)
        if bent is None:
            break
        straight = ImagePyramid(bent[1].straightened(seen.steps[0]))
        nearer = refined(plan, straight, bent[0])
        better = judged(plan, straight, nearer)
        if better.weight <= fit.weight and better.off_mm >= fit.off_mm:
            break
        change, fit, place, lens = abs(bent[1].strength - lens.strength), better, nearer, bent[1]
        seen_straight = straight
        if change < _SAME_LENS:
            break
    return *held_by_sides(plan, seen_straight, place, fit), lens
