"""What a plan costs as a block holds more: pairs are counted, not time."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from carvegen.blocks.job import setups_for
from carvegen.facts.profiles import Library
from carvegen.toolpaths import plan_for
from carvegen.toolpaths.sequence import tours
from carvegen.toolpaths.settings import PathSettings
from tests.bench import working_size
from tests.strategies import few

FLAKES = 40


@pytest.mark.parametrize(("cutter", "machine"), few([("v-30", "router"), ("laser-fine", "laser")], 1))
def test_pairs_looked_at_grow_with_the_flakes_not_with_their_square(cutter, machine, monkeypatch) -> None:
    """Tenfold flakes, at most twelvefold pairs of shapes and of stops that are laid beside one another."""
    pairs = 0

    def counted(owner, name, size):
        work = getattr(owner, name)

        def counting(*arguments, **how):
            nonlocal pairs
            answer = work(*arguments, **how)
            pairs += size(answer)
            return answer

        monkeypatch.setattr(owner, name, counting)

    counted(shapely.STRtree, "query", lambda answer: np.shape(answer)[-1])
    counted(tours, "_nearest", lambda answer: answer[1].size)
    counted(tours._Pairs, "of", lambda answer: len(answer.a))
    setup_ = setups_for(Library(), material="maple-end-grain", cutter=cutter, kinds=[machine], depth_mm=0.5)[0]
    counts = []
    for times in (1, 10):
        share = times * FLAKES / working_size.FLAKES
        block = working_size.block_of(working_size.flakes(working_size.setup(), share=share), share=share)
        pairs = 0
        plan = plan_for(setup_.on(replace(block, name="growth")), PathSettings(lowered="contours"))
        assert plan is not None
        counts.append((len(block.cuts), pairs))
    (few, least), (many, most) = counts
    assert many > 9 * few
    assert many < most <= 12 * many / few / 10 * least
