"""The contributor's guide: its worked example runs and keeps what every motif keeps."""

from __future__ import annotations

import re
import sys
import types
from pathlib import Path

import pytest
import shapely

from carvegen import geometry
from carvegen.base.limits import Limits
from carvegen.base.streams import stream
from carvegen.motifs.growth import Place

GUIDE = Path(__file__).parent.parent / "DEVELOPERS.md"
LIMITS = Limits(land_along_mm=0.5, land_across_mm=0.5, cut_mm=0.4, dot_mm=0.8)


@pytest.fixture
def drops(monkeypatch):
    """The example, as the module that it would be."""
    (code,) = re.findall(r"```python\n(.*?)```", GUIDE.read_text(encoding="utf-8"), re.DOTALL)
    module = types.ModuleType("carvegen.motifs.drops")
    monkeypatch.setitem(sys.modules, module.__name__, module)
    exec(compile(code, str(GUIDE), "exec"), module.__dict__)
    return module


@pytest.mark.parametrize("preset", ["thaw", "heavy-thaw"])
def test_the_example_motif_grows_and_keeps_its_limits(drops, preset):
    area = shapely.box(1, 1, 99, 59)
    settings = drops.Settings(**drops.PRESETS[preset])
    cuts = drops.grow(settings, Place(area=area), LIMITS, stream(3, preset)).cuts
    assert len(cuts) > 20
    assert shapely.within(cuts, area.buffer(0.002)).all()
    _, _, apart = geometry.close_pairs(cuts, 5)
    assert apart.min() >= LIMITS.land_mm
    assert 2 * shapely.length(shapely.maximum_inscribed_circle(cuts)).min() >= LIMITS.cut_mm
    again = drops.grow(settings, Place(area=area), LIMITS, stream(3, preset)).cuts
    assert (shapely.to_wkb(cuts) == shapely.to_wkb(again)).all()
