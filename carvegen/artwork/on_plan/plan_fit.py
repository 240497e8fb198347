"""How well a picture fits a plan where it was laid: cell by cell, how alike they are and how far off."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from carvegen.artwork.on_plan.plan import ImagePyramid, Matrix, Tone, TonePlan, face_at, laid, levelled

__all__ = ["PlanFit", "judged", "shows_where_it_lies"]

_CELLS_ALONG, _CELL_MM = 14, (5.0, 12.0)  #: cells along the root of the face's area, and how large they may be
_REACH_MM = 2.0  #: how far around its place a cell is looked for
_PX_PER_MM = 5.0
_LEVEL_MM = 4.0
_DRAWN = 0.35  #: contrast of a cell in which something is drawn; 1 is the picture's own
_ALIKE = 0.6
_LOCKED_MM = 0.6
_LEAST_LOCKED, _MOST_OFF_MM = 0.75, 0.3  #: our own choice, set on blocks that differ; see `Fit`
_MANY, _LEAST_OF_MANY = 60, 0.6  #: so many locked cells are no chance: other snow on the same drawing locked 48 of 174
_FEWEST, _FEWEST_SEEN = 12, 0.3
_ACROSS = 0.1
_ROUGH_MM = 0.2  #: a drawing whose edges lie farther off is said to
_LOOSE_MM = 0.2  #: a place that is known no better at the face's corners is said to be


@dataclass(frozen=True, eq=False)
class PlanFit:
    """What the cells of a plan say of a place in a picture.

    A cell counts if something is drawn in it on the plan and in the picture: where a block is not cut yet, a print
    not inked or a hand lies, there is nothing to compare. It is locked if both agree there, and no more than
    0.6 mm off. A right place has nearly all of them locked, and no offset in common; how alike they are is no sign.
    """

    middle: NDArray[np.float64]  #: of each cell drawn on the plan, mm, y down; (n, 2)
    off: NDArray[np.float64]  #: how far the picture still lies off there, mm; along straight lines it does not count
    alike: NDArray[np.float64]  #: correlation at that offset; (n,)
    drawn: NDArray[np.bool_]  #: whether something is drawn there in the picture; (n,)
    firm: NDArray[np.bool_]  #: whether what is drawn there has edges in more than one direction; (n,)
    cell_mm: float
    move: NDArray[np.float64]  #: where its like was found, from there; mm, (n, 2)
    edges: NDArray[np.float64]  #: of its structure tensor xx, yy and xy, over the larger eigenvalue; (n, 3)
    corners: NDArray[np.float64]  #: of the face, mm, y down; (4, 2)
    held: NDArray[np.float64] | None = None  #: what the face's sides tell of a homography's figures, 1/mm²; (8, 8)

    @property
    def locked(self) -> NDArray[np.bool_]:
        """Which cells are locked; (n,)."""
        return np.asarray(self.drawn & (self.alike > _ALIKE) & (self.off < _LOCKED_MM))

    @property
    def alike_there(self) -> NDArray[np.bool_]:
        """Cells whose like was found, however far off, and that can tell how far; (n,)."""
        return np.asarray(self.drawn & self.firm & (self.alike > _ALIKE))

    @property
    def share(self) -> float:
        """Share of the cells that count which are locked."""
        return float(self.locked.sum() / max(self.drawn.sum(), 1))

    @property
    def weight(self) -> float:
        """How much speaks for it beside another plan: what agrees, by how alike; less where little of it is seen.

        A print and its tone block alone have one outline: all cells agree with either, and are more alike with one.
        """
        return float(self.share * self.alike[self.locked].sum() * self.drawn.sum() / max(len(self.middle), 1))

    @property
    def off_mm(self) -> float:
        """How far the place is off where cells are locked, at most, but for one in twenty; see `_drift`."""
        return float(np.quantile(np.linalg.norm(self._drift[0], axis=1), 0.95)) if self.locked.any() else np.inf

    @property
    def rough_mm(self) -> float:
        """How far the drawing's own edges lie off beside that: cut by hand, or another cut than planned."""
        return float(np.quantile(self._drift[1], 0.95)) if self.locked.any() else np.inf

    @property
    def corners_mm(self) -> float:
        """How far the face's corners may be off: twice the standard error there of a homography through the cells.

        By least squares: s² J (Σ Jᵀ T J)⁻¹ Jᵀ, T a cell's edges, s² what is left of the offsets for each unknown less.
        Far from all that is drawn nothing holds the place but the face's sides, where they are seen.
        """
        spread = self.spread
        if not np.isfinite(spread).all():
            return np.inf
        there = [np.linalg.eigvalsh(step @ spread @ step.T)[-1] for step in self.steps(self.corners)]
        return 2 * float(np.sqrt(max(there)))

    @cached_property
    def spread(self) -> NDArray[np.float64]:
        """Variances and covariances of a homography's eight figures, mm²; endless where too little is drawn; (8, 8)."""
        xx, yy, xy = self.edges[self.locked].T
        free = (xx + yy).sum() - 8
        if free < 1:
            return np.diag(np.full(8, np.inf))
        steps = self.steps(self.middle[self.locked])
        tensors = np.stack([xx, xy, xy, yy], axis=1).reshape(-1, 2, 2)
        normal = np.einsum("nki,nkl,nlj->ij", steps, tensors, steps)
        normal += 1e-9 * np.trace(normal) * np.eye(8)
        known = normal * free / max(float((self._drift[1] ** 2).sum()), 1e-9)
        return np.asarray(np.linalg.inv(known if self.held is None else known + self.held))

    def moved_by(self, figures: NDArray[np.float64]) -> NDArray[np.float64]:
        """The homography of places on the plan that eight figures stand for, nearly: see `steps`; mm, (3, 3)."""
        long = np.ptp(self.corners, axis=0).max()
        middle = self.corners.mean(axis=0)
        to_unit = np.array([[1 / long, 0, -middle[0] / long], [0, 1 / long, -middle[1] / long], [0, 0, 1]])
        change = np.eye(3) + np.append(figures, 0.0).reshape(3, 3) / long
        return np.asarray(np.linalg.inv(to_unit) @ change @ to_unit)

    def steps(self, xy: NDArray[np.float64]) -> NDArray[np.float64]:
        """How places move as each of a homography's eight figures changes, about none; (n, 2, 8)."""
        x, y = ((xy - self.corners.mean(axis=0)) / np.ptp(self.corners, axis=0).max()).T
        one, none = np.ones_like(x), np.zeros_like(x)
        across = [x, y, one, none, none, none, -x * x, -x * y]
        down = [none, none, none, x, y, one, -x * y, -y * y]
        return np.stack([np.stack(across, axis=1), np.stack(down, axis=1)], axis=1)

    @cached_property
    def _drift(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """What of the locked cells' offsets they have in common with those about them, and how much is left; mm.

        Edges that are cut by hand lie off this way and that; a place that is wrong, a lens or bent paper puts
        neighbours off alike: a surface of second degree, by least squares across the edges. Of the first degree where
        there are few cells.
        """
        edges, move = self.edges[self.locked], self.move[self.locked]
        x, y = ((self.middle[self.locked] - self.middle.mean(axis=0)) / np.ptp(self.middle, axis=0).max()).T
        basis = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y][: 6 if len(x) >= 4 * _FEWEST else 3], axis=1)
        xx, yy, xy = edges.T
        normal = np.block([[(basis * a[:, None]).T @ basis for a in row] for row in ((xx, xy), (xy, yy))])
        pull = np.einsum("nij,nj->ni", np.stack([xx, xy, xy, yy], axis=1).reshape(-1, 2, 2), move)
        wanted = np.concatenate([basis.T @ pull[:, 0], basis.T @ pull[:, 1]])
        surface = np.linalg.solve(normal + 1e-6 * max(np.trace(normal), 1e-9) * np.eye(len(normal)), wanted)
        drift = basis @ surface.reshape(2, -1).T
        return drift, _far(edges, move - drift)

    @property
    def quarters(self) -> int:
        """In how many quarters of what is drawn on the plan cells are locked."""
        side = (self.middle[self.locked] > (self.middle.min(axis=0) + self.middle.max(axis=0)) / 2).astype(int)
        return len(np.unique(side @ [1, 2]))

    @property
    def can_tell(self) -> bool:
        """Whether enough is drawn on the plan to tell right from wrong."""
        return int(self.firm.sum()) >= _FEWEST

    @property
    def fault(self) -> str:
        """What speaks against it; nothing if it is right."""
        if not self.can_tell:
            return f"the plan has too little drawn on it to tell: {self.firm.sum()} places of {_FEWEST}"
        if (
            self.drawn.sum() < max(_FEWEST, _FEWEST_SEEN * len(self.middle))
            or self.locked[self.firm].sum() < _FEWEST / 2
        ):
            return f"of {len(self.middle)} places on the plan only {self.locked.sum()} can be seen in the picture"
        least = _LEAST_OF_MANY if self.locked.sum() >= _MANY else _LEAST_LOCKED
        if self.share < least:
            return f"only {self.share:.0%} of the places that show a drawing agree; {least:.0%} must"
        if self.off_mm > _MOST_OFF_MM:
            return f"the places that agree still lie {self.off_mm:.2f} mm off; {_MOST_OFF_MM:g} mm at most"
        if self.quarters < 3:
            return f"only {self.quarters} quarters of the drawing can be seen in the picture; three must be"
        return ""

    @property
    def words(self) -> str:
        """How well it fits, in one line."""
        text = f"{self.locked.sum()} of {self.drawn.sum()} places agree, {self.off_mm:.2f} mm off at most"
        if self.rough_mm > _ROUGH_MM:
            text += f"; its edges lie up to {self.rough_mm:.1f} mm off"
        if self.corners_mm > _LOOSE_MM:
            text += f"; little is drawn: towards the face's corners it may be {self.corners_mm:.1f} mm off"
        return text


def judged(plan: TonePlan, seen: ImagePyramid, place: Matrix) -> PlanFit:
    """How well a picture fits a plan at a place.

    Parameters
    ----------
    seen, place
        As for `best_place`.
    """
    (rows, columns), side, y, x, cells = _drawn_cells(plan)
    reach = round(_REACH_MM * _PX_PER_MM)
    here = laid(seen, place, (columns + 2 * reach, rows + 2 * reach), _PX_PER_MM, _REACH_MM)
    around = _windows(levelled(here, _LEVEL_MM * _PX_PER_MM), side + 2 * reach, y, x)
    inner = around[:, reach:-reach, reach:-reach]
    seen_there = np.isfinite(_windows(here, side, y + reach, x + reach)).all(axis=(1, 2))
    move, alike = _sought(cells, around, reach)
    edges = _edges(cells)
    return PlanFit(
        middle=np.column_stack([x, y]).astype(np.float64) / _PX_PER_MM + side / 2 / _PX_PER_MM,
        off=_far(edges, move) / _PX_PER_MM, alike=alike, drawn=seen_there & (inner.std(axis=(1, 2)) > _DRAWN),
        firm=_firm(edges), cell_mm=side / _PX_PER_MM, move=move / _PX_PER_MM, edges=edges,
        corners=plan.corners,
    )  # fmt: skip


def shows_where_it_lies(plan: TonePlan) -> bool:
    """Whether enough is drawn on a plan to tell where it lies; what `Fit.can_tell` says, without a picture."""
    return int(_firm(_edges(_drawn_cells(plan)[-1])).sum()) >= _FEWEST


@lru_cache(maxsize=4)
def _drawn_cells(plan: TonePlan) -> tuple[tuple[int, int], int, NDArray[np.intp], NDArray[np.intp], Tone]:
    """Rows and columns of a plan, the side of its cells, where those lie in which something is drawn, and they."""
    width, height = plan.size_mm
    side = round(float(np.clip(np.sqrt(width * height) / _CELLS_ALONG, *_CELL_MM)) * _PX_PER_MM)
    face = face_at(plan, _PX_PER_MM)
    rows, columns = face.shape
    y, x = (v.ravel() for v in np.mgrid[0 : rows - side + 1 : side, 0 : columns - side + 1 : side])
    cells = _windows(levelled(face, _LEVEL_MM * _PX_PER_MM), side, y, x)
    kept = cells.std(axis=(1, 2)) > _DRAWN
    return (rows, columns), side, y[kept], x[kept], cells[kept]


def _windows(tone: Tone, side: int, y: NDArray[np.intp], x: NDArray[np.intp]) -> Tone:
    """Squares cut out of a picture; (n, side, side)."""
    return np.lib.stride_tricks.sliding_window_view(tone, (side, side))[y, x]


def _sought(cells: Tone, around: Tone, reach: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Where each cell is found in what is around it, pixels right and down, and how alike both are there."""
    side, wide = cells.shape[1], around.shape[1]
    if len(cells) == 0:
        return np.zeros((0, 2)), np.zeros(0)
    even = cells - cells.mean(axis=(1, 2), keepdims=True)
    shape = (wide, wide)
    transform = fft.rfft2(around, shape)
    cross = fft.irfft2(transform * np.conj(fft.rfft2(even, shape)), shape)[:, : 2 * reach + 1, : 2 * reach + 1]
    box = np.conj(fft.rfft2(np.ones((side, side), np.float32), shape))
    total, squares = (
        fft.irfft2(values * box, shape)[:, : 2 * reach + 1, : 2 * reach + 1]
        for values in (transform, fft.rfft2(around**2, shape))
    )
    power = np.maximum(squares - total**2 / side**2, 1e-3 * side**2)
    alike = cross / np.sqrt(power * (even**2).sum(axis=(1, 2))[:, None, None])
    best = alike.reshape(len(alike), -1).argmax(axis=1)
    j, i = np.divmod(best, 2 * reach + 1)
    row = np.arange(len(alike))
    down = _peak(*(alike[row, np.clip(j + by, 0, 2 * reach), i] for by in (-1, 0, 1)))
    across = _peak(*(alike[row, j, np.clip(i + by, 0, 2 * reach)] for by in (-1, 0, 1)))
    return np.column_stack([i + across - reach, j + down - reach]), alike[row, j, i].astype(np.float64)


def _far(edges: NDArray[np.float64], move: NDArray[np.float64]) -> NDArray[np.float64]:
    """How far each cell is moved across its edges, for along straight ones no offset can be told; (n,).

    By the structure tensor T, the mean of the gradients' products, as sqrt(d T d / T's larger eigenvalue) (source:
    foerstner-guelch).
    """
    (xx, yy, xy), (x, y) = edges.T, move.T
    return np.asarray(np.sqrt(np.maximum(xx * x**2 + 2 * xy * x * y + yy * y**2, 0)))


def _firm(edges: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether a cell's edges run in more than one direction: how large T's smaller eigenvalue is beside it; (n,)."""
    return np.asarray(edges[:, 0] + edges[:, 1] - 1 > _ACROSS)


def _edges(cells: Tone) -> NDArray[np.float64]:
    """Of each cell's structure tensor xx, yy and xy, over its larger eigenvalue; (n, 3)."""
    down, across = np.gradient(cells, axis=(1, 2))
    xx, yy, xy = ((a * b).mean(axis=(1, 2)) for a, b in ((across, across), (down, down), (across, down)))
    largest = np.maximum((xx + yy + np.hypot(xx - yy, 2 * xy)) / 2, 1e-9)
    return np.asarray(np.stack([xx, yy, xy], axis=1) / largest[:, None], dtype=np.float64)


def _peak(before: Tone, here: Tone, after: Tone) -> NDArray[np.float64]:
    """Where the parabola through three values has its top, between them."""
    bend = before - 2 * here + after
    top = np.where(bend < -1e-9, (before - after) / np.where(bend < -1e-9, 2 * bend, 1.0), 0.0)
    return np.clip(top, -0.5, 0.5).astype(np.float64)
