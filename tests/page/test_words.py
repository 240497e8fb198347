"""Her words: every file that a build hands over has a noun, every stage of long work is said without our own."""

from __future__ import annotations

import re
from importlib.resources import files

from carvegen.delivery.delivery_files import OWNED
from carvegen.delivery.register_folder import PURPOSE
from carvegen.interfaces.page.wording import explained, more_words, moved_words, noun, so_far, understood_lines
from carvegen.marking.marks import Meaning
from carvegen.prints.file.keys import INKED
from carvegen.writers.file_names import program_name
from tests.cases import small_print
from tests.cli.running import run
from tests.page.page import page_in

POST = ("[[layers]]", 'name = "POST"', 'shape = "box 20 0 8 25"')


def test_nothing_that_is_printed_or_looked_at_is_called_by_its_file() -> None:
    """Files of machines go by their machine, in one archive."""
    by_hand = [name for name in OWNED if not name.startswith((".", "laser/", "router/"))]
    for name in (*PURPOSE, *(f"sky/{each}" for each in by_hand), "print.png", "proof.html", "inks/sky-block.png"):
        assert "." not in noun(name), name
    assert noun("sky-laser.zip") == "the files for the laser, with their note"
    assert noun(f"sky/router/{program_name(1)}") == program_name(1)


def test_a_print_is_begun_with_every_role_of_a_block_that_takes_ink() -> None:
    script = (files("carvegen.interfaces.page") / "client" / "begin.js").read_text(encoding="utf-8")
    listed = re.search(r"const ROLES = .*?\(\{(.*?)\}\)", script, re.DOTALL)
    assert listed
    assert set(re.findall(r"(\w+):", listed[1])) == set(INKED)


def test_stages_are_said_plainly(capsys, tmp_path) -> None:
    """Every stage of a build with snow that falls and snow that lies, and of one that mends."""
    (tmp_path / "print.toml").write_text(
        small_print(
            "[[motifs]]", 'motif = "snowfall"', "[[motifs]]", 'motif = "snowload"', 'on = ["POST"]', "",
            "[[layers]]", 'name = "POST"', 'shape = "box 8 0 5 15"',
            blocks={"sky": ["*"], "key": ["POST"]}, size=(30, 20),
        )
    )  # fmt: skip
    done = run(capsys, "build", tmp_path / "print.toml", "--out", tmp_path / "built", "--jobs", "1")
    stages = [line[2:] for line in done.err.splitlines() if line.startswith("\N{HORIZONTAL ELLIPSIS} ")]
    assert not re.search("snowfall|snowload|motif|mending|register", "\n".join(stages)), stages
    assert {"letting snow fall, 1 of 2", "letting snow lie, 2 of 2"} <= set(stages)


def test_page_and_papers_have_one_word_for_one_thing(tmp_path) -> None:
    """Pencils are called by their meanings, as the sheet and the files call them; motifs by their names."""
    path = tmp_path / "print.toml"
    path.write_text(small_print("[[motifs]]", 'motif = "snowload"', 'on = ["POST"]', "", *POST, blocks={"sky": ["*"]}))
    session = page_in(tmp_path, path).session
    state = session.state()
    assert [meaning["key"] for meaning in state["meanings"]] == [*Meaning]
    assert all(each["short"] for each in state["meanings"])
    assert not any("label" in one for one in state["meanings"])
    assert [motif["name"] for motif in state["motifs"]] == ["snowload 1"]
    assert "label" not in state["motifs"][0]
    session.close()


def test_how_long_it_has_taken_is_said_and_how_long_the_last_time_and_nothing_is_guessed() -> None:
    assert [so_far(*each) for each in ((1, 0), (12, 0.4), (185, 540), (3900, 0))] == [
        "", "12 s so far, slower while other programs work",
        "3 min so far, slower while other programs work; this print took 9 min last time",
        "1 h 5 min so far, slower while other programs work",
    ]  # fmt: skip


def test_of_more_that_can_not_be_seen_it_is_said_why_and_what_to_do_instead() -> None:
    """Both sides of the limit: a twenty-fifth of the mark at full strength, half of that at half."""
    assert more_words(0.1, 0.1401, 1.0, lies=False) == more_words(0.1, 0.1201, 0.5, lies=True) == ""
    none, few, full, lying = (
        more_words(0.1, 0.1, 1.0, lies=False), more_words(0.1, 0.139, 1.0, lies=False),
        more_words(0.41, 0.42, 1.0, lies=False), more_words(0.0, 0.0, 1.0, lies=True),
    )  # fmt: skip
    assert none.startswith("no snow came: what is drawn")
    assert few.startswith("hardly any snow came: what is drawn")
    assert full.startswith("hardly any snow came: 42 % is white here already")
    assert "along upper edges" in lying
    for said in (none, few, full, lying):
        assert said.endswith("draw own snow here, or mark it comes out")
        assert max(len(sentence.split()) for sentence in said.split(". ")) <= 25


def test_of_more_of_what_does_not_grow_that_is_said_first_and_no_advice_is_to_mean_it() -> None:
    lying = more_words(0.0, 0.0, 1.0, lies=True, none=["falling snow 1"])
    assert lying.startswith("falling snow 1 does not grow: its weather is none. Of all else no snow came: this kind")
    assert "mean falling" not in lying
    both = more_words(0.0, 0.0, 1.0, lies=False, none=["falling snow 1", "frost 1"])
    assert both.startswith("falling snow 1 and frost 1 do not grow: their weather is none. Of all else no snow came")
    assert more_words(0.0, 0.5, 1.0, lies=True, none=["falling snow 1"]) == ""


def test_shapes_of_a_drawing_are_named_as_she_named_them_and_never_by_a_line_of_its_file() -> None:
    """The second as SVG's reader says it, of a path that crosses itself."""
    notes = ["a curve (<path id='fir top'> in line 3) is open", "it is mended (<path> in line 35) near 2, 3 mm."]
    lines = understood_lines(notes, why=["Blocks."], several=False)
    assert lines == ["Blocks.", "A curve (fir top) is open.", "It is mended near 2, 3 mm."]


def test_a_word_of_the_shop_is_told_where_it_is_met_first() -> None:
    first, second = explained("ask for the shop's own kerf, then cut", "the kerf again")
    assert first.startswith("ask for the shop's own kerf (the width")
    assert second == "the kerf again"


def test_snow_that_moves_beside_a_mark_is_told_from_a_square_millimetre_on() -> None:
    assert moved_words(0.99) == ""
    assert moved_words(1.6).startswith("beside the mark 2 mm² of snow moved or went")
