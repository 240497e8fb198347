"""Motifs of a print that are kept: taken from their files, brought up to the drawing, and what is told of that."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.base.findings import Finding, Severity
from carvegen.marking.adapting import adapted, kept_findings
from carvegen.marking.applying import reach_mm, settled_by
from carvegen.marking.kept_file import Kept, marks_of, read_kept
from carvegen.marking.refitting import grew_in

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import Floats, PolygonArray
    from carvegen.marking.adapting import Adapted
    from carvegen.marking.kept_file import Surroundings
    from carvegen.marking.marks import Mark
    from carvegen.motifs.growth import Growth
    from carvegen.prints.file.print_file import Print, PrintMotif

__all__ = ["Grown", "KeptReader", "change_findings", "from_file", "grown_by", "kept_of", "levels_of"]

_NEARER = 0.9  #: of the land: more than the grid may take of it
_GROW_AGAIN = ("snowfall", "snowload")  #: where the drawing has changed; shapes of other motifs only go


class KeptReader(Protocol):
    """What reads a kept file."""

    def __call__(self, path: Path, *, motif: str, size: tuple[float, float]) -> Kept:
        """What `carvegen.marking.kept_file.read_kept` gives."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Grown:
    """What there is of a motif, before anything is marked on it."""

    motif: PrintMotif
    growth: Growth
    surroundings: Callable[[], Surroundings]
    kept: Kept | None = None  #: what its file holds; None if it is grown
    gone: PolygonArray = field(default_factory=geometry.empty)  #: kept shapes that the drawing has changed under
    come: PolygonArray = field(default_factory=geometry.empty)  #: what grew in their place
    findings: tuple[Finding, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def changed(self) -> bool:
        """Whether the drawing has changed under what was kept."""
        return len(self.gone) > 0 or len(self.come) > 0


def grown_by(motif: PrintMotif, print_: Print) -> dict[str, Any]:
    """What a motif grows by, as its kept file remembers it: while it is kept it changes nothing."""
    return {"seed": print_.seed, **asdict(motif.settings)}


def levels_of(grown: Grown, print_: Print) -> Mapping[str, float]:
    """The levels solved when a motif was first grown; none if it is kept from a day when it grew by other settings."""
    return grown.growth.kept if grown.kept is None else _levels(grown.kept, grown.motif, print_)


def _levels(kept: Kept, motif: PrintMotif, print_: Print) -> Mapping[str, float]:
    memory, now = kept.memory, grown_by(motif, print_)
    same = memory is not None and all(memory.settings.get(name) == value for name, value in now.items())
    return kept.growth.kept if same else {}


def kept_of(print_: Print, motif: PrintMotif, key: str, read: KeptReader = read_kept) -> Kept:
    """What the file holds in which a motif is kept; `InputError` with its key if it can't be used."""
    try:
        return read(print_.path.parent / motif.kept, motif=motif.motif, size=(print_.width_mm, print_.height_mm))
    except InputError as error:
        raise error.within(print_.place(f"{key}.kept")) from None


def from_file(
    print_: Print, motif: PrintMotif, key: str, limits: Limits, *,
    room: Callable[[], BaseGeometry], surroundings: Callable[[], Surroundings],
    grow: Callable[[PrintMotif, int], Growth], beside: PolygonArray | None = None,
    before: BaseGeometry | None = None, read: KeptReader = read_kept, marks: Callable[[], Sequence[Mark]] = tuple,
) -> Grown:  # fmt: skip
    """A motif that is kept.

    Parameters
    ----------
    key
        The motif's table in the print file.
    room
        Where it may be taken out.
    grow
        Grows it anew on the drawing as it is now, by other settings and another seed.
    beside
        What went and came of earlier motifs.
    before
        What earlier motifs have made white: what has come too near to kept flakes counts as `beside`.
    read
        Reads a kept file as `read_kept` does.
    marks
        Those of the print, asked for where marks were done by other limits.

    Raises
    ------
    InputError
        If the kept file can't be used, with the key that names it.
    """
    kept = kept_of(print_, motif, key, read)
    around = surroundings()
    again = partial(grow, *_as_grown(kept, motif, print_)) if motif.motif in _GROW_AGAIN else None
    falls = motif.motif == "snowfall"
    grew = grew_in(motif.marks_grew_by, print_.place(f"{key}.marks_grew_by"))
    lands = _lands(kept.growth.cuts, motif, limits, grew, marks() if grew else ())
    near = geometry.stack([beside if beside is not None else geometry.empty(), _too_near(kept, before, lands)])
    done = adapted(
        kept, around, limits, room=room, again=again, beside=near if falls else None,
        hers=kept.edited if falls else None,
    )  # fmt: skip
    edited = kept.edited
    if len(edited) and done.growth is not kept.growth:
        there = set(marks_of(done.growth.cuts))
        edited = edited[np.array([mark in there for mark in marks_of(edited)], dtype=bool)]
    findings = (
        *change_findings(motif.called, done),
        *kept_findings(motif.called, edited, done.growth.cuts, around.clear, limits),
    )
    return Grown(
        motif=motif, growth=done.growth, surroundings=lambda: around, kept=kept, gone=done.gone, come=done.come,
        findings=findings, notes=tuple(_notes(print_, motif, kept, done)),
    )  # fmt: skip


def _lands(
    cuts: PolygonArray, motif: PrintMotif, limits: Limits, grew: Mapping[tuple[str, int], Limits],
    marks: Sequence[Mark],
) -> Floats:  # fmt: skip
    """The land that each shape keeps from other white as it grew, mm; (cuts,).

    What no mark reaches keeps that of the limits. A mark that was done by less may have let stand what lies in its
    reach; one that is not there any more has not.
    """
    lands = np.full(len(cuts), limits.land_mm)
    for mark in marks:
        own = grew.get((mark.key, mark.attempt))
        if own is not None and mark.is_for(motif=motif.name):
            reach = max(reach_mm(motif.motif, motif.settings, by) for by in (own, limits))
            met = shapely.dwithin(cuts, mark.shape, reach)
            lands[met] = np.minimum(lands[met], own.land_mm)
    return lands


def _too_near(kept: Kept, before: BaseGeometry | None, lands: Floats) -> PolygonArray:
    """Other white that is nearer by now to what is kept as it grew than the land, (cuts,), that it kept from such."""
    whites = geometry.parts(before) if before is not None else geometry.empty()
    own = ~np.isin(marks_of(kept.growth.cuts), marks_of(kept.edited))
    grown = kept.growth.cuts[own]
    near = shapely.STRtree(whites).query(grown, predicate="dwithin", distance=_NEARER * lands[own])[1]
    return np.asarray(whites[np.unique(near)], dtype=object)


def _as_grown(kept: Kept, motif: PrintMotif, print_: Print) -> tuple[PrintMotif, int]:
    """The motif with the settings, the levels and the seed that it grew by; as it is now, if they are not known."""
    known, names = kept.memory.settings if kept.memory else {}, [each.name for each in fields(motif.settings)]
    seed = known.get("seed")
    try:
        settings = replace(motif.settings, **{name: known[name] for name in names if name in known})
    except (InputError, TypeError, ValueError):  # somebody has written it
        return motif, print_.seed
    settings = settled_by(settings, kept.growth.kept) if kept.growth.kept else settings
    return replace(motif, settings=settings), seed if type(seed) is int and seed >= 0 else print_.seed


def change_findings(name: str, done: Adapted) -> Iterator[Finding]:
    """Where the drawing has changed under a kept motif."""
    replaced = np.unique(shapely.STRtree(done.gone).query(done.come, predicate="intersects")[1])
    for shape in done.come:
        yield _change("grown", shape, f"{name} has grown again here: the drawing has changed under it")
    for shape in np.delete(done.gone, replaced):
        yield _change("left-out", shape, f"a shape of {name} is left out here: the drawing has changed under it")


def _change(kind: str, shape: BaseGeometry, why: str) -> Finding:
    at = shapely.point_on_surface(shape)
    return Finding(
        rule="changed-drawing", kind=kind, severity=Severity.ADVICE, at=(round(at.x, 3), round(at.y, 3)),
        measured=float(shapely.area(shape)), limit=0.0, unit="mm²", why=why,
        remedy="look at changed.png; carvegen keep keeps it as it is now",
    )  # fmt: skip


def _notes(print_: Print, motif: PrintMotif, kept: Kept, done: Adapted) -> Iterator[str]:
    for note in kept.notes:
        yield f"{motif.kept}: {note}"
    yield from (f"{line}: see changed.png" for line in done.lines(motif.called))
    if kept.memory is None:
        return
    now = grown_by(motif, print_)
    other = sorted(name for name, value in now.items() if kept.memory.settings.get(name) != value)
    if other:
        yield (
            f"{motif.called} is kept: {', '.join(other)} differ from what it grew by, which changes nothing while it "
            "is kept; without its key kept it would grow again"
        )
