"""Prints whose inks behave otherwise than the model has it: what is read right, what as unsure, what wrong."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from carvegen.artwork.scan.inks import by_model
from carvegen.base.colour import Ink, cielab, from_cielab, overprinted, screen
from tests.artwork.scan.test_overprints import COATS, LANDS, PAPER, made

__all__ = ["inks"]

PX = 5.0
COVERS = {name: made.painted(land, PX) for name, land in LANDS.items()}


def _as_printed(covers: dict[str, np.ndarray], coats: dict[str, Ink] = COATS, dark: float = 1.0) -> np.ndarray:
    """Light of a print; where inks lie over one another its density is `dark` times the model's."""
    light = overprinted(PAPER, [(coats[name], covers[name]) for name in coats])
    over = sum((cover > 0.5).astype(int) for cover in covers.values()) > 1
    return np.where(over[..., None], np.exp(np.log(np.maximum(light, 1e-3)) * dark), light)


def _ink(ink: Ink, lighter: float = 0.0, hue: float = 0.0, opacity: float = 0.0) -> Ink:
    """An ink that was mixed a little otherwise; CIELAB units along lightness and b*."""
    lab = cielab(np.array(ink.colour, dtype=float)) + np.array([lighter, 0, hue])
    red, green, blue = (int(each) for each in np.clip(np.round(from_cielab(lab)), 0, 255))
    return Ink(colour=(red, green, blue), opacity=float(np.clip(ink.opacity + opacity, 0, 1)))


def _salty(cover: np.ndarray, share: float) -> np.ndarray:
    """Paper shows through in specks of a tenth of a millimetre or two."""
    grain = ndimage.gaussian_filter(np.random.default_rng(4).normal(size=cover.shape), 0.6)
    return np.where(grain < np.quantile(grain, share), cover * 0.3, cover)


def _faded(cover: np.ndarray, least: float) -> np.ndarray:
    return cover * np.linspace(1, least, cover.shape[0])[:, None]


def _cases() -> dict[str, np.ndarray]:
    key = {**COVERS, "key": _salty(COVERS["key"], 0.15)}
    return {
        "as the model has it": _as_printed(COVERS),
        "overprints 10 % denser": _as_printed(COVERS, dark=1.1),
        "overprints 25 % denser": _as_printed(COVERS, dark=1.25),
        "overprints 15 % thinner": _as_printed(COVERS, dark=0.85),
        "tone 6 lighter": _as_printed(COVERS, COATS | {"tone": _ink(COATS["tone"], 6)}),
        "tone 12 lighter": _as_printed(COVERS, COATS | {"tone": _ink(COATS["tone"], 12)}),
        "sky 6 yellower": _as_printed(COVERS, COATS | {"sky": _ink(COATS["sky"], hue=6)}),
        "sky 12 yellower": _as_printed(COVERS, COATS | {"sky": _ink(COATS["sky"], hue=12)}),
        "tone more opaque by 0.3": _as_printed(COVERS, COATS | {"tone": _ink(COATS["tone"], opacity=0.3)}),
        "paper through the key, 15 %": _as_printed(key),
        "paper through the sky, 15 %": _as_printed({**COVERS, "sky": _salty(COVERS["sky"], 0.15)}),
        "sky fades to 60 %": _as_printed({**COVERS, "sky": _faded(COVERS["sky"], 0.6)}),
        "sky fades to 20 %": _as_printed({**COVERS, "sky": _faded(COVERS["sky"], 0.2)}),
    }


def inks() -> int:
    """Print of each case and ink the share of the face told wrong and not as unsure; how many are over 1 %."""
    print(f"{'':32s} told wrong, sky    tone     key   unsure")
    truth, bad = {name: cover > 0.5 for name, cover in COVERS.items()}, 0
    for name, light in _cases().items():
        seen = ndimage.gaussian_filter(screen(light), (0.8, 0.8, 0))
        seen = np.clip(seen + np.random.default_rng(1).normal(size=seen.shape) * 2, 0, 255).astype(np.uint8)
        result = by_model(np.moveaxis(seen, -1, 0), list(COATS.values()), PAPER)
        wrong = [
            (ndimage.binary_opening(on != truth[ink], np.ones((5, 5))) & ~result.unsure).mean()
            for ink, on in zip(COATS, result.on, strict=True)
        ]
        bad += max(wrong) > 0.01
        print(
            f"{name:32s}          {wrong[0]:7.1%} {wrong[1]:7.1%} {wrong[2]:7.1%} {result.unsure.mean():8.1%}",
            flush=True,
        )
    return bad
