"""The proof sheet of the working size in Chromium, from a file: how large it is and when its picture stands.

``python -m tests.bench.proof_page``. Asked are less than 3 MB and less than a second, the median of nine openings;
one before them starts the browser's own parts.
"""

from __future__ import annotations

import tempfile
from pathlib import Path
from statistics import median

from carvegen.checks import checked
from carvegen.writers.block.width_map import land_widths
from carvegen.writers.proof.proof_pages import block_sheet
from carvegen.writers.proof.proof_sheet import proof_sheet_html
from tests.bench.working_size import block_of, flakes, setup, timed
from tests.browser.driving import chromium, shown_ms

MOST_MB, MOST_MS = 3.0, 1000.0


def main() -> None:
    setup_ = setup()
    job = setup_.on(block_of(flakes(setup_)))
    report = checked(job)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        browser = chromium(folder / "browser")
        try:
            for answer, widths in (("", None), (", land widths too", land_widths(job.block, setup_.limits.land_mm))):
                seconds, page = timed(
                    lambda widths=widths: proof_sheet_html(block_sheet([job], {"hand": report}, {}, [], widths=widths))
                )
                path = folder / "proof.html"
                path.write_text(page, encoding="utf-8")
                size = path.stat().st_size
                times = [shown_ms(browser, path) for _ in range(10)][1:]
                held = size < MOST_MB * 1e6 and median(times) < MOST_MS
                print(
                    f"{len(job.block.cuts):,} flakes{answer}: {size / 1e6:5.2f} MB "
                    f"({size / len(job.block.cuts):.1f} bytes a flake), written in {seconds:.1f} s, picture after "
                    f"{median(times):.0f} ms ({min(times):.0f} to {max(times):.0f}): "
                    + ("holds" if held else "DOES NOT HOLD")
                )
        finally:
            browser.quit()


if __name__ == "__main__":
    main()
