"""Every sentence that a finding can be told in: short, in a printmaker's words, with units a ruler has."""

from __future__ import annotations

import re
from pathlib import Path

import carvegen
from carvegen.base.finding_groups import grouped, sentence
from carvegen.base.findings import SAYINGS, Finding, Report, Severity, in_words, saying_of, spoken
from carvegen.writers.note.findings_table import MOST_LINES, findings_lines, kind_lines
from tests.sentences import every_finding, every_group

#: The longest sentence that plain-language guides allow: 25 words (from memory); numbers with their unit count as one.
WORDS = 25

#: Words of our own workshop, of mathematics or of programs that tell a printmaker nothing.
JARGON = (
    "threshold", "polygon", "buffer", "vertex", "vertices", "boolean", "nan", "inf",
    "stochastic", "coefficient", "standard deviation", "root mean square", "look-twins", "told", "mm2", "g/m2", "deg",
    "of the shapes", "of the mean", "times chance", "land-width", "cut-width", "wall-angle",
)  # fmt: skip


def sentences() -> dict[str, str]:
    """Each sentence with the rule and kind it belongs to."""
    said = {}
    for group in every_group():
        for text in (group.sentence, *(t for place in group.places for t in _texts(place.finding))):
            for one in re.split(r"(?<=[.!?])\s+(?=[A-Z0-9])", text):
                said[one] = f"{group.rule}/{group.worst.kind}/{group.severity.label}"
    return said


def _texts(finding: Finding) -> tuple[str, str]:
    return sentence(finding.why), sentence(finding.remedy)


def length(text: str) -> int:
    """Words; a number counts with its unit, what stands in brackets is an aside of its own."""
    text = re.sub(r"\([^)]*\)", "", text)
    text = re.sub(r"(x )?[\d.]+(, y [\d.]+)? ?(mm|degrees|%|g/m²)?", "N ", text)
    return len(re.findall(r"[\w'\-]+", text))


def test_every_kind_that_has_a_title_is_heard() -> None:
    """Otherwise a sentence could be said that nobody has read."""
    heard = {key for _, each in every_finding() for key in ((each.rule, each.kind), (each.rule, "")) if key in SAYINGS}
    assert SAYINGS.keys() - heard == set()


def test_every_finding_has_a_title_of_its_own() -> None:
    for _, each in every_finding():
        assert (each.rule, each.kind) in SAYINGS or (each.rule, "") in SAYINGS, (each.rule, each.kind)


def test_every_finding_says_why_and_what_to_do() -> None:
    """In the terminal, in the note, at the proof's rings: each kind, whatever it was found on."""
    for group in every_group():
        for each in (place.finding for place in group.places):
            assert length(each.why) > 2 and length(each.remedy) > 2, (each.rule, each.kind)
            lines = findings_lines(Report.of([each]))
            assert " ".join(line.strip() for line in lines).endswith(sentence(each.remedy)), (each.rule, each.kind)


def test_no_sentence_is_longer_than_a_reader_holds() -> None:
    long = {text: (length(text), kind) for text, kind in sentences().items() if length(text) > WORDS}
    assert long == {}


def test_no_jargon() -> None:
    at = re.compile(rf"(?<![\w-])({'|'.join(map(re.escape, JARGON))})(?![\w-])", re.IGNORECASE)
    assert [text for text in sentences() if at.search(text)] == []


def test_units_are_those_of_a_ruler() -> None:
    """Millimetres, degrees, shares in %; no area, no share as a decimal, no limit beyond any block."""
    for text, kind in sentences().items():
        assert "mm²" not in text, kind
        assert not re.search(r"\b0\.\d+ (of|times)\b", text), (kind, text)
        assert "inf" not in text and "nan" not in text
        if kind.startswith("clearing"):
            depths = [float(match) for match in re.findall(r"([\d.]+) mm would keep", text)]
            assert all(depth <= 6 for depth in depths), text


def test_an_area_that_no_depth_keeps_clear_says_so_and_no_depth() -> None:
    deep = [one for _, one in every_finding() if one.rule == "clearing" and not one.kind.endswith("cut-deeper")]
    assert {item.kind for item in deep} == {"roller-falls-in", "roller-dips", "paper-sinks"}
    for each in deep:
        assert "can't be kept clear by depth" in each.numbers
        assert f"{each.limit:.1f}" not in each.numbers


def test_at_most_seven_lines_and_the_rest_by_count() -> None:
    """What is left is counted: shown and counted kinds are all kinds."""
    report = Report.of(each for _, each in every_finding())
    lines = findings_lines(report)
    assert len(lines) <= MOST_LINES == 7
    shown = sum(line.startswith(tuple(one.label for one in Severity)) for line in lines)
    ((left, sums),) = re.findall(r"^and (\d+) more kinds? \((.*)\): see proof.html", lines[-1])
    every = findings_lines(report, most=10**6)
    assert shown + int(left) == sum(line.startswith(tuple(item.label for item in Severity)) for line in every)
    assert shown >= 1
    places = sum(group.count for group in grouped(report)[shown:])
    assert sum(map(int, re.findall(r"\d+", sums))) == places


def test_no_line_is_wider_than_a_terminal() -> None:
    for group in every_group():
        assert all(len(line) <= 100 for line in kind_lines(group.severity.label, group.sentence, group.worst.remedy))


def test_a_width_a_hair_short_is_not_said_to_be_enough() -> None:
    """0.498 mm where 0.5 mm is needed: two decimals would say 0.5 mm of 0.5 mm."""
    hair = Finding(
        rule="land-width", kind="neck", severity=Severity.BREAKS, at=(1.0, 2.0), measured=0.498, limit=0.5, unit="mm",
        why="", remedy="",
    )  # fmt: skip
    assert hair.numbers == "0.498 mm wide, at least 0.5 mm needed"
    assert spoken(196.0, "mm²") == "a square of 14 mm"
    assert spoken(-0.2, "mm") == "0 mm"
    assert spoken(15.0, "deg") == "15 degrees"


def test_no_text_of_ours_says_reckon_or_writes_square_millimetres_without_a_sign() -> None:
    """Names such as `area_mm2` stay: a unit in a name is ASCII."""
    old = re.compile(r"reckon|(?<!\w)mm2\b", re.IGNORECASE)
    root = Path(carvegen.__file__).parents[1]
    files = [path for top in ("carvegen", "profiles") for path in (root / top).rglob("*") if path.suffix in SOURCES]
    assert len(files) > 100
    assert [f"{path.name}: {line.strip()}" for path in files for line in _lines(path) if old.search(line)] == []


SOURCES = (".py", ".toml", ".html", ".js")


def _lines(path: Path) -> list[str]:
    return path.read_text(encoding="utf-8").splitlines()


def test_land_where_two_cuts_meet_is_not_said_to_have_a_width_of_nothing() -> None:
    thin, groove = saying_of("land-width", "neck").numbers, saying_of("moat", "").numbers
    assert in_words(thin, 0.0, 0.5, "mm", None) == "less than 0.01 mm wide, at least 0.5 mm needed"
    assert in_words(thin, 0.02, 0.5, "mm", None).startswith("0.02 mm wide")
    assert in_words(groove, 0.0, 3.86, "mm", None).startswith("0 mm from the picture")
