"""Register, wood and boards against published numbers."""

from __future__ import annotations

import pytest
import shapely

from carvegen.facts import register
from carvegen.facts.register import WOODS, RegisterPlan
from carvegen.prints.misregister.block_placement import Inked
from carvegen.prints.misregister.trials import outcome


@pytest.mark.parametrize(
    ("trap", "misregister", "shows"),
    [
        (0.076, 0.051, False),  # offset process: trap 0.003 in, misregister 0.002 in (source: trapping-guides)
        (0.169, 0.169, False),  # "one row of dots" at 150 lines per inch, both ways (source: row-of-dots)
        (0.169, 0.191, True),  # a coarser row of dots (133 lines per inch) than the trap was made for
        (0.5, 0.6, True),  # relief by hand, blocks within 0.3 mm of their places; common practice, no source
    ],
)
def test_published_traps_hide_published_register_errors(trap, misregister, shows):
    """Two blocks that may differ by so much, the trap as published: a white line shows only where it is less."""
    blocks = [
        Inked(name="light", land=shapely.box(0, 0, 10 + trap, 20), lightness=80),
        Inked(name="dark", land=shapely.box(10, 0, 20, 20), lightness=20),
    ]
    plan = RegisterPlan(method="pins", tolerance_mm=misregister / 2, turn_deg=0.0, visible_mm=0.004, prints=2000)
    result = outcome(blocks, plan, (20.0, 20.0), seed=1, reach_mm=0.2, full_mm=(0.0, 0.0))
    assert result.worst_mm[0].max() == pytest.approx(misregister - trap, abs=0.004)
    assert result.failed.any() == shows


@pytest.mark.parametrize(
    ("wood", "size", "change", "tangential"),
    [("cherry", 300, 3, 2.232), ("maple", 300, 3, 3.177), ("basswood", 300, 3, 2.970), ("cherry", 200, 6, 2.976)],
)  # fmt: skip
def test_boards_move_as_the_wood_handbook_says(wood, size, change, tangential):
    """Table 13-5 and its formula ``dD = D C (M2 - M1)`` (source: wood-handbook)."""
    assert size * WOODS[wood] * change == pytest.approx(tangential, abs=5e-4)


@pytest.mark.parametrize(
    ("humidity", "fahrenheit", "percent"), [(0.60, 70, 11.1), (0.84, 70, 17.6), (0.55, 140, 8.4)]
)  # fmt: skip
def test_wood_settles_to_the_published_moisture(humidity, fahrenheit, percent):
    """Published examples, to a fifth of a percent (source: emc-tables)."""
    assert register.moisture_percent(humidity, (fahrenheit - 32) / 1.8) == pytest.approx(percent, abs=0.2)


def test_a_season_moves_a_cherry_board_by_millimetres():
    """35 to 65 % relative humidity: 300 mm of cherry, plain sawn, grow 3.73 mm.

    Computed from table 13-5 (source: wood-handbook) and the moisture formula of Hailwood and Horrobin, whose
    coefficients are from memory.
    """
    change = RegisterPlan(humidity_percent=(35.0, 65.0)).moisture_off_percent
    assert change == pytest.approx(5.02, abs=0.03)
    assert RegisterPlan(humidity_percent=(35.0, 65.0), moisture_change_percent=1.0).moisture_off_percent == 1.0
    assert RegisterPlan().moisture_off_percent == 0
    _, across = register.wood_of("cherry", "side")
    assert 300 * across * change == pytest.approx(3.73, abs=0.03)


def test_every_board_moves_as_measured():
    """Solid wood by table 13-5 and 0.1-0.2 % lengthwise from green to dry (source: wood-handbook)."""
    along, across = register.wood_of("cherry", "side")
    assert 0.001 <= along * 30 <= 0.002 < across * 30
    assert register.wood_of("maple-end-grain", "none") == (0.00353, 0.00353)
    assert register.wood_of("pear", "side")[1] == 0.00462  # unknown: overcup oak, the largest of the table


def test_mdf_moves_as_its_makers_say():
    """0.05 % for 1 % of moisture, one of them; from 9 to 12 % 1 mm a metre, the others: the larger is taken.

    source: mdf-makers, mdf-australia
    """
    assert register.wood_of("mdf", "none") == (0.0005, 0.0005)
    grown = 1000 * register.wood_of("mdf", "none")[0] * 3
    assert 1.0 <= grown == pytest.approx(1.5)


def test_plywood_moves_as_its_trade_says():
    """0.0002 for each 10 % of humidity (source: plywood-trade): 0.6 mm a metre from 35 to 65 %, whose moisture is
    computed as above (source: emc-tables).
    """  # noqa: D205
    change = RegisterPlan(humidity_percent=(35.0, 65.0)).moisture_off_percent
    along, across = register.wood_of("birch-plywood", "side")
    assert 1000 * along * change == pytest.approx(0.6, abs=0.005)
    assert across == along


def test_nothing_that_drinks_is_said_to_stay():
    """Linoleum moves by no published figure, so as MDF (our own choice; source: mdf-makers); plastics stay."""
    assert register.wood_of("linoleum-mounted", "none") == register.wood_of("linoleum", "none") == (0.0005, 0.0005)
    assert register.wood_of("embossing-acrylic", "none") == (0.0, 0.0)
