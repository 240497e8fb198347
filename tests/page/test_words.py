"""Her words: every file that a build hands over has a noun, every stage of long work is said without our own."""

from __future__ import annotations

import re

import pytest

from carvegen.delivery.delivery_files import OWNED
from carvegen.delivery.register_folder import PURPOSE
from carvegen.page.words import about, explained, motif_words, noun, stage_words
from carvegen.writers.plan.plan_files import program_name


def test_nothing_that_is_printed_or_looked_at_is_called_by_its_file() -> None:
    """Files of machines go by their machine, in one archive."""
    by_hand = [name for name in OWNED if not name.startswith((".", "laser/", "router/"))]
    for name in (*PURPOSE, *(f"sky/{its}" for its in by_hand), "print.png", "proof.html", "inks/sky-block.png"):
        assert "." not in noun(name), name
    assert noun("sky-laser.zip") == "the files for the laser, with their note"
    assert noun(f"sky/router/{program_name(1)}") == program_name(1)


@pytest.mark.parametrize(
    "stage",
    ["growing snowload 1 of 4", "taking the inks apart", "sky: mending, round 2", "building key: it was not built yet",
     "trying out register errors"],
)  # fmt: skip
def test_stages_are_said_plainly(stage) -> None:
    assert not re.search("snowload|taking the inks|mending|register|built yet", stage_words(stage))


def test_a_motif_that_nobody_has_named_is_called_plainly_and_a_name_of_hers_stays() -> None:
    assert [motif_words(its) for its in ("snowload 1", "snowfall", "near snowfall")] == [
        "lying snow 1", "falling snow", "near snowfall",
    ]  # fmt: skip


def test_how_long_it_takes_is_no_more_exact_than_it_is_known() -> None:
    assert [about(its) for its in (12, 70, 400)] == [
        "less than a minute",
        "about a minute or two",
        "about 7 to 13 minutes",
    ]


def test_a_word_of_the_shop_is_told_where_it_is_met_first() -> None:
    first, second = explained("ask for the shop's own kerf, then cut", "the kerf again")
    assert first.startswith("ask for the shop's own kerf (the width")
    assert second == "the kerf again"
