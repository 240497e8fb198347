"""A guide's page, drawn by PDFium as a scanner would see it: its printed bar gives the true size."""

from __future__ import annotations

import pypdfium2
import pytest
import shapely

from carvegen.artwork.scan import ScanOptions, read_scan
from carvegen.blocks.job import setups_for
from carvegen.facts.profiles import Library
from carvegen.writers.guide.guide_pdf import guide_pdf
from carvegen.writers.guide.hand_guide import hand_guide
from carvegen.writers.sheet import BAR_MM
from tests.cases import block, box
from tests.strategies import few


@pytest.mark.parametrize("dpi", few([200, 300], 1))
def test_the_bar_of_a_guide_gives_its_paper_the_size_of_a4(tmp_path, dpi):
    """ISO 216: A4 is 210 x 297 mm; the file says no resolution, so that only the bar can tell it."""
    made = block(box(20, 20, 30, 40), box(80, 60, 8, 30), size=(150.0, 100.0))
    job = setups_for(Library(), material="linoleum", cutter="v-60", kinds=["hand"])[0].on(made)
    page = pypdfium2.PdfDocument(guide_pdf(hand_guide(job, "carbon"), "A4"))[1]
    page.render(scale=dpi / 72, grayscale=True).to_pil().save(tmp_path / "guide.png")
    artwork = read_scan(tmp_path / "guide.png", ScanOptions(bar_mm=BAR_MM))
    assert (artwork.width_mm, artwork.height_mm) == pytest.approx((210, 297), rel=0.0015)
    assert any("printed bar" in note for note in artwork.notes)
    assert shapely.is_valid(artwork.shapes).all()
