"""Inks told apart by colour: each pixel of a proof is paper or one of the inks."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy.ndimage import binary_dilation, binary_erosion, label, maximum_filter, minimum_filter

from carvegen.artwork.scan.description import MAX_INKS
from carvegen.artwork.scan.paper import is_bright
from carvegen.base.colour import cielab, from_cielab, hex_of, linear, overprinted, screen
from carvegen.base.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from carvegen.artwork.scan.pixels import Bytes
    from carvegen.base.colour import Ink, Rgb
    from carvegen.geometry import Floats, Indices, Mask

__all__ = ["Inks", "Overprints", "by_model", "colours_in", "hidden_by", "separated"]

Bins: TypeAlias = NDArray[np.int32]

_BITS = 6  # of each channel: colours are looked up in a cube of 64 x 64 x 64
_LOOKS = 3_000_000  # pixels from which the inks' colours are learnt
_EVEN = 10  # tones by which a pixel may differ from its neighbours and still show one ink
_CELL = 6.0  # CIELAB units: colours closer than this are one candidate for an ink
_RAREST = 2e-4  # share of the picture that an ink must cover
_APART = 8.0  # CIELAB units that inks must differ by
_STRAY = 3.0  #: CIELAB units by which an ink strays from its own colour
_DOUBT = 0.2  #: an ink that is as likely as this, or more, may be there
_HIDES = (
    15.0  #: an ink that changes another by less CIELAB units can't be told beside it in a photograph; our own choice
)
_THIN = 3.5  #: CIELAB units towards a colour with one ink more, from which on that may lie there thinly; our own choice
_PART, _ASIDE = 0.15, 0.7  #: and by such a part of the way there, no farther aside than so much of what lies behind
_LOOK_PX = 1000  #: longer side of the picture in which places are looked for
_BLEND_PX = 15  #: in it a blend is wider; our own choice
_RUNS_OUT = 0.1  #: of a place's rim where ink lies thinly beside it: it runs out there; our own choice
_STRANGE = 14.0  #: CIELAB units from all overprints: no ink that is known
_LIT_PX, _LIT_ROUNDS, _PULL = 240, 10, 0.05  #: light is near to even and white, by so much of the pixels' weight
_DISTINCT = 12.0  #: CIELAB units between colours that are offered as inks; our own choice
_BETWEEN = 25.0  # a colour closer than this to the mixture of two others may be a blurred edge


@dataclass(frozen=True, eq=False)
class Inks:
    """Which ink each pixel shows."""

    labels: Bytes  #: 0 paper, 1 the darkest ink, …; (height, width)
    unsure: Mask  #: where a colour is no ink's own, but about as near to two, or far from all; (height, width)
    colours: tuple[str, ...]  #: of the paper and the inks, as ``#rrggbb``


def colours_in(image: Image.Image, corners: Floats | None = None) -> list[str]:
    """What may be the inks in a picture, as ``#rrggbb``: the commonest, then always the one farthest from all before.

    Parameters
    ----------
    corners
        Between which it is looked at, clockwise from the upper left; (4, 2), pixels. None: all of it.
    """
    size = (_LIT_PX, _LIT_PX)
    if corners is None:
        small = image.convert("RGB").resize(size, Image.Resampling.BOX)
    else:
        by_side = corners[[0, 3, 2, 1]].ravel().tolist()
        small = image.convert("RGB").reduce(max(1, max(image.size) // _LOOK_PX))
        share = small.width / image.width
        small = small.transform(size, Image.Transform.QUAD, tuple(share * side for side in by_side))
    colour = np.moveaxis(np.asarray(small), -1, 0)
    count = _learnt(colour, _binned(colour))
    used = np.flatnonzero(count)
    cells, weight = _cells(cielab(255 * _cube()[used]), count[used])
    chosen = [int(weight.argmax())]
    while (far := np.linalg.norm(cells[:, None] - cells[chosen], axis=2).min(axis=1)).max() >= _DISTINCT:
        chosen.append(int(np.argmax(far**2 * np.sqrt(weight) * (far >= _DISTINCT))))
    paper = max(chosen, key=lambda k: cells[k, 0])
    return [_hex(cells[k]) for k in chosen if k != paper or not is_bright(cells[k])][:MAX_INKS]


def separated(colour: Bytes, count: int, *, reach: int = 1) -> Inks:
    """Paper and `count` inks, told apart in CIELAB.

    Colours are gathered in a cube of bins and grouped by k-means weighted with the bins' pixels (source:
    lloyd-1982), started from the bins that lie farthest apart, so that no random number is needed. The
    lightest group is the paper. Where a dark ink meets paper the blurred edge has the colour of some lighter ink:
    a pixel keeps such an ink only if a spot of it, wider than ``2 reach`` pixels, is near. What is not sure is told
    where it is wider than such an edge.

    Parameters
    ----------
    colour
        Red, green, blue, already slightly smoothed; (3, height, width).
    reach
        Half the width of a blurred edge, in pixels.

    Raises
    ------
    InputError
        If there are not so many colours.
    """
    cube = cielab(255 * _cube())
    bins = _binned(colour)
    centres = _ordered(_grouped(cube, _learnt(colour, bins), count + 1))
    far = np.stack([np.linalg.norm(cube - centre, axis=1) for centre in centres]).astype(np.float32)
    labels = far.argmin(axis=0).astype(np.uint8)[bins]
    doubtful = _in_doubt(_share_likely(far, np.eye(len(centres)), 1.0)) | (far.min(axis=0) > _STRANGE)
    unsure = _opened(doubtful[bins], 4 * reach + 3)
    return Inks(_without_rims(labels, bins, far, centres, reach), unsure, tuple(map(_hex, centres)))


@dataclass(frozen=True, eq=False)
class Overprints:
    """Which inks lie on each pixel, by the inks' own model."""

    on: tuple[Mask, ...]  #: for each ink, in printing order; (height, width)
    unsure: Mask  #: where two unlike answers are about as likely, or no overprint has this colour; (height, width)
    paper_share: float  #: of the picture that is bare paper
    thin_share: tuple[float, ...]  #: for each ink, of the picture, where it may lie thinly or not at all


def by_model(colour: Bytes, coats: Sequence[Ink], paper: Rgb, *, reach: int = 1) -> Overprints:
    """Inks told apart where they lie over one another, even where no bare paper is left.

    Every combination of the inks has the colour that `overprinted` gives; each pixel shows the nearest in CIELAB. The
    light is told from the picture itself: in each channel a smooth surface of second degree, near to even white light,
    by which the pixels come to lie nearest to combinations. Blurred edges go as in `separated`.

    Parameters
    ----------
    colour
        Red, green, blue, already slightly smoothed; (3, height, width).
    coats
        The inks in printing order.
    """
    bits = np.array([[k >> i & 1 for i in range(len(coats))] for k in range(1 << len(coats))], dtype=np.float64)
    light = overprinted(paper, list(zip(coats, bits.T, strict=True)))
    even = _in_even_light(colour, light)
    centres = cielab(screen(light))
    bins = _binned(even)
    cube = cielab(255 * _cube())
    far = np.stack([np.linalg.norm(cube - centre, axis=1) for centre in centres]).astype(np.float32)
    nearest = far.argmin(axis=0).astype(np.uint8)
    count = np.bincount(nearest[bins[::4, ::4]].ravel(), minlength=len(centres))
    far[count < max(2, _RAREST * count.sum())] = np.inf
    share, thin = _share_likely(far, bits, 0.0), _thin(far, bits, centres)
    doubtful = _in_doubt(share) | (far.min(axis=0) > _STRANGE)
    shown = doubtful | _in_doubt(_share_likely(far, bits, 1.0)) | thin.any(axis=0)
    far[:, doubtful] = _by_what_is_sure(
        far[:, doubtful],
        bits,
        share[:, ~doubtful],
        np.bincount(bins[::4, ::4].ravel(), minlength=far.shape[1])[~doubtful],
    )
    labels = far.argmin(axis=0).astype(np.uint8)[bins]
    side = 2 * reach + 3  # wider than a blurred edge, narrower than a flake
    unsure = _opened(shown[bins], side)
    labels = _without_rims(labels, bins, far, centres, reach)
    on = tuple(bits[:, i].astype(bool)[labels] for i in range(len(coats)))
    thinly = [_running_out(mask[bins] & unsure, on[i], unsure) for i, mask in enumerate(thin)]
    unsure = np.any([unsure, *thinly], axis=0)
    return Overprints(on, unsure, float((labels == 0).mean()), tuple(float(mask.mean()) for mask in thinly))


def hidden_by(coats: Sequence[Ink], paper: Rgb) -> list[list[int]]:
    """For each ink the numbers of those that hide it: where they lie, it hardly changes the colour."""

    def seen(*which: int) -> Floats:
        return cielab(screen(overprinted(paper, [(ink, np.array(float(k in which))) for k, ink in enumerate(coats)])))

    count = range(len(coats))
    return [[k for k in count if k != i and np.linalg.norm(seen(i, k) - seen(k)) < _HIDES] for i in count]


def _in_doubt(share: Floats) -> Mask:
    """The colours in which some ink is neither likely nor unlikely; (colours,)."""
    return np.asarray(((share > _DOUBT) & (share < 1 - _DOUBT)).any(axis=0))


def _share_likely(far: NDArray[np.float32], bits: Floats, across: float) -> Floats:
    """How likely each ink lies where a colour is so far from each combination's; (inks, colours).

    A colour that lies off all of them strays `across` times as far towards others, too: an ink that is mixed or printed
    otherwise moves every combination.
    """
    near = far.min(axis=0)
    likely = np.exp(-(far**2 - near**2) / 2 / (_STRAY**2 + (across * near) ** 2))
    return np.asarray(bits.T @ likely / likely.sum(axis=0))


def _thin(far: NDArray[np.float32], bits: Floats, centres: Floats) -> Mask:
    """For each ink the colours on the way from a combination without it to the one with it; (inks, colours).

    A blend that fades into the paper passes there, and looks like paper that is not quite clean.
    """
    nearest, thin = far.argmin(axis=0), np.zeros((bits.shape[1], far.shape[1]), dtype=bool)
    for k, i in zip(*np.nonzero(bits == 0), strict=True):
        other = k | 1 << i
        step = float(np.linalg.norm(centres[other] - centres[k]))
        here = np.flatnonzero(nearest == k)
        if step < _HIDES or not np.isfinite(far[other]).any():
            continue
        along = (step**2 + far[k, here] ** 2 - far[other, here] ** 2) / (2 * step)
        thin[i, here] = (along > max(_THIN, _PART * step)) & (far[k, here] ** 2 < (1 + _ASIDE**2) * along**2)
    return thin


def _running_out(thin: Mask, on: Mask, unsure: Mask) -> Mask:
    """Where an ink lies thinly, with the places without it into which that runs out rather than ends; same shape.

    Light that falls off looks the same there, so that what is left of the ink at its thin end can't be told.
    """
    step = max(1, -(-max(thin.shape) // _LOOK_PX))
    here, off = (mask[::step, ::step] for mask in (thin, ~on))
    here = _opened(here, _BLEND_PX)
    if not here.any():
        return thin
    places, count = label((off | unsure[::step, ::step]) & ~here)
    rim = (places > 0) & ~binary_erosion(places > 0)
    beside = rim & binary_dilation(here, iterations=2)
    rims, besides = (np.bincount(places[mask], minlength=count + 1) for mask in (rim, beside))
    ends = np.concatenate([[False], besides[1:] > _RUNS_OUT * rims[1:]])[places]
    whole = np.repeat(np.repeat(ends, step, axis=0), step, axis=1)[: thin.shape[0], : thin.shape[1]]
    return np.asarray(thin | (whole & ~on))


def _by_what_is_sure(far: NDArray[np.float32], bits: Floats, share: Floats, weight: Indices) -> Floats:
    """Distances of doubtful colours, longer where an ink would be rarer than it is where it is sure; same shape."""
    usual = np.clip(share @ weight / max(weight.sum(), 1), 0.02, 0.98)
    odds = bits @ np.log(usual) + (1 - bits) @ np.log(1 - usual)
    return np.asarray(np.sqrt(far**2 + 2 * _STRAY**2 * (odds.max() - odds)[:, None]), dtype=np.float64)


def _in_even_light(colour: Bytes, light: Floats) -> Bytes:
    """The picture in the light in which its colours are those of combinations of inks; same shape."""
    step = max(1, -(-max(colour.shape[1:]) // _LIT_PX))
    small = np.stack([np.asarray(Image.fromarray(channel).reduce(step)) for channel in colour], axis=-1)
    log, y, x = np.log(linear(small) + 1e-3), *np.mgrid[-1 : 1 : small.shape[0] * 1j, -1 : 1 : small.shape[1] * 1j]
    basis = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1).reshape(-1, 6)
    seen, wanted = log.reshape(-1, 3), cielab(screen(light))
    surface = np.zeros_like(seen)
    pull = np.diag([_PULL * len(seen)] + [1e-6 * len(seen)] * 5)
    for _ in range(_LIT_ROUNDS):
        lab = cielab(screen(np.exp(seen - surface) - 1e-3))
        far = np.stack([np.linalg.norm(lab - ideal, axis=1) for ideal in wanted])
        rest = seen - np.log(light + 1e-3)[far.argmin(axis=0)]
        weight = 1 / (1 + (far.min(axis=0) / _STRANGE) ** 2)
        normal = (basis * weight[:, None]).T
        surface = basis @ np.linalg.solve(normal @ basis + pull, normal @ rest)
    gain = np.exp(-surface / 2.4).reshape(log.shape).astype(np.float32)
    size = colour.shape[2], colour.shape[1]
    spread = (Image.fromarray(gain[..., k]).resize(size, Image.Resampling.BILINEAR) for k in range(3))
    return np.stack(
        [np.clip(channel * np.asarray(by), 0, 255).astype(np.uint8) for channel, by in zip(colour, spread, strict=True)]
    )


def _cube() -> Floats:
    steps = (np.arange(1 << _BITS) + 0.5) / (1 << _BITS)
    return np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(-1, 3)


def _hex(lab: Floats) -> str:
    red, green, blue = np.round(from_cielab(lab)).astype(int)
    return hex_of((red, green, blue))


def _binned(colour: Bytes) -> Bins:
    """Each pixel's place in the cube; (height, width)."""
    bins = np.zeros(colour.shape[1:], dtype=np.int32)
    for channel in colour:
        bins <<= _BITS
        bins |= channel >> (8 - _BITS)
    return bins


def _learnt(colour: Bytes, bins: Bins) -> Floats:
    """How many pixels of even colour each bin has; (bins,)."""
    step = max(int(np.sqrt(bins.size / _LOOKS)), 1)
    here, right, below = (
        colour[:, down::step, across::step].astype(np.int16) for down, across in ((0, 0), (0, 1), (1, 0))
    )
    rows, columns = below.shape[1], right.shape[2]
    here, right, below = (part[:, :rows, :columns] for part in (here, right, below))
    even = np.maximum(np.abs(here - right), np.abs(here - below)).max(axis=0) <= _EVEN
    sampled = bins[::step, ::step][:rows, :columns]
    return np.bincount(sampled[even] if even.any() else sampled.ravel(), minlength=1 << (3 * _BITS)).astype(np.float64)


def _grouped(cube: Floats, weight: Floats, count: int) -> Floats:
    used = weight > 0
    colours, weight = cube[used], weight[used]
    centres = _farthest(*_cells(colours, weight), count)
    for _ in range(100):
        label = np.linalg.norm(colours[:, None] - centres, axis=2).argmin(axis=1)
        total = np.bincount(label, weight, minlength=count)
        sums = np.stack([np.bincount(label, weight * colours[:, k], minlength=count) for k in range(3)], axis=1)
        moved = np.where(total[:, None] > 0, sums / np.maximum(total, 1e-12)[:, None], centres)
        done = np.abs(moved - centres).max() < 1e-3
        centres = moved
        if done:
            break
    _check_apart(centres)
    return centres


def _cells(colours: Floats, weight: Floats) -> tuple[Floats, Floats]:
    """Mean colour and weight of the cells that hold enough pixels."""
    _, cell = np.unique(np.floor(colours / _CELL).astype(int), axis=0, return_inverse=True)
    total = np.bincount(cell.ravel(), weight)
    means = np.stack([np.bincount(cell.ravel(), weight * colours[:, k]) for k in range(3)], axis=1) / total[:, None]
    kept = total >= min(_RAREST * total.sum(), total.max())
    return means[kept], total[kept]


def _farthest(colours: Floats, weight: Floats, count: int) -> Floats:
    """Colours to start from: the commonest, then always the one that is far from all before and not too rare."""
    chosen = [int(weight.argmax())]
    while len(chosen) < count:
        far = np.linalg.norm(colours[:, None] - colours[chosen], axis=2).min(axis=1)
        if far.max() < _APART:
            raise _too_many(len(chosen) - 1)
        chosen.append(int(np.argmax(far**2 * np.sqrt(weight) * (far >= _APART))))
    return colours[chosen]


def _check_apart(centres: Floats) -> None:
    close = min(float(np.linalg.norm(a - b)) for a, b in combinations(centres, 2))
    if close < _APART:
        raise _too_many(len(centres) - 2)


def _too_many(fewer: int) -> InputError:
    if fewer < 1:
        return InputError("shows one even colour: no ink can be told from the paper", hint="scan it in colour")
    return InputError(
        "shows fewer colours than there should be inks",
        hint=f"ask for {fewer}: {{inks}} {fewer}, or scan it in colour; where an ink prints over all no paper is seen: "
        "then give all inks with their colours, {print} PRINT.toml",
        names=("inks", "print"),
    )


def _ordered(centres: Floats) -> Floats:
    """The lightest first, for it is the paper; then from dark to light."""
    order = np.argsort(centres[:, 0], kind="stable")
    return np.asarray(centres[np.concatenate([order[-1:], order[:-1]])])


def _without_rims(labels: Bytes, bins: Bins, far: NDArray[np.float32], centres: Floats, reach: int) -> Bytes:
    """The labels with blurred edges given to what lies on both sides of them."""
    size = 2 * reach + 1
    core = _over(labels, size, np.minimum) == _over(labels, size, np.maximum)
    rim = np.flatnonzero(~core)
    best = np.full(len(rim), np.inf, dtype=np.float32)
    nearest = labels.ravel()[rim].copy()
    place = bins.ravel()[rim]
    for k, mixed in enumerate(_mixtures(centres)):
        distance = far[k][place]
        better = distance < best
        if mixed:
            spots = ((labels == k) & core).view(np.uint8)
            better &= _over(spots, 4 * reach + 3, np.maximum).ravel()[rim].astype(bool)
        best[better], nearest[better] = distance[better], k
    out = labels.ravel().copy()
    out[rim] = nearest
    return out.reshape(labels.shape)


def _over(values: Bytes, size: int, pick: np.ufunc) -> Bytes:
    """The least or the greatest value in the square of an odd `size` round each pixel; (height, width)."""
    picked = values
    for axis in (0, 1):
        near = picked.swapaxes(0, axis)
        edge = np.repeat(near[:1], size // 2, axis=0), np.repeat(near[-1:], size // 2, axis=0)
        run, width = np.concatenate([edge[0], near, edge[1]]), 1
        while width < size:  # runs of twice the width, the last of them overlapping
            step = min(width, size - width)
            run, width = pick(run[:-step], run[step:]), width + step
        picked = run.swapaxes(0, axis)
    return picked


def _opened(mask: Mask, side: int) -> Mask:
    """The part of a mask in which squares fit: binary opening, by row and column; same shape."""
    cores = minimum_filter(mask.view(np.uint8), side, mode="constant")  # beyond the rim nothing is in it
    return np.asarray(maximum_filter(cores, side).view(np.bool_))


def _mixtures(centres: Floats) -> list[bool]:
    """For each colour whether some blend of two others looks like it."""
    return [
        any(_between(centre, a, b) < _BETWEEN for a, b in combinations(np.delete(centres, k, axis=0), 2))
        for k, centre in enumerate(centres)
    ]


def _between(point: Floats, one: Floats, other: Floats) -> float:
    step = other - one
    along = float((point - one) @ step / max(float(step @ step), 1e-12))
    if not 0.1 < along < 0.9:
        return np.inf
    return float(np.linalg.norm(point - one - along * step))
