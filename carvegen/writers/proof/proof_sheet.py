"""The proof sheet: one page for a browser, with the print, its blocks as layers, findings, files and cautions."""

from __future__ import annotations

import base64
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from html import escape
from importlib.resources import files
from string import Template
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

from carvegen.base.colour import hex_of, overprinted, pale_ink, screen
from carvegen.base.errors import InputError
from carvegen.geometry.coverage import ring_coverage
from carvegen.writers.block.block_png import ROUNDING
from carvegen.writers.formats.png_bytes import SMALL, png_bytes
from carvegen.writers.proof.proof_cards import cards_html, place_count, rings

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.base.colour import Ink, Rgb
    from carvegen.geometry import Mask, Rings
    from carvegen.writers.proof.proof_cards import Card

__all__ = ["Impression", "ProofSheet", "proof_sheet_html"]

_PX_PER_MM = 10.0
_MOST_PIXELS = 6_000_000  #: a larger print is shown more coarsely
_MOST_PLATES = 16
_RINGS_AT_ONCE = 60  #: more than these hide the print: the page begins without, and shows the one that is gone to
_KEPT_LIGHTER = 0.16  #: how far what is kept clear is shown from ink towards paper, as in proof.png
_BEFORE, _BEFORE_DARKER = (60, 60, 60), 0.1  #: what was cut already: this grey, and how much of it over the paper
_PAGE_MM = 24.0  #: both margins of a printed page
_BELOW_MM = 12.0  #: room for the bar under the print
_LEAST_PAGE_MM = (148.0, 148.0)  #: so that lists can be read on it
_WALK = (
    '<span class="walk"><button type="button" id="before">Place before</button>'
    '<button type="button" id="next">Next place</button></span>'
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Impression:
    """What one block prints, in print view."""

    name: str
    ink: Ink
    land: Rings  #: what stands, on the left of each ring
    to_decide: Rings | None = None  #: of that what the carver may take away; shown pale
    pixels: Mask | None = None  #: the pixels of which the land takes the most, if they are computed for another picture


@dataclass(frozen=True, kw_only=True, eq=False)
class ProofSheet:
    """Everything that the page tells."""

    title: str
    summary: str
    width_mm: float
    height_mm: float
    paper: Rgb
    plates: Sequence[Impression]  #: in printing order
    cards: Sequence[Card] = ()  #: what was found, the most pressing first
    kept: Rings | None = None  #: artwork that is kept clear, as far as it is land
    settings: Mapping[str, str] = field(default_factory=dict)
    files: Mapping[str, str] = field(default_factory=dict)  #: what each is for
    questions: Sequence[str] = ()
    cautions: Sequence[str] = ()
    cut_before: Rings | None = None  #: what was cut already
    width_map: bytes | None = None  #: PNG with the print's size and sides, clear where nothing is told
    width_key: Mapping[str, str] = field(default_factory=dict)  #: what its colours mean


def proof_sheet_html(sheet: ProofSheet) -> str:
    """One self-contained page: it asks for nothing from a network and needs no other file.

    The picture holds for each pixel which blocks print there, one bit a block; the page colours it by a table of
    every combination of blocks (`colour.overprinted`), so that any block can be taken away and the rest is right.

    Raises
    ------
    InputError
        If there are more than 16 blocks.
    """
    if len(sheet.plates) > _MOST_PLATES:
        raise InputError(f"shows at most {_MOST_PLATES} blocks", value=len(sheet.plates), where="blocks")
    scale = min(_PX_PER_MM, math.sqrt(_MOST_PIXELS / (sheet.width_mm * sheet.height_mm)))
    bits = _bits(sheet, scale)
    facts = {
        "width": sheet.width_mm,
        "height": sheet.height_mm,
        "px": round(scale, 4),
        "bits": _bits_of_boxes(sheet),
        "colours": _colours(sheet),
        "rings": rings(sheet.cards, sheet.height_mm),
    }
    words = {
        "title": escape(sheet.title),
        "summary": escape(sheet.summary),
        "width_mm": f"{sheet.width_mm:g}",
        "height_mm": f"{sheet.height_mm:g}",
        "page_width_mm": f"{max(sheet.width_mm + _PAGE_MM, _LEAST_PAGE_MM[0]):g}",
        "page_height_mm": f"{max(sheet.height_mm + _PAGE_MM + _BELOW_MM, _LEAST_PAGE_MM[1]):g}",
        "columns": str(bits.shape[1]),
        "rows": str(bits.shape[0]),
        "picture_words": escape(f"Proof of {sheet.title}, {len(sheet.plates)} blocks printed over one another", True),
        "plates": _base64(_png_of(bits, len(sheet.plates) + len(_pale_bits(sheet)))),
        "facts": json.dumps(facts, separators=(",", ":")).replace("<", "\\u003c"),
        "layers": "".join(_layer_row(plate) for plate in sheet.plates),
        "overlays": _overlays(sheet),
        "kept": _image("kept", _veil(sheet, sheet.kept, sheet.paper, _KEPT_LIGHTER, scale), "What is kept clear"),
        "cut_before": _image(
            "cut-before", _veil(sheet, sheet.cut_before, _BEFORE, _BEFORE_DARKER, scale), "What was cut already"
        ),
        "width_map": _image("land-width", sheet.width_map, "How wide the land is"),
        "place_count": _counted(place_count(sheet.cards)),
        "walk": _WALK if place_count(sheet.cards) > 1 else "",
        "cards": cards_html(sheet.cards),
        "settings": _table(sheet.settings),
        "files": _table(sheet.files),
        "questions": "".join(f'<p class="ask"><b>Ask first:</b> {escape(text)}</p>' for text in sheet.questions),
        "cautions": _list(sheet.cautions),
        "style": _asset("proof.css"),
        "script": _asset("proof.js"),
    }
    return Template(_asset("proof.html")).substitute(words)


def _bits(sheet: ProofSheet, scale: float) -> NDArray[np.uint16]:
    """For each pixel the blocks that print on most of it, the first block as the lowest bit; then what is pale."""
    size = _size(sheet, scale)
    bits = np.zeros(size[::-1], dtype=np.uint16)
    for number, plate in enumerate(sheet.plates):
        ready = plate.pixels is not None and plate.pixels.shape == bits.shape
        land = plate.pixels if ready else _there(plate.land, size, scale)
        bits |= np.asarray(land, dtype=np.uint16) << np.uint16(number)
    for number, pale in _pale_bits(sheet).items():
        open_ = _there(sheet.plates[number].to_decide, size, scale)
        own = np.uint16(1 << number)
        bits[open_ & (bits & own > 0)] ^= own | np.uint16(1 << pale)
    return bits


def _there(shape: Rings | None, size: tuple[int, int], scale: float) -> NDArray[np.bool_]:
    """The pixels of which a shape takes the most."""
    if shape is None or not len(shape):
        return np.zeros(size[::-1], dtype=bool)
    return np.asarray(ring_coverage(replace(shape, xy=shape.xy * scale), size) >= 0.5 - ROUNDING)


def _pale_bits(sheet: ProofSheet) -> dict[int, int]:
    """By the number of a block the bit of what the carver may take of it; those for which none is left go without."""
    with_pale = [number for number, plate in enumerate(sheet.plates) if plate.to_decide is not None]
    return dict(zip(with_pale, range(len(sheet.plates), _MOST_PLATES), strict=False))


def _bits_of_boxes(sheet: ProofSheet) -> list[int]:
    """What the box of each block shows and hides: its own bit, and that of what is pale of it."""
    pale = _pale_bits(sheet)
    return [1 << k | (1 << pale[k] if k in pale else 0) for k in range(len(sheet.plates))]


def _size(sheet: ProofSheet, scale: float) -> tuple[int, int]:
    return max(1, round(sheet.width_mm * scale)), max(1, round(sheet.height_mm * scale))


def _png_of(bits: NDArray[np.uint16], count: int) -> bytes:
    """Grey, with as few bits a pixel as hold so many; more than eight: the others in the green channel."""
    low, high = (bits & 255).astype(np.uint8), (bits >> 8).astype(np.uint8)
    if count > 8:
        return png_bytes(Image.fromarray(np.dstack([low, high, high])), level=SMALL)
    if count > 4:
        return png_bytes(Image.fromarray(low), level=SMALL)
    deep = next(wide for wide in (1, 2, 4) if count <= wide)
    picture = Image.fromarray(low, "P")
    picture.putpalette(np.repeat(np.arange(2**deep, dtype=np.uint8), 3).tolist())
    return png_bytes(picture, bits=deep, flat=True)


def _colours(sheet: ProofSheet) -> list[str]:
    """What each combination of blocks looks like, by its bits."""
    pale = _pale_bits(sheet)
    every = np.arange(2 ** (len(sheet.plates) + len(pale)))
    coats = []
    for k, plate in enumerate(sheet.plates):
        coats.append((plate.ink, (every >> k & 1).astype(np.float64)))
        if k in pale:
            coats.append((pale_ink(plate.ink, sheet.paper), (every >> pale[k] & 1).astype(np.float64)))
    seen = np.round(screen(np.broadcast_to(overprinted(sheet.paper, coats), (len(every), 3)))).astype(int)
    return [f"{red:02x}{green:02x}{blue:02x}" for red, green, blue in seen.tolist()]


def _layer_row(plate: Impression) -> str:
    return f'<label><input type="checkbox" checked> {_swatch(hex_of(plate.ink.colour))} {escape(plate.name)}</label>'


def _overlays(sheet: ProofSheet) -> str:
    rows = []
    if sheet.kept is not None:
        rows.append(_switch("kept", "what is kept clear (a little lighter)", on=True))
    if sheet.cut_before is not None:
        rows.append(_switch("cut-before", "what was cut already (a little darker than paper)", on=True))
    if sheet.width_map is not None:
        rows.append(_switch("land-width", "how wide the land is", on=False) + _key(sheet.width_key))
    if rings(sheet.cards, sheet.height_mm):
        few = place_count(sheet.cards) <= _RINGS_AT_ONCE
        rows.append(_switch("rings", "numbered rings round the places to look at", on=few))
    return f"<fieldset><legend>Laid over it</legend>{''.join(rows)}</fieldset>" if rows else ""


def _switch(name: str, words: str, *, on: bool) -> str:
    return f'<label><input type="checkbox" data-shows="{name}" {"checked" if on else ""}><span>{words}</span></label>'


def _key(colours: Mapping[str, str]) -> str:
    rows = (f"<li>{_swatch(colour)} {escape(words)}</li>" for colour, words in colours.items())
    return f'<ul class="key">{"".join(rows)}</ul>'


def _swatch(colour: str) -> str:
    return f'<span class="ink" style="background:{colour}"></span>'


def _image(name: str, png: bytes | None, words: str) -> str:
    return "" if png is None else f'<img id="{name}" alt="{words}" src="data:image/png;base64,{_base64(png)}">'


def _veil(sheet: ProofSheet, shape: Rings | None, colour: Rgb, share: float, scale: float) -> bytes | None:
    """A colour that lies thin over a shape."""
    if shape is None:
        return None
    picture = Image.fromarray(_there(shape, _size(sheet, scale), scale).astype(np.uint8), "P")
    picture.putpalette([*colour, *colour])
    return png_bytes(picture, level=SMALL, bits=1, transparency=bytes([0, round(share * 255)]))


def _counted(places: int) -> str:
    return f" ({places})" if places else ""


def _table(rows: Mapping[str, str]) -> str:
    return (
        "<table>" + "".join(f"<tr><th>{escape(k)}</th><td>{escape(v)}</td></tr>" for k, v in rows.items()) + "</table>"
    )


def _list(texts: Sequence[str]) -> str:
    return "<ul>" + "".join(f"<li>{escape(text)}</li>" for text in texts) + "</ul>"


def _base64(png: bytes) -> str:
    return base64.b64encode(png).decode("ascii")


def _asset(name: str) -> str:
    return (files("carvegen.writers.proof") / "page" / name).read_text(encoding="utf-8")
