"""What falls on a window: layers from far to near under one weather."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.motifs.shared.fields import smoothstep
from carvegen.motifs.snowfall.chance import Draws, keys
from carvegen.motifs.snowfall.clumps import Clumps
from carvegen.motifs.snowfall.flakes import (
    FILLED,
    PLAINER,
    Flakes,
    Looks,
    drawn,
    falling,
    passes_mm,
    sized,
)
from carvegen.motifs.snowfall.land import doomed
from carvegen.motifs.snowfall.outlines import SMALLEST_REACH
from carvegen.motifs.snowfall.readable import mass_mm2
from carvegen.motifs.snowfall.weather import (
    CELL_MM,
    Cells,
    Octave,
    counts,
    in_cells,
)

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import Floats, PolygonArray
    from carvegen.motifs.snowfall.settings import Settings

__all__ = ["LAYERS", "Sky"]

LAYERS = ("far", "middle", "near")
#: Octaves that all layers share: size in flurries, height.
_SHARED = ((1.0, 1.3), (0.42, 1.05), (0.17, 1.05), (0.07, 1.2))
#: Octaves of each layer's own: near ones lie in twos and threes, or alone.
_OWN = (*[((0.5, 0.5), (0.2, 0.5), (0.08, 0.5))] * 2, ((0.5, 0.5), (0.2, 0.75), (0.1, 0.7)))
_SHARP = (1.15, 1.0, 0.75)  #: how sharply each layer gathers: far ones hang in veils, near ones fall where they will
_USUAL = 0.6  #: the `gathered` for which these heights are
_SPREAD = np.array([0.36, 0.42, 0.48])  #: of the logarithm of sizes in a layer
_FULL = 1.7  #: flakes lie over one another no more than so many deep, on average,
_FULLER = 0.9  #: and so much more where snow is heavy,
_FULLEST = 6.0  #: and for each share of white above
_MUCH = 0.3
_HEAVY = (0.18, 0.28)  #: the shares of white at which snow begins to be heavy, and is
_PACKED = (0.25, 0.9)  #: how thick flakes of heavy snow begin to be one mass, and are
_BEFORE = (4.0, 6.0)  #: of the largest flakes: so near to bars heavy snow is single flakes, and so far off heaped
_ROUGHLY = 0.1  #: of these, how near to an outline is near enough to tell so
_WIDER = 1.0 / 3  #: heavy snow's flurries are so much larger
_SHARES = np.linspace(0.05, 0.95, 10)  #: of the face, by how thick it falls there: in these a part is like all
_TIMES = 3  #: a part that is wider than the window over so many is none: it tells little and costs as much
_HIGHEST = 3.6  #: the density's logarithm at most
_SHARE = 0.17  #: of the face's side: the size of its largest flurries
_ALIKE = 1e-3  #: levels that differ by no more, in their logarithm, are alike
_FLURRY_MM = (7.0, 45.0)  #: and between which sizes
_NOTHING = shapely.Polygon()


class Sky:
    """The flakes that fall on a window at any level; each belongs to its place in the weather."""

    def __init__(
        self, settings: Settings, limits: Limits, key: int, window: Floats, *, bars: BaseGeometry = _NOTHING,
        whole: Sky | None = None,
    ) -> None:  # fmt: skip
        self.settings, self.limits, self.key, self.is_part = settings, limits, key, whole is not None
        self.bars = bars  #: near these flakes lie side by side, in no mass that they would cut
        left, bottom, right, top = window
        self.frame = shapely.box(*window)
        passes = passes_mm(limits)
        least = passes / SMALLEST_REACH
        side = float(np.sqrt((right - left) * (top - bottom)))
        self.heavy = float(np.clip((settings.snow - _HEAVY[0]) / (_HEAVY[1] - _HEAVY[0]), 0, 1))
        share = _SHARE * (1 + _WIDER * self.heavy)
        self.flurry = settings.flurry_mm or float(np.clip(share * side, *_FLURRY_MM))
        self.medians = _medians(settings, 2 * least)
        self.weights = np.array([settings.far, settings.middle, settings.near], dtype=float)
        self.weights /= self.weights.sum()
        self.looks = Looks(
            least_mm=least, passes_mm=passes, most_mm=max(settings.largest_mm / 2, least), round=settings.round,
            torn=settings.torn, along_deg=settings.wind_towards_deg,
            longer=settings.wind * np.array([0.75, 0.95, 1.1]), worked=1 - PLAINER * self.heavy,
        )  # fmt: skip
        pad = 0.3 * settings.largest_mm + 2 * CELL_MM  # what falls farther out leaves nothing on the face
        self.view = np.array([settings.view_x_mm, settings.view_y_mm])
        low = np.floor((np.array([left, bottom]) + self.view - pad) / CELL_MM).astype(int)
        high = np.ceil((np.array([right, top]) + self.view + pad) / CELL_MM).astype(int)
        self.cells = Cells(int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1]))
        self.density: Floats = self._density() if whole is None else whole.cells.values_in(self.cells, whole.density)
        self.clumps = Clumps(limits, mass_mm2(settings))
        self.lain: dict[tuple[bytes, bytes], PolygonArray] = {}  #: by flakes' marks and how they are packed: what they
        #: became
        self._known = np.empty(0, dtype=np.uint64), geometry.empty()
        plain = shapely.simplify(bars, _ROUGHLY * settings.largest_mm, preserve_topology=False)
        self._plain_bars = geometry.parts([plain])
        self.thick = (self.density * self._areas[:, None]).sum(axis=0)

    @property
    def _areas(self) -> Floats:
        """The mean area of each layer's flakes, mm²."""
        return np.asarray(FILLED * np.pi * (self.medians / 2) ** 2 * np.exp(2 * _SPREAD**2))

    def octaves(self, layer: int) -> list[Octave]:
        """Octaves of a layer's own, or those of all (layer -1)."""
        settings = self.settings
        stretch = 1 + 8 * settings.wind**1.4
        octaves = []
        for k, (size, height) in enumerate(_SHARED if layer < 0 else _OWN[layer]):
            along = settings.wind_towards_deg if settings.wind > 0 else 37.0 + 61.0 * k + 17.0 * layer
            long = stretch if k else stretch**0.7
            octaves.append(
                Octave(
                    key=int(keys(self.key >> 1, 100 + layer, k)[0] >> np.uint64(2)),
                    size_mm=max(size * self.flurry / long**0.4, CELL_MM),
                    height=height * settings.gathered / _USUAL,
                    stretch=long,
                    along_deg=along,
                )
            )
        return octaves

    def _density(self) -> Floats:
        """Flakes per mm² of each layer in each cell at level 1, where the layers' areas add up to 1; (3, n)."""
        shared = self.octaves(-1)
        together = sum(in_cells(octave, self.cells) for octave in shared)
        sheets = []
        for layer, sharp in enumerate(_SHARP):
            own = self.octaves(layer)
            height = sharp * together + sum(in_cells(octave, self.cells) for octave in own)
            half = sum((sharp * octave.height) ** 2 for octave in shared) + sum(octave.height**2 for octave in own)
            sheets.append(np.exp(np.minimum(height - half / 2, _HIGHEST)) * self.weights[layer] / self._areas[layer])
        return np.array(sheets)

    def level_of(self, cover: float) -> float:
        """The level at which flakes cover this share, overlaps told (1 - exp(-thickness), source: matheron-1975).

        At most 1,000. By halves, to a thousandth.
        """
        low, high = np.log(1e-30), np.log(1e3)
        while high - low > _ALIKE:
            middle = (low + high) / 2
            low, high = (middle, high) if self.cover(np.exp(middle)) < cover else (low, middle)
        return float(np.exp(high))

    def cover(self, level: float) -> float:
        """The share that flakes cover at a level, land aside."""
        return float((1 - np.exp(-self._crowded(level * self.thick))).mean())

    def _crowded(self, thick: Floats) -> Floats:
        """How thick flakes lie where so many would: never more than `_FULL`, or where much white is asked some more."""
        full = _FULL + _FULLER * self.heavy + _FULLEST * max(self.settings.snow - _MUCH, 0)
        return np.asarray(full * (1 - np.exp(-thick / full)))

    def part(self, level: float, flakes: int) -> Sky | None:
        """A part of the window on which about so many fall, as dense as all; none where no more fall on all."""
        fall = level * self.density.sum(axis=0) * self._crowded(level * self.thick) / (level * self.thick)
        times = int(np.sqrt(fall.sum() * CELL_MM**2 / flakes))
        if times < _TIMES:
            return None
        left, bottom, right, top = shapely.bounds(self.frame)
        wide, high = (right - left) / times, (top - bottom) / times
        spots = [(left + i * wide, bottom + j * high) for i in range(times) for j in range(times)]
        thick = self._crowded(level * self.thick).reshape(self.cells.rows, self.cells.columns)
        usual, off = np.quantile(thick, _SHARES), []
        for x, y in spots:
            i, j = (np.array([x, y]) + self.view) // CELL_MM - [self.cells.left, self.cells.bottom]
            here = thick[int(j) : int(j + high / CELL_MM) + 1, int(i) : int(i + wide / CELL_MM) + 1]
            off.append(np.abs(np.quantile(here, _SHARES) - usual).sum())
        x, y = spots[int(np.argmin(off))]
        return Sky(
            replace(self.settings, flurry_mm=self.flurry),
            self.limits,
            self.key,
            np.array([x, y, x + wide, y + high]),
            whole=self,
        )

    @property
    def loose_mm(self) -> float:
        """So near to bars no flakes lie in a mass."""
        return _BEFORE[0] * self.settings.largest_mm

    def _heaped(self, xy: Floats) -> Floats:
        """How far flakes at these places may be one mass: 0 near bars to 1 in the open; (n,)."""
        if len(self._plain_bars) == 0 or not self.heavy:
            return np.ones(len(xy))
        near, far = self.loose_mm, _BEFORE[1] * self.settings.largest_mm
        (place, _), apart = shapely.STRtree(self._plain_bars).query_nearest(
            geometry.dots(xy), max_distance=far, all_matches=False, return_distance=True
        )
        open_ = np.ones(len(xy))
        open_[place] = np.clip((apart - near) / (far - near), 0, 1)
        return smoothstep(open_)

    def fallen(self, level: float) -> Flakes:
        """All flakes that fall at a level, but those beside the largest at their spot; not drawn yet."""
        thick = np.maximum(level * self.thick, 1e-12)
        crowded = self._crowded(thick) / thick
        lots = [self._layer(layer, level * crowded * self.density[layer]) for layer in range(len(LAYERS))]
        xy, key, layer, cell = (np.concatenate(column) for column in zip(*lots, strict=True))
        reach = sized(self.looks, Draws(key, drawn=4), self.medians[layer], _SPREAD[layer])
        packed = self.heavy * _packed(crowded * thick)[cell] * self._heaped(xy)
        flakes = falling(self.looks, xy, reach, layer, key=key, packed=packed)
        return flakes.chosen(~doomed(flakes, self.view, self.limits))

    def drawn(self, flakes: Flakes) -> Flakes:
        """The flakes with their shapes; those that lay there at the level tried before are not drawn again."""
        mark, known = self._known
        order = np.argsort(mark)
        here = np.append(order, -1)[np.searchsorted(mark, flakes.mark, sorter=order)]
        new = np.append(mark, 0)[here] != flakes.mark
        shape = flakes.shape.copy()
        shape[~new] = known[here[~new]]
        shape[new] = drawn(self.looks, flakes.chosen(new))
        self._known = flakes.mark, shape
        return replace(flakes, shape=shape)

    def _layer(self, layer: int, per_mm2: Floats) -> tuple[Floats, np.ndarray, np.ndarray, np.ndarray]:
        """Places, keys, layer and cells of the flakes of one layer."""
        column, row = self.cells.column, self.cells.row
        cell = keys(self.key, 10 + layer, column, row)
        count = counts(per_mm2 * CELL_MM**2, Draws(cell).random()[:, 0])
        whose = np.repeat(np.arange(len(count)), count)
        nth = geometry.counted(count)
        key = keys(cell[whose], 1 + nth)
        corner = np.column_stack([column[whose], row[whose]])
        return (corner + Draws(key).random(2)) * CELL_MM - self.view, key, np.full(len(key), layer), whose


def _medians(settings: Settings, least_mm: float) -> Floats:
    """The usual size of flakes far, in the middle and near, mm across."""
    far = max(1.2 * settings.smallest_mm, 1.1 * least_mm)
    near = max(0.62 * settings.largest_mm, far)
    flat = 0.8 * np.sqrt(far * near)
    deep = np.array([far, 0.95 * np.sqrt(far * near), near])
    return np.asarray(np.maximum(flat * (deep / flat) ** min(settings.deep / 0.7, 1.0), far))


def _packed(thick: Floats) -> Floats:
    """From 0 in thin air to 1 where flakes lie so thick that they are one mass."""
    low, high = _PACKED
    return smoothstep(np.clip((thick - low) / (high - low), 0, 1))
