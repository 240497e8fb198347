"""Marking sheets by four models of pencils, papers, cameras and flaws: how true what is read is to what was drawn."""

from __future__ import annotations

import dataclasses
import resource
import time

import numpy as np

from carvegen.artwork.drawing import Notes
from carvegen.artwork.scan.pixels import opened
from carvegen.base.errors import InputError
from carvegen.marking.pencil.corner_marks import placed
from carvegen.marking.pencil.layout import MarkingSheet
from carvegen.marking.pencil.sheet_reading import joined_marks, read_page
from tests.pencil_sheets import MODELS, PENCILS, Case, drawn_of, figures, register_off, shot, usual_strokes

__all__ = ["pencil"]

_SHEET = MarkingSheet(name="trial", window=(0.0, 0.0, 200.0, 150.0))
_PALE = ("pale blue", "pale rose", "pale green", "orange")


def _cases() -> dict[str, Case]:
    usual = Case(strokes=usual_strokes())
    result = {f"scan {model}": dataclasses.replace(usual, how="scan", model=model) for model in MODELS}
    result |= {f"photo, shadow, {model}": dataclasses.replace(usual, shadow=True, model=model) for model in MODELS}
    photo = dataclasses.replace(usual, shadow=True, model="opaque", seed=2)
    result["photo, opaque, pale pencils"] = dataclasses.replace(photo, colours=_PALE)
    result["photo, opaque, cream paper"] = dataclasses.replace(photo, tint=(0.93, 0.86, 0.72))
    result["photo, density, grey paper"] = dataclasses.replace(photo, model="density", tint=(0.66, 0.67, 0.66))
    result["photo, waxy, creases, halftone, upside down"] = dataclasses.replace(
        photo, model="waxy", crease=True, halftone=True, upside_down=True
    )
    result["photo, density, lens 1 %, shake"] = dataclasses.replace(photo, model="density", lens=0.01, blur=1.8)
    result["photo, scattering, pitch 2 mm"] = dataclasses.replace(
        photo, model="scattering", strokes=usual_strokes(pitch=2.0)
    )
    result["nothing drawn: creases, shadow, halftone"] = dataclasses.replace(
        photo, strokes=(), crease=True, halftone=True
    )
    return result


def pencil(which: str = "") -> int:
    """Print a line for each case whose name holds `which`; how many break what is asked."""
    print(f"{'case':46s} IoU  edge median/95 %  false mm2  missed  register  CPU s")
    bad = 0
    for name, case in _cases().items():
        if which in name:
            bad += _told(name, case)
    if which in "near":
        _near()
    print(f"most memory, drawing the sheets too: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f} GB")
    return bad


def _told(name: str, case: Case) -> bool:
    seen = shot(case, _SHEET)
    start = time.process_time()
    picture = opened(seen.data, Notes())
    page = read_page(picture, _SHEET)
    spent = time.process_time() - start
    each = figures(joined_marks([page]), drawn_of(case))
    register = register_off(seen, placed(picture.tone).paper)
    pitch = float(np.mean([stroke.pitch for stroke in case.strokes])) if case.strokes else 1.3
    none = not case.strokes
    good = (none or (each.edge_median <= 0.3 and each.edge_95 <= pitch / 2)) and each.missed == 0
    good = good and each.false_mm2 < 1 and register <= 0.1 and spent <= 6
    print(
        f"{name:46s} {each.overlap:.3f}  {each.edge_median:.2f} / {each.edge_95:.2f} of {pitch / 2:.2f}  "
        f"{each.false_mm2:6.1f} {each.missed:6d}   {register:.3f}   {spent:.1f}  {'' if good else 'NOT AS ASKED'}"
        + "".join(f"\n    {note}" for note in page.notes),
        flush=True,
    )
    return not good


def _near() -> None:
    """Two pairs of pencils, ever nearer: what is refused, and how much of the others' areas is read wrong."""
    for turn in (30, 22, 17, 13):
        red, blue = np.array(PENCILS["red"]), np.array(PENCILS["blue"])
        colours = tuple(map(tuple, (red, _turned(red, turn), blue, _turned(blue, turn))))
        for model in ("density", "opaque"):
            case = Case(strokes=usual_strokes(), colours=colours, model=model, seed=3, shadow=True)
            try:
                page = read_page(opened(shot(case, _SHEET).data, Notes()), _SHEET)
                each = figures(joined_marks([page]), drawn_of(case))
                report = (
                    f"IoU {each.overlap:.3f}, false {each.false_mm2:.1f} mm2, missed {each.missed}; {list(page.notes)}"
                )
            except InputError as error:
                report = str(error)
            print(f"hues turned by {turn} degrees, {model}: {report}", flush=True)


def _turned(lab: np.ndarray, degrees: float) -> np.ndarray:
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.array([lab[0], c * lab[1] - s * lab[2], s * lab[1] + c * lab[2]])
