"""A new print of her own drawings: these at true size, and a print file of them that says what to change."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Container, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.colour import (
    TWO_TONES,
    Ink,
    alike,
    ciede2000,
    cielab,
    hex_of,
    lightness,
    mixed,
    rgb,
    screen_rgb,
    solids,
)  # fmt: skip
from carvegen.base.errors import InputError
from carvegen.base.words import listed
from carvegen.motifs import motif
from carvegen.motifs.shared.minimum_width import closed
from carvegen.prints.file.keys import PrintBlock
from carvegen.prints.file.print_file import block_name_fault
from carvegen.prints.file.suited import NEW_SNOWFALL, largest_for
from carvegen.prints.layers import runs_across
from carvegen.writers.block.clean_artwork import artwork_svg, page_size

if TYPE_CHECKING:
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

    from carvegen.artwork import Artwork
    from carvegen.base.colour import Rgb
    from carvegen.geometry import PolygonArray

__all__ = ["begun_with", "face_of", "guess", "in_order", "plain_file_name", "print_files"]

_SAME_MM = 0.05  #: two pages that differ by no more are the same
_DRAWN_FIRST = 0.3  #: so much is enough of what is drawn first along the top edge: our own choice
_TOP, _ALONG, _ALL_ALONG = 0.05, 0.5, 0.9  #: the upper edge; the share there of a sky, and with all before it: our own
_BARE = 0.02  #: where no more of the face is bare, no sky is put behind: our own choice
_BACKDROP = 0.6  #: a layer that fills more of the face is what all else stands before, such as a sky: our own choice
_UNLIKE = 12.0  #: ΔE00 of inks that share no block, however many there are: one thing would vanish in another: our own
_SEEN = 5.0  #: ΔE00 by which a colour is plainly another one: our own choice
_SEAM = 0.5  #: of how finely a picture is known: what parts two inks by no more is no paper; our own choice
_MUCH_DARKER = 15.0  #: L* by which an ink is darker than the sky, so that the sky prints under it: our own choice
_DARKER = 5.0  #: L* that are enough for ground that darker things stand before, and for what stands on a lighter block
_STANDING = 0.01  #: of the face is filled by such darker things: our own choice
_STANDS_ON, _SPECK = 0.8, 1e-3  #: so much of each shape lies on the lighter block's, but of specks: shares of all of it
_LIGHT, _DARK, _WHITE = "#a9bfcb", "#1f2b3d", "#ffffff"  #: inks of a winter's sky and of lines; paper
_MOST_BLOCKS = 5  #: of what is drawn in more colours tones that are most alike share a block: our own choice
_PLAIN, _WORD = re.compile("[^a-z0-9]+"), re.compile("[a-z]+")
#: What bears no snow, by words of layers' names, no accents: English, German, French, Spanish, Dutch: our own list
_BARE_WORDS = frozenset(
    _WORD.findall("""
    water sea ocean lake river pond wave ripple sky moon sun star cloud fog mist rain smoke steam flame fire light glow
    reflection
    wasser meer see ozean fluss teich welle himmel mond sonne sterne wolke nebel regen rauch dampf flamme feuer licht
    schein spiegelung
    eau mer lac riviere fleuve etang vague ciel lune soleil etoile nuage brume pluie fumee vapeur feu lumiere lueur
    reflet
    agua mar oceano lago rio estanque ola cielo luna sol estrella nube niebla lluvia humo vapor llama fuego luz
    reflejo
    zee oceaan rivier vijver golf golven lucht hemel maan zon sterren wolk rook stoom vlam vlammen vuur gloed
    weerspiegeling
""")
)
#: The same for what is read.
_LETTER_WORDS = frozenset(
    _WORD.findall("""
    letter lettering text title caption buchstabe schrift titel lettre texte titre letra texto titulo tekst
""")
)
_PLURALS = ("", "s", "es", "n", "en", "x")  #: what a plural of these words ends in
#: Words of layers' names, by where their block prints: behind, between, last.
_RANKS = (
    frozenset({"sky", "background", "backdrop"}),
    frozenset({"tone", "tones", "flat", "flats", "tint", "tints", "midtone", "mid"}),
    frozenset({"key", "line", "lines", "lineart", "outline", "outlines", "dark", "darks"}),
)
_KEYS = {
    "blocks": ("name", "role", "ink", "opacity", "layers", "material", "cutter", "for", "state", "cut_land"),
    "motifs": ("motif", "preset", "on", "grows", "settings", "behind", "far_behind", "middle_behind"),
}
_HEAD = (
    "A print: what its blocks are, what is drawn on them, and what snow falls on it.",
    "Lengths are millimetres. Change a value, build again: only what it touches is made anew.",
    "Snow grows by the strictest limits of all blocks: another material, cutter or machine for one moves it on all,",
    "unless it is kept first (carvegen keep print.toml).",
    "All that may stand here is in print.schema.json, which editors read; materials, cutters: carvegen profiles list.",
)
_BLOCKS = (
    "The blocks in printing order. A guess: change inks and layers, copy a table for one more block.",
    'role: "background" prints all of the face where nothing stands in front (layers = ["*"]), "ground" all of it,',
    'under all else and under what you left white; "tone" flat colour, "key" lines and darks. for: "hand", "laser",',
    '"router". mend = true widens what is too thin to stand.',
)
_UNDER = (
    "{0} under layers of darker blocks as well, light to dark: no white line opens beside these, and nothing",
    "fine is cut out below them. Take a layer out of a block's list where its ink must not lie under it.",
)
_DARKENED = "Over {1} the ink of {0} prints as about {2}, darker than {3} as drawn: mix it lighter, or print it opaque."
_TONED = "{0} prints over {1} in {2}, not in {3}: two tones. Put these layers under {1} too, or print {0} more opaque."
_CUT = (
    'state = "cut": the block is cut already. cut_land shows what stands of it: nothing is put back, and only what the',
    "snow takes of it is still to be cut. Nothing of it is widened.",
)
_MOTIFS = (
    "The snow, taken out of every block that would print there. A guess: on names the layers that it lies on, as if",
    "they were one thing; ground from side to side has a table of its own. Layers named as water, sky, light, letters",
    "bear none. Other weather is another preset (carvegen motifs). Take a table out, and that snow is gone.",
    "settings: largest_mm suits the face; hidden is the share of flakes that go on, cut off, behind what hides them.",
)
_DEPTH = (
    "far_behind and middle_behind: the layers that hide far flakes, and those that hide flakes in the middle distance;",
    "near flakes fall in front of all. A guess by the order of drawing: what is drawn later stands in front.",
    "Near what is dark and no broad ground snow falls in single flakes. behind hides all that falls, as letters do.",
)
_NO_DEPTH = (
    "The drawing has no separate layers that say what is near and what is far: flakes fall behind all of it, or in",
    'front. Draw near things on layers of their own, and name those that hide far flakes: far_behind = ["POSTS"].',
)


@dataclass(frozen=True, kw_only=True)
class _Plan:
    """The layers that print on one block, as far as a drawing tells."""

    layers: tuple[str, ...]
    rank: int  #: 0 behind, 1 between, 2 the lines and darks, by the layers' names
    colour: str  #: "" where it tells nothing
    area_mm2: float


def _rank(layer: str) -> int | None:
    """Where a layer's block prints by the words of its name: 0 first, 2 last; None if they do not tell."""
    words = set(_WORD.findall(layer.lower()))
    return next((rank for rank, known in enumerate(_RANKS) if words & known), None)


def begun_with(artwork: Artwork, name: str) -> Artwork:
    """A drawing as a print begins with it: every layer has a name, no white paper lies behind, dark lines in front."""
    artwork = artwork.named(name)
    page_mm2 = (artwork.width_mm or 0.0) * (artwork.height_mm or 0.0)
    paper = [
        layer for layer, shapes in artwork.layers.items()
        if artwork.colours.get(layer) == _WHITE and 0 < _BACKDROP * page_mm2 < shapely.area(shapes).sum()
    ]  # fmt: skip
    order = sorted((layer for layer in artwork.layers if layer not in paper), key=_known)
    layers = {layer: artwork.layers[layer] for layer in order} or artwork.layers
    return replace(artwork, layers=_grown_together(layers, _SEAM * artwork.known_mm))


def _grown_together(layers: Mapping[str, PolygonArray], wide_mm: float) -> Mapping[str, PolygonArray]:
    """Layers without slits up to so wide between two: each runs on under those drawn later, which stand in front.

    A picture shows inks that meet; traced one by one they would leave cuts between them that no tool makes.
    """
    if wide_mm <= 0 or len(layers) < 2:
        return layers
    grown: dict[str, PolygonArray] = {}
    front: BaseGeometry = shapely.Polygon()
    for name, shapes in reversed(list(layers.items())):
        own = shapely.union_all(shapes)
        both = shapely.union(own, front)
        seam = shapely.intersection(shapely.buffer(own, wide_mm), shapely.buffer(front, wide_mm))
        seam = shapely.intersection(seam, closed(both, wide_mm, quad_segs=4))
        grown[name] = geometry.parts(shapely.union(own, seam))
        front = both
    return {name: grown[name] for name in layers}


def _known(layer: str) -> int:
    rank = _rank(layer)
    return 1 if rank is None else rank


def in_order(drawings: Sequence[tuple[str, Artwork]]) -> list[tuple[str, Artwork]]:
    """Drawings by what the names of their layers tell, the key last: what comes later stands in front."""
    return sorted(drawings, key=lambda named: min(map(_known, named[1].layers), default=1))


def guess(
    layers: Mapping[str, PolygonArray], size_mm: tuple[float, float], colours: Mapping[str, str] | None = None, *,
    sky: bool = True,
) -> dict[str, Any]:  # fmt: skip
    """What a print of these layers begins as: a block for each ink, light ones first, snow on all and in the sky.

    A layer whose name tells its block (sky, tone, key) is a block, with all that has its colour; others that are
    drawn in several colours are a block for each colour, and what tells nothing is a block for each layer. White is
    paper. Where no layer is behind all, a sky is put there. Far flakes fall behind all things, those in the middle
    distance behind the nearer half, near ones in front of all. None of them is cut off by what hides it: one that
    ends flat at a horizon, or amid one dark of two things, looks like a fault. A light sky that is drawn over all
    of the face is the background and prints under darker inks, and a block under all darker things that stand on it.

    Parameters
    ----------
    layers
        Shapes by layer, mm, in the order of drawing: what comes later stands in front.
    size_mm
        The face.
    colours
        "#rrggbb" of layers, as far as the drawing tells.
    sky
        Whether a sky is put behind all where none is drawn.

    Returns
    -------
    dict
        `material`, `cutter` and `for`; `blocks` and `motifs` as tables of a print file, the former without these;
        `why`, sentences on how the blocks came about.
    """
    presets = {name: next(iter(motif(name).PRESETS)) for name in ("snowload", "snowfall")}
    same = alike((colours or {}).values())
    colours = {name: same[colour] for name, colour in (colours or {}).items()}
    inked = [name for name in layers if colours.get(name) != _WHITE] or list(layers)
    behind = {name for name in inked if _is_behind(name, layers, name == inked[0], size_mm)}
    things = [name for name in inked if name not in behind]
    letters = [name for name in inked if _named_with(name, _LETTER_WORDS)]
    hides = {"behind": letters, "far_behind": things, "middle_behind": things[(len(things) + 1) // 2 :]}
    hides = {key: names for key, names in hides.items() if names}
    bearers = _bearers([name for name in things or inked if _may_bear(name)], layers, size_mm[0])
    face = shapely.box(0, 0, *size_mm)
    covered = _fills(geometry.stack(layers[name] for name in inked), face)
    under_all = {name for name in behind if _fills(layers[name], face)}
    blocks, why = _blocks({name: layers[name] for name in inked}, behind, colours, covered=covered, sky=sky)
    flat = not under_all.isdisjoint(blocks[0]["layers"])
    under = [
        _darker_layers(blocks, layers, face) if flat and k == 0 else _standing_on(k, blocks, layers)
        for k in range(len(blocks))
    ]
    blocks = [block | {"layers": block["layers"] + more} for block, more in zip(blocks, under, strict=True)]
    if flat and blocks[0]["role"] == "tone":
        blocks[0]["role"] = "background"
    return {
        "material": "linoleum", "cutter": "v-60", "for": ["hand"],
        "blocks": blocks,
        "motifs": [
            *({"motif": "snowload", "preset": presets["snowload"], "on": on} for on in bearers),
            {"motif": "snowfall", "preset": presets["snowfall"], "settings": dict(NEW_SNOWFALL), **hides},
        ],
        "why": [*why, _bare_words([name for name in things or inked if not _may_bear(name)])],
    }  # fmt: skip


def _bare_words(bare: Sequence[str]) -> str:
    """On which layers no snow lies by the words of their names; where none is so named, that it would be so."""
    if bare:
        return f"By the name, no snow lies on {', '.join(bare)}."
    return "Snow lies on every layer that is not behind all; on one named as water, light or letters none would."


def _may_bear(name: str) -> bool:
    """Whether snow may lie on a layer, as far as the words of its name tell: not on water, light or letters."""
    return not _named_with(name, _BARE_WORDS | _LETTER_WORDS)


def _named_with(name: str, known: frozenset[str]) -> bool:
    """Whether a layer's name has one of these words in it, or its plural."""
    words = _WORD.findall(_unaccented(name))
    return any(word.endswith(end) and word.removesuffix(end) in known for word in words for end in _PLURALS)


def _bearers(names: list[str], layers: Mapping[str, PolygonArray], width_mm: float) -> list[list[str]]:
    """What bears snow of its own: each layer with ground that runs from side to side, and all others together.

    Of one with the hills behind it, a post would have no outline left that snow could lie on.
    """
    order = list(layers)
    before = {name: geometry.union(*(layers[other] for other in order[order.index(name) + 1 :])) for name in names}
    grounds = [name for name in names if runs_across(layers[name], width_mm, before[name]).any()]
    others = [name for name in names if name not in grounds]
    return [[name] for name in grounds] + ([others] if others else [])


def _fills(shapes: PolygonArray, face: Polygon) -> bool:
    """Whether shapes leave next to nothing of the face bare."""
    return bool(shapely.difference(face, shapely.union_all(shapes)).area < _BARE * face.area)


def _darker_layers(blocks: Sequence[Mapping[str, Any]], layers: Mapping[str, PolygonArray], face: Polygon) -> list[str]:
    """The layers that the first block may print under: those of much darker inks, which hardly change.

    And the ground that these stand before, if it is darker at all: or what is under them would be islands in it.
    """
    first, *rest = (lightness(rgb(block["ink"])) for block in blocks)
    darker = {name: first - light for block, light in zip(blocks[1:], rest, strict=True) for name in block["layers"]}
    order = list(layers)

    def goes_under(name: str) -> bool:
        before = [other for other in order[order.index(name) + 1 :] if darker.get(other, 0.0) >= _MUCH_DARKER]
        standing = geometry.union(*(layers[other] for other in before))
        covered = shapely.intersection(geometry.union(layers[name]), standing)
        return bool(darker[name] >= _DARKER and shapely.area(covered) >= _STANDING * face.area)

    return [name for name, by in darker.items() if by >= _MUCH_DARKER or goes_under(name)]


def _standing_on(number: int, blocks: Sequence[Mapping[str, Any]], layers: Mapping[str, PolygonArray]) -> list[str]:
    """The layers that a block may print under: darker ones, all of whose shapes stand on its own, as firs on a hill.

    The first block prints under whole blocks only: over it and beside it, on paper, an ink would have two tones.
    """
    light = lightness(rgb(blocks[number]["ink"]))
    darker = [block["layers"] for block in blocks[number + 1 :] if light - lightness(rgb(block["ink"])) >= _DARKER]
    while True:
        standing = _standing({*blocks[number]["layers"]}, {name for names in darker for name in names}, layers)
        whole = [names for names in darker if number > 0 or {*names} <= {*standing}]
        if whole == darker:
            return standing
        darker = whole


def _standing(own: set[str], others: set[str], layers: Mapping[str, PolygonArray]) -> list[str]:
    """Those of some layers that stand on others.

    What else is drawn between them, white too, lies on the ground: there nothing is printed that could run on.
    """
    ground: BaseGeometry = shapely.Polygon()
    standing = []
    for name, shapes in layers.items():
        if name in own:
            ground = geometry.union(ground, *shapes)
        elif name in others and _all_stand_on(ground, shapes):
            standing.append(name)
        else:
            ground = shapely.difference(ground, geometry.union(*shapes))
    return standing


def _all_stand_on(ground: BaseGeometry, shapes: PolygonArray) -> bool:
    """Whether all shapes do, but for specks."""
    area, shared = shapely.area(shapes), shapely.area(shapely.intersection(shapes, ground))
    return len(shapes) > 0 and bool((shared >= _STANDS_ON * area)[area >= _SPECK * area.sum()].all())


def _is_behind(name: str, layers: Mapping[str, PolygonArray], first: bool, size_mm: tuple[float, float]) -> bool:
    """Whether all else stands before a layer: by name, or as it fills the face, or is drawn first all along the top.

    A sky is seen along the edge but where something stands before it; beside a tree that reaches the top is paper.
    """
    shapes, (width, height) = layers[name], size_mm
    if (rank := _rank(name)) is not None or not len(shapes):
        return rank == 0
    share = float(shapely.area(shapes).sum()) / (width * height)
    if share >= _BACKDROP or not first or share < _DRAWN_FIRST:
        return share >= _BACKDROP
    top = shapely.box(0, (1 - _TOP) * height, width, height)
    own, every = (
        shapely.union_all(shapely.intersection(part, top)).area / top.area
        for part in (shapes, geometry.stack(layers.values()))
    )
    return bool(own >= _ALONG and every >= _ALL_ALONG)


def _blocks(
    layers: Mapping[str, PolygonArray], behind: Container[str], colours: Mapping[str, str], *, covered: bool, sky: bool
) -> tuple[list[dict[str, Any]], list[str]]:
    """The blocks of layers that print, backdrops first, then light inks, as tables; and how they came about."""
    plans, why = _plans(layers, behind, colours)
    added = sky and (len(plans) == 1 or not (covered or any(name in behind for name in plans[0].layers)))
    ramp = [hex_of(mixed(rgb(_LIGHT), rgb(_DARK), share)) for share in np.linspace(0, 1, len(plans) + added)[added:]]
    blocks = [{"name": "sky", "role": "background", "ink": _LIGHT, "layers": ["*"]}] if added else []
    for k, (plan, ink) in enumerate(zip(plans, ramp, strict=True)):
        key = plan.rank == 2 or k == len(plans) - 1
        by_part = len(plans) > 1 and not (key and len(plan.layers) > 1)  # no one of many layers names the darks
        name = plain_file_name(plan.layers[0], "block") if by_part else "key"
        taken = {str(block["name"]) for block in blocks}
        others = (f"{name}-{j}" for j in range(2, len(taken) + 4))
        name = next(n for n in (name, *others) if not block_name_fault(n, taken))
        blocks.append(
            {"name": name, "role": "key" if key else "tone", "ink": plan.colour or ink, "layers": list(plan.layers)}
        )
    return blocks, why + ["A sky is put behind all: snow shows only where ink is."] * added


def _plans(
    layers: Mapping[str, PolygonArray], behind: Container[str], colours: Mapping[str, str]
) -> tuple[list[_Plan], list[str]]:
    """Which layers print together, backdrops first, then light inks; and how that is told."""
    several = len({colours.get(name, "") for name in layers}) > 1
    lots: dict[str, list[str]] = {}
    named = {name for name in layers if _rank(name) is not None}
    first = dict[tuple[str, int | None], str]()  # by ink, and by ink and rank: what lies behind is not the key's
    for name in reversed(list(layers)):
        if several and name in named and name in colours:
            first[colours[name], None] = first[colours[name], _rank(name)] = name
    for name in layers:
        ink = colours.get(name, "")
        alone = name in named or not several
        lots.setdefault(first.get((ink, _rank(name)), name if alone else ink), []).append(name)
    every = [
        _Plan(
            layers=tuple(names),
            rank=0 if names[0] in behind else _known(names[0]),
            colour=colours.get(names[0], "") if several else "",
            area_mm2=sum(float(shapely.area(layers[name]).sum()) for name in names),
        )
        for names in (sorted(lot, key=lambda name: name not in named) for lot in lots.values())
    ]
    plans = _fewer(sorted(every, key=_printed))
    if len(plans) == 1:
        return plans, ["One block for the drawing."]
    light = [-_printed(plan)[1] for plan in plans]
    order = "light inks first" if light == sorted(light, reverse=True) else "what lies behind first, then light to dark"
    why = f"A block for each colour of your drawing, {order}; white stays paper."
    if named:
        joined = ", those of one colour in one" if any(len(named & set(plan.layers)) > 1 for plan in every) else ""
        why = f"Blocks by the names of your layers{joined}, {order}."
    elif not several:
        why = f"A block for each layer in the order of drawing, {order}: a guess, for neither names nor colours say."
    shared = "; ".join(" and ".join(plan.layers) for plan in plans if plan not in every)
    much = [f"More than {_MOST_BLOCKS} blocks are much to cut, so these share one: {shared}."] if shared else []
    return plans, [why, *much]


def _printed(plan: _Plan) -> tuple[int, float]:
    """What sorts blocks as they print; what tells no colour lies between light and dark."""
    return plan.rank, -(lightness(rgb(plan.colour)) if plan.colour else 50.0)


def _fewer(plans: list[_Plan]) -> list[_Plan]:
    """No more blocks than `_MOST_BLOCKS`, if they are alike: tones that are most so share one, the key stays alone."""
    while len(plans) > _MOST_BLOCKS:
        pairs = [
            (_unlike(one, other), len(one.layers + other.layers), j - i, i, j)
            for j, other in enumerate(plans[:-1]) for i, one in enumerate(plans[:j]) if one.rank == other.rank < 2
        ]  # fmt: skip
        unlike, _, _, i, j = min(pairs, default=(math.inf, 0, 0, 0, 0))
        if unlike > _UNLIKE:
            break
        larger = max(plans[i], plans[j], key=lambda plan: plan.area_mm2)
        both = replace(larger, layers=plans[i].layers + plans[j].layers, area_mm2=plans[i].area_mm2 + plans[j].area_mm2)
        plans = sorted([*plans[:i], both, *plans[i + 1 : j], *plans[j + 1 :]], key=_printed)
    return plans


def _unlike(one: _Plan, other: _Plan) -> float:
    """ΔE00 of the inks of two blocks; 0 where neither tells its own, without end where one does."""
    if not (one.colour and other.colour):
        return math.inf if one.colour or other.colour else 0.0
    return float(ciede2000(*(cielab(np.array(rgb(plan.colour))) for plan in (one, other))))


def plain_file_name(text: str, otherwise: str) -> str:
    """A text as a name of letters, without accents, digits and hyphens; `otherwise` if none is left."""
    return _PLAIN.sub("-", _unaccented(text)).strip("-") or otherwise


def _unaccented(text: str) -> str:
    """Small letters without their accents."""
    parted = unicodedata.normalize("NFKD", text.casefold())
    return "".join(letter for letter in parted if not unicodedata.combining(letter))


def face_of(drawings: Sequence[Artwork]) -> tuple[float, float]:
    """The face that drawings are made for, mm: their page, or else as far as their shapes reach from the origin.

    Raises
    ------
    InputError
        If their pages differ, or nothing lies to the right of and above the origin.
    """
    pages = [(drawing.width_mm, drawing.height_mm) for drawing in drawings if drawing.width_mm and drawing.height_mm]
    for page in pages[1:]:
        if max(abs(page[0] - pages[0][0]), abs(page[1] - pages[0][1])) > _SAME_MM:
            sizes = " and ".join(f"{width:g} x {height:g} mm" for width, height in (pages[0], page))
            raise InputError(f"the drawings are of different sizes: {sizes}", field="size_mm", hint="say the face's")
    if pages:
        return pages[0]
    sides = [page_size(drawing.layers, None, None) for drawing in drawings]
    return max(width for width, _ in sides), max(height for _, height in sides)


def print_files(
    name: str, drawings: Mapping[str, Mapping[str, PolygonArray]], size: tuple[float, float], *,
    blocks: Sequence[Mapping[str, Any]], motifs: Sequence[Mapping[str, Any]], known_mm: float = 0.0,
) -> dict[str, str]:  # fmt: skip
    """A print file and its drawings, each as text by its file's name; the reader says what of it can't be used.

    On a face smaller than 200 x 150 mm the largest flakes are smaller than the weather's, by the root of the area.

    Parameters
    ----------
    drawings
        By file name, layers of polygons in print view, mm.
    blocks, motifs
        Tables as the print file has them; keys that no print begins with are left out.
    known_mm
        How near the outlines are known, if a picture showed them (`Artwork.known_mm`).
    """
    import tomlkit

    document = tomlkit.document()
    _say(document, _HEAD)
    document["print"] = {"name": name, "size_mm": list(size), "seed": 1}
    document["artwork"] = {"files": list(drawings)}
    for key, tables, words in (("blocks", blocks, _BLOCKS), ("motifs", motifs, _MOTIFS)):
        rows = tomlkit.aot()
        for table in tables:
            more = {"mend": True} if key == "blocks" and table.get("state") != "cut" else {}
            row = {k: table[k] for k in _KEYS[key] if k in table} | more
            settings = row.get("settings", {}) | (
                largest_for(str(row.get("preset")), size) if row.get("motif") == "snowfall" else {}
            )
            if settings:
                row["settings"] = tomlkit.inline_table()
                row["settings"].update(settings)
            rows.append(tomlkit.item(row))
        if tables or key == "blocks":
            _say(document, ("", *words, *(_depth(tables, drawings) if key == "motifs" else _under(tables))))
            document[key] = rows
    files = {file: artwork_svg(layers, size, name, known_mm=known_mm) for file, layers in drawings.items()}
    return {**files, "print.toml": tomlkit.dumps(document)}


def _depth(motifs: Sequence[Mapping[str, Any]], drawings: Mapping[str, Mapping[str, PolygonArray]]) -> tuple[str, ...]:
    """What to say of near and far flakes, if any fall."""
    if not any(table.get("motif") == "snowfall" for table in motifs):
        return ()
    parted = len({name for layers in drawings.values() for name, shapes in layers.items() if len(shapes)}) > 1
    return _DEPTH if parted and any(table.get("far_behind") for table in motifs) else _NO_DEPTH


def _under(blocks: Sequence[Mapping[str, Any]]) -> tuple[str, ...]:
    """What to say of blocks that print under the layers of later ones, if any do."""
    cut = _CUT if any(block.get("state") == "cut" for block in blocks) else ()
    stacks: dict[str, list[Mapping[str, Any]]] = {}  # by layer the blocks that print it, its own last
    for block in blocks:
        for name in dict.fromkeys(block.get("layers", ())):
            stacks.setdefault(name, []).append(block)
    names = [str(block["name"]) for block in blocks if any(block in stack[:-1] for stack in stacks.values())]
    if not names:
        return cut
    under = f"{listed(names)} print{'s' if len(names) == 1 else ''}"
    darkened = dict.fromkeys(_darkened(stack) for stack in stacks.values() if len(stack) > 1)
    return (*cut, *(line.format(under) for line in _UNDER), *filter(None, darkened), *_toned(stacks))


def _toned(stacks: Mapping[str, Sequence[Mapping[str, Any]]]) -> Iterator[str]:
    """Which layers of the darkest ink lie over other inks and which do not, where their colours are seen to differ."""
    every = [stack[-1] for stack in stacks.values() if stack[-1].get("ink")]
    if not every:
        return
    dark = min(every, key=lambda block: lightness(rgb(block["ink"])))
    lots: dict[tuple[str, ...], list[str]] = {}
    for name, stack in stacks.items():
        if stack[-1] is dark:
            lots.setdefault(tuple(str(each["name"]) for each in stack[:-1]), []).append(name)
    colours = {below: _together(stacks[names[0]]) for below, names in lots.items()}
    for below, names in lots.items():
        unlike = [other for other in lots if not {*below} <= {*other} and _differ(colours[below], colours[other])]
        if unlike:
            rest = ", ".join(name for other in unlike for name in lots[other])
            more = [name for name in below if any(name not in other for other in unlike)]
            yield _TONED.format(dark["name"], listed(more), ", ".join(names), rest)


def _darkened(stack: Sequence[Mapping[str, Any]]) -> str:
    """How an ink looks over those that lie under it, where that is seen; "" otherwise."""
    together = _together(stack)
    if ciede2000(*(cielab(np.array(colour)) for colour in (rgb(stack[-1]["ink"]), together))) < _SEEN:
        return ""
    *below, own = [str(each["name"]) for each in stack]
    return _DARKENED.format(own, listed(below), hex_of(together), stack[-1]["ink"])


def _together(stack: Sequence[Mapping[str, Any]]) -> Rgb:
    """The colour of blocks printed over one another on white paper."""
    inks = [Ink(colour=rgb(each["ink"]), opacity=each.get("opacity", PrintBlock.opacity)) for each in stack]
    return screen_rgb(solids((255, 255, 255), inks))


def _differ(one: Rgb, other: Rgb) -> bool:
    """Whether two colours of one thing are seen to differ."""
    return bool(ciede2000(cielab(np.array(one)), cielab(np.array(other))) >= TWO_TONES)


def _say(document: Any, words: Sequence[str]) -> None:  # noqa: ANN401
    import tomlkit

    for line in words:
        document.add(tomlkit.comment(line) if line else tomlkit.nl())
