"""Layers parted by colour: what is seen of each where colours are laid one over the other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.colour import alike, colour_word, rgb

if TYPE_CHECKING:
    from carvegen.artwork.bounds import Budget
    from carvegen.artwork.drawing import Notes
    from carvegen.geometry import Indices, PolygonArray

__all__ = ["PARTED", "by_depth", "seen"]

PARTED = "\0"  #: between a layer's name, a colour and how deep it lies; no XML holds it
_MOST_COLOURS = 24  #: a layer in more of them is a picture, which colours don't part into blocks: our own choice


def by_depth(runs: Mapping[str, Sequence[PolygonArray]], notes: Notes) -> dict[str, list[PolygonArray]]:
    """What was drawn in turn, joined where its order does not matter: few depths are left of many changes of colour.

    A run lies one deeper in front than any of another colour of its layer, drawn before, whose box meets its own.

    Parameters
    ----------
    runs
        Shapes by layer, colour and number of the run, in the order of drawing, `PARTED`.
    notes
        Take what colours are taken as one.

    Returns
    -------
    dict
        Shapes by layer, colour and depth, in the order of drawing.
    """
    keys = [key.split(PARTED) for key in runs]
    same = alike([colour for _, colour, _ in keys])
    for colour, first in same.items():
        if colour != first:
            notes.add("colours that hardly differ are one ink", f"{colour} and {first}")
    names = [f"{layer}{PARTED}{same[colour]}" for layer, colour, _ in keys]
    every, run = _stacked([geometry.stack(shapes) for shapes in runs.values()])
    layer, ink = _numbers([layer for layer, _, _ in keys]), _numbers(names)
    over, under = run[shapely.STRtree(every).query(every)]
    met = (over > under) & (layer[over] == layer[under]) & (ink[over] != ink[under])
    over, under = over[met], under[met]  # `over` rises, as the shapes come in order
    depth = np.zeros(len(keys), dtype=np.int64)
    starts = np.flatnonzero(np.diff(over, prepend=-1))
    for k, below in zip(over[starts], np.split(under, starts[1:]), strict=bool(len(starts))):
        depth[k] = 1 + depth[below].max()
    result: dict[str, list[PolygonArray]] = {}
    for name, k, shapes in zip(names, depth, runs.values(), strict=True):
        result.setdefault(f"{name}{PARTED}{k}", []).extend(shapes)
    return result


def seen(
    layers: Mapping[str, PolygonArray], notes: Notes, budget: Budget
) -> tuple[dict[str, PolygonArray], dict[str, str]]:
    """What is seen of each colour of a layer, and the colours of layers; one of very many colours stays whole.

    Parameters
    ----------
    layers
        Shapes as `by_depth` joins them, valid.

    Raises
    ------
    InputError
        If colours hide one another far too often.
    """
    keys = [key.split(PARTED) for key in layers]
    inks = list(dict.fromkeys(colour for _, colour, _ in keys))
    words = _words(inks)
    drawn_in: dict[str, set[str]] = {}
    for layer, colour, _ in keys:
        drawn_in.setdefault(layer, set()).add(colour)
    for layer, several in drawn_in.items():
        if len(several) > _MOST_COLOURS:
            notes.add(
                f"drawn in more than {_MOST_COLOURS} colours, which are not told apart", layer and f"layer {layer!r}"
            )
    behind, front, every = _hidden(layers, [1 < len(drawn_in[layer]) <= _MOST_COLOURS for layer, _, _ in keys], budget)
    ends = np.searchsorted(behind, np.arange(len(keys) + 1))
    parted: dict[str, list[PolygonArray]] = {}
    colours: dict[str, str] = {}
    for k, ((layer, colour, _), shapes) in enumerate(zip(keys, layers.values(), strict=True)):
        name, left = layer, shapes
        if 1 < len(drawn_in[layer]) <= _MOST_COLOURS:
            name = f"{layer} {words[colour]}".strip()
        if ends[k] < ends[k + 1]:
            # far quicker than `geometry.joined` where most lie over one another
            hidden = shapely.disjoint_subset_union_all(every[front[ends[k] : ends[k + 1]]])
            left = geometry.parts(shapely.difference(shapely.multipolygons(shapes), hidden))
        parted.setdefault(name, []).append(geometry.snapped(left))
        if len(drawn_in[layer]) <= _MOST_COLOURS:
            colours[name] = colour
    joined = {
        name: parts[0] if len(parts) == 1 else geometry.joined(geometry.stack(parts)) for name, parts in parted.items()
    }
    return {name: shapes for name, shapes in joined.items() if len(shapes)}, colours


def _words(inks: Sequence[str]) -> dict[str, str]:
    """A word for each colour of a drawing, no two alike: of one word the second has a number."""
    words: dict[str, str] = {}
    for k, ink in enumerate(inks):
        word = "white" if ink == "#ffffff" else colour_word(rgb(ink)) if ink else f"colour {k + 1}"
        names = (word, *(f"{word} {j}" for j in range(2, len(inks) + 2)))
        words[ink] = next(name for name in names if name not in words.values())
    return words


def _hidden(
    layers: Mapping[str, PolygonArray], parted: Sequence[bool], budget: Budget
) -> tuple[Indices, Indices, PolygonArray]:
    """Layers' numbers, rising, each with that of a shape whose box lies before it in another colour; all shapes."""
    keys = [key.split(PARTED) for key in layers]
    layer, ink = _numbers([key[0] for key in keys]), _numbers([key[1] for key in keys])
    depth = np.array([int(key[2]) for key in keys])
    every, whose = _stacked(list(layers.values()))
    one, front = shapely.STRtree(every).query(every)
    low, high = whose[one], whose[front]
    hides = np.array(parted)[low] & (layer[low] == layer[high]) & (ink[low] != ink[high]) & (depth[low] < depth[high])
    pairs = np.sort(low[hides] * len(every) + front[hides])
    behind, front = np.divmod(pairs[np.diff(pairs, prepend=-1) > 0], max(len(every), 1))
    budget.take("hiding", int(shapely.get_num_coordinates(every[front]).sum()))
    return behind, front, every


def _stacked(arrays: Sequence[PolygonArray]) -> tuple[PolygonArray, Indices]:
    """All shapes, and the number of the array that each is of."""
    return geometry.stack(arrays), np.repeat(np.arange(len(arrays)), [len(shapes) for shapes in arrays])


def _numbers(words: Sequence[str]) -> Indices:
    return np.unique(np.array(words, dtype=object).astype(str), return_inverse=True)[1]
