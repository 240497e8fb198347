"""Ink on paper: colours as text, as light, and printed over one another."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from carvegen.base.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = [
    "MODEL", "TWO_TONES", "Ink", "Rgb", "alike", "ciede2000", "cielab", "colour_word", "from_cielab", "hex_of",
    "lightness", "linear", "mixed", "overprinted", "pale_ink", "rgb", "screen", "screen_rgb", "solids",
]  # fmt: skip

Rgb = tuple[int, int, int]

#: How proofs mix inks, in words for the report.
MODEL = (
    "Per channel of linear sRGB: a glaze takes from the light below it the share that it takes on white (Beer and "
    "Lambert), an ink that hides shows its own colour, opacity mixes the two by area; partly covered areas mix by area "
    "(Murray and Davies; over several inks as Demichel and Neugebauer). Gloss and light spread in the paper are left "
    "out; a proof on your own paper decides."
)

_HEX = re.compile(r"#[0-9a-fA-F]{6}")
_LUMINANCE = np.array([0.2126, 0.7152, 0.0722])  #: of linear sRGB (IEC 61966-2-1)
_XYZ = np.array([[0.4124, 0.3576, 0.1805], _LUMINANCE, [0.0193, 0.1192, 0.9505]])  #: of linear sRGB (IEC 61966-2-1)
_WHITE = np.array([0.95047, 1.0, 1.08883])  #: XYZ of the white of D65, 2° observer (CIE 15)
_EDGE = 6 / 29  #: where the cube root of CIELAB turns into a straight line (CIE 15)
TWO_TONES = 3.0  #: ΔE00 by which one thing is seen to have two colours: our own choice
_ALIKE, _MANY = 2.0, 200  #: ΔE00 of inks that hardly differ in a print; colours that none looks through: our own choice
#: Where hues end, degrees of CIELAB, and their words: our own choice.
_HUES = ((15, "pink"), (52, "red"), (72, "orange"), (115, "yellow"), (170, "green"), (220, "teal"), (308, "blue"),
         (345, "violet"), (360, "pink"))  # fmt: skip
_GREY, _VIVID = 5.0, 45.0  #: chroma below which a colour is grey, and from which on it is not pale: our own choice
_DULL = 12.0  #: chroma below which a dark colour is nearly grey: our own choice
_DEEP, _BROWN, _LIGHT = 37.0, 58.0, 72.0  #: L* below which a colour is deep, or brown; from which on pale: our own
_PALE = 0.6  #: so far towards the paper what the carver may take away is drawn


@dataclass(frozen=True, kw_only=True)
class Ink:
    """An ink as it looks when it covers white paper once, and how far it hides what is under it."""

    colour: Rgb
    opacity: float = 0.0  #: 0 a glaze that only takes light away; 1 hides all


def rgb(text: str) -> Rgb:
    """Red, green, blue, 0…255, of ``"#rrggbb"``; `InputError` for anything else."""
    if not _HEX.fullmatch(text):
        raise InputError("must be a colour", value=text, hint='write "#rrggbb", six hexadecimal digits: "#264b5e"')
    return int(text[1:3], 16), int(text[3:5], 16), int(text[5:7], 16)


def hex_of(colour: Rgb) -> str:
    """``"#rrggbb"`` of a colour."""
    return "#" + "".join(f"{channel:02x}" for channel in colour)


def mixed(one: Rgb, other: Rgb, share: float) -> Rgb:
    """A colour on the way from one to another as a screen shows them, by a share 0…1."""
    red, green, blue = (round(a + share * (b - a)) for a, b in zip(one, other, strict=True))
    return (red, green, blue)


def pale_ink(ink: Ink, paper: Rgb) -> Ink:
    """An ink as proofs show it where the carver may take the land away."""
    return replace(ink, colour=mixed(ink.colour, paper, _PALE))


def linear(colour: Rgb | Floats) -> Floats:
    """Shares of light, 0…1, of sRGB values 0…255; same shape (IEC 61966-2-1)."""
    share = np.asarray(colour, dtype=np.float64) / 255
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


def screen(light: Floats) -> Floats:
    """SRGB values 0…255, not rounded, of shares of light; same shape: `linear` undone."""
    light = np.clip(light, 0, 1)
    return 255 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def lightness(colour: Rgb) -> float:
    """CIELAB L*, 0 black … 100 white (CIE 15: from the luminance Y beside that of white)."""
    return float(cielab(np.asarray(colour))[0])


def colour_word(colour: Rgb) -> str:
    """A colour in a word or two, such as ``"deep blue"``, by lightness, chroma and hue of CIELAB."""
    light, a, b = cielab(np.asarray(colour)).tolist()
    chroma, hue = math.hypot(a, b), math.degrees(math.atan2(b, a)) % 360
    if chroma < _GREY:
        return "black" if light < _DEEP else "pale grey" if light >= _LIGHT else "grey"
    word = next(word for end, word in _HUES if hue <= end)
    if light < _BROWN and word in ("orange", "yellow"):
        word = "brown"
    if light < _DEEP and chroma < _DULL:
        return f"deep {word}-grey"
    pale = light >= _LIGHT and chroma < _VIVID
    return f"pale {word}" if pale else f"deep {word}" if light < _DEEP else word


def cielab(colour: Floats) -> Floats:
    """CIELAB L*, a*, b* (CIE 15, white D65, 2° observer) of sRGB values 0…255; (…, 3)."""
    share = linear(colour) @ _XYZ.T / _WHITE
    root = np.where(share > _EDGE**3, np.cbrt(share), share / (3 * _EDGE**2) + 4 / 29)
    x, y, z = np.moveaxis(root, -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def from_cielab(lab: Floats) -> Floats:
    """SRGB values 0…255, not rounded, of CIELAB values; (…, 3): `cielab` undone, clipped to what a screen shows."""
    y = (lab[..., 0] + 16) / 116
    root = np.stack([y + lab[..., 1] / 500, y, y - lab[..., 2] / 200], axis=-1)
    share = np.where(root > _EDGE, root**3, 3 * _EDGE**2 * (root - 4 / 29))
    return screen(share * _WHITE @ np.linalg.inv(_XYZ).T)


def ciede2000(one: Floats, other: Floats) -> Floats:
    """The colour difference ΔE00 of CIELAB values (source: sharma-2005); (…, 3) each, and the shape before the 3."""
    (l_1, a_1, b_1), (l_2, a_2, b_2) = (np.moveaxis(np.asarray(lab, dtype=np.float64), -1, 0) for lab in (one, other))
    mean = (np.hypot(a_1, b_1) + np.hypot(a_2, b_2)) / 2
    stretch = 1.5 - 0.5 * np.sqrt(mean**7 / (mean**7 + 25.0**7))
    c_1, c_2 = np.hypot(stretch * a_1, b_1), np.hypot(stretch * a_2, b_2)
    h_1, h_2 = (np.degrees(np.arctan2(b, stretch * a)) % 360 for a, b in ((a_1, b_1), (a_2, b_2)))
    chroma, light = (c_1 + c_2) / 2, (l_1 + l_2) / 2
    turn = np.where(c_1 * c_2 == 0, 0.0, (h_2 - h_1 + 180) % 360 - 180)
    turn = np.where((turn == -180) & (h_2 > h_1), 180.0, turn)
    hue = np.where(c_1 * c_2 == 0, h_1 + h_2, (h_1 + h_2) / 2)
    hue = np.where((c_1 * c_2 != 0) & (np.abs(h_1 - h_2) > 180), (hue + 180) % 360, hue)
    weight = (
        1 - 0.17 * _cos(hue - 30) + 0.24 * _cos(2 * hue) + 0.32 * _cos(3 * hue + 6) - 0.20 * _cos(4 * hue - 63)
    )  # fmt: skip
    s_light = 1 + 0.015 * (light - 50) ** 2 / np.sqrt(20 + (light - 50) ** 2)
    d_light, d_chroma = (l_2 - l_1) / s_light, (c_2 - c_1) / (1 + 0.045 * chroma)
    d_hue = 2 * np.sqrt(c_1 * c_2) * np.sin(np.radians(turn / 2)) / (1 + 0.015 * chroma * weight)
    rotation = 60 * np.exp(-(((hue - 275) / 25) ** 2))
    twist = -2 * np.sqrt(chroma**7 / (chroma**7 + 25.0**7)) * np.sin(np.radians(rotation))
    return np.asarray(np.sqrt(d_light**2 + d_chroma**2 + d_hue**2 + twist * d_chroma * d_hue))


def alike(colours: Iterable[str]) -> dict[str, str]:
    """``"#rrggbb"`` of each colour, "" for none: white or the first of these that differs by ΔE00 2 at most.

    A picture's very many stay as they are.
    """
    rest = list(dict.fromkeys(colours))
    result = {colour: colour for colour in rest}
    rest = ["#ffffff", *(colour for colour in rest if colour)] if len(rest) <= _MANY else []
    while rest:
        labs = cielab(np.array([rgb(colour) for colour in rest]))
        near = ciede2000(labs[:1], labs) <= _ALIKE
        result |= {colour: rest[0] for colour, same in zip(rest, near, strict=True) if same and colour in result}
        rest = [colour for colour, same in zip(rest, near, strict=True) if not same]
    return result


def _cos(degrees: Floats) -> Floats:
    return np.asarray(np.cos(np.radians(degrees)))


def overprinted(paper: Rgb, coats: Iterable[tuple[Ink, Floats]]) -> Floats:
    """The light that comes back from inks printed over one another, in the order given.

    Parameters
    ----------
    paper
        Its colour.
    coats
        Each ink with the share of every place that it covers, 0…1; all of one shape.

    Returns
    -------
    Floats
        Shares of light, red, green and blue; the coats' shape with 3 behind it.

    Notes
    -----
    A glaze takes from the light the share that it takes on white: by Beer and Lambert, per channel, light that
    passes two films is the product, ``R = R_under c`` with c the ink on white. An ink that hides shows its own
    colour, ``R = c``. An ink of opacity o is taken to hide on o of its area and to be a glaze on the rest:
    ``R = c ((1 - o) R_under + o)``. Where it covers a share a, the areas mix: ``(1 - a) R_under + a R``
    (Murray and Davies). So n coats of a glaze leave ``R_paper c^n``. Gloss, and how far light spreads in paper,
    are left out. That opacity mixes by area is our own step.

    The theory of Kubelka and Munk would need how much each ink scatters and absorbs at each wavelength, measured on
    black and on white; a printmaker has one colour of each ink. So it is not used, nor a library for it.
    """
    light: Floats = linear(paper)
    for ink, share in coats:
        covered = linear(ink.colour) * ((1 - ink.opacity) * light + ink.opacity)
        light = light + np.asarray(share)[..., None] * (covered - light)
    return light


def solids(paper: Rgb, inks: Iterable[Ink]) -> Floats:
    """The light that comes back where whole coats of inks lie over one another, in the order given; (3,)."""
    return overprinted(paper, [(ink, np.ones(())) for ink in inks])


def screen_rgb(light: Floats) -> Rgb:
    """The colour of shares of light on a screen, rounded; `light` (3,)."""
    red, green, blue = np.round(screen(light)).astype(int).tolist()
    return red, green, blue
