"""While a motif grows it tells which share is done."""

from __future__ import annotations

import pytest
import shapely

from carvegen.base.limits import Limits
from carvegen.base.progress import heard
from carvegen.base.streams import stream
from carvegen.motifs import motif
from carvegen.motifs.growth import Growth, Place
from tests.strategies import few

LIMITS = Limits(land_along_mm=0.5, land_across_mm=0.5, cut_mm=0.4, dot_mm=0.8)
POST = shapely.box(10, 0, 25, 12)


def growth(name: str) -> Growth:
    module = motif(name)
    settings = module.Settings(**next(iter(module.PRESETS.values())))
    shapes = [POST] if name == "snowload" else []
    place = Place(area=shapely.box(0, 0, 40, 30), shapes=shapely.get_parts(shapely.MultiPolygon(shapes)))
    return module.grow(settings, place, LIMITS, stream(7, name))


@pytest.mark.parametrize("name", few(["snowfall", "frost", "snowload", "grain"], 2))
def test_it_tells_from_early_on_to_its_end_and_grows_the_same(name):
    """By what a person is told it never goes back; before it ends it is told several times."""
    shares: list[float] = []
    with heard(shares.append):
        listened = growth(name)
    assert min(shares) < 0.55
    assert max(shares) == shares[-1] == pytest.approx(1)
    assert len({round(share, 2) for share in shares}) >= 3
    assert [shape.wkb for shape in listened.cuts] == [shape.wkb for shape in growth(name).cuts]
