"""The first page of a note: all that its reader needs and every caution, on one page; nothing of another's machine."""

from __future__ import annotations

import dataclasses
import re

import pytest
import shapely

from carvegen import geometry
from carvegen.base.finding_groups import grouped, letter_of
from carvegen.base.findings import Finding, Report, Severity
from carvegen.checks import checked
from carvegen.facts.cautions import deference, parted
from carvegen.toolpaths import plan_for
from carvegen.toolpaths.motion.timing import by_hand_min
from carvegen.toolpaths.settings import PathSettings
from carvegen.writers.guide.hand_guide import hand_guide
from carvegen.writers.note.block_note import _laid_down, machine_note, numbered_sources
from tests.cases import block, box, setup
from tests.facts.test_cautions import JOBS
from tests.strategies import few

#: Words on a first page, besides what is to be settled first. A sheet of A4 holds 850 in 10 points (our own count).
#: A beam asks for the most cautions. A hand's page holds three places to look at; these blocks have one.
PAGE = {"hand": 540, "router": 640, "laser": 640}
WHOLE = {"hand": 850, "router": 1600, "laser": 1850}  #: words of the note


def count(text: str) -> int:
    """Words; neither bullets nor the lines of tables."""
    return sum(bool(re.search(r"\w", word)) for word in text.split())


#: What only the others' machines have; a file's name or a source may hold such a word, as may what must be asked.
OTHERS = {
    "laser": r"router|spindle|chip load|end mill|gouge about",
    "router": r"\bbeam\b|\bkerf\b|\blens\b|\blaser",
    "hand": r"\blaser|\bkerf\b|\bspindle|\bbeam\b|router",
}
PARAMETERS = pytest.mark.parametrize(
    ("kind", "job"), [each[1:] for each in JOBS], ids=[f"{material}-{kind}" for material, kind, _ in JOBS]
)
#: What hangs on the machine and not on the material.
FEWER = pytest.mark.parametrize(("kind", "job"), few([each[1:] for each in sorted(JOBS, key=lambda each: each[1])], 9))


_NOTES: dict[int, str] = {}  #: by job, of which there is one for each material and kind of machine


def note_of(kind: str, job) -> str:
    """Its note, made once."""
    if id(job) not in _NOTES:
        _NOTES[id(job)] = _note_of(kind, job)
    return _NOTES[id(job)]


def _note_of(kind: str, job) -> str:
    report = checked(job)
    guide = hand_guide(job, "carbon", report) if kind == "hand" else None
    plan = plan_for(job, PathSettings()) if kind != "hand" else None
    return machine_note(job, report, {f"{kind}/note.md": "read before anything is cut"}, plan, guide)


def pages(note: str) -> tuple[str, str]:
    first, result, rest = note.partition("\n## Details\n")
    assert result
    return first, rest


@PARAMETERS
def test_the_first_page_fits_and_holds_every_caution(kind, job) -> None:
    first, rest = pages(note_of(kind, job))
    question = re.search(r"(?s)## Open question.*?(?=\n## )", first)
    assert count(first) - count(question[0] if question else "") <= PAGE[kind]
    assert count(first) <= PAGE[kind] + 100
    assert count(first + rest) <= WHOLE[kind]
    wanted = [parted(caution) for caution in (*job.machine.cautions, *job.permit.cautions)]
    sources = numbered_sources(part for parts in wanted for part in parts)[1]
    for says, behind in wanted:
        plain, more = (each.rpartition(" [")[0] if each.endswith("]") else each for each in (says, behind))
        assert plain in first
        assert plain not in rest
        assert more in rest
        assert not more or more not in first
    assert first.count(deference(kind)) == 1
    for source in sources:
        assert rest.count(f". {source}\n") == 1


@FEWER
def test_the_first_page_says_which_sheet_and_in_what_order(kind, job) -> None:
    first, _ = pages(note_of(kind, job))
    heads = re.findall(r"^## (.*)$", first, re.MULTILINE)
    assert heads[-1] == "Cautions"
    assert "In which order" in heads
    assert f"Thickness {job.thickness_mm:g} mm" in first
    assert job.material.name in first
    if kind == "hand":
        assert "Which tool where" in heads
        assert ("By hand it takes about" in first) == (by_hand_min(job.block, job.material) is not None)
    else:
        assert "Measure the check bar" in first
        assert "All together about" in first


@pytest.mark.parametrize("job", few([each[2] for each in JOBS if each[1] == "hand"], 4))
def test_a_hands_note_says_once_what_is_to_be_done_and_what_the_hours_go_by(job) -> None:
    first, rest = pages(note_of("hand", job))
    places = re.findall(
        r"^- [A-Z]: .*\d mm.*?[.] ([A-Z].*)\.$", first.partition("## Where to look first")[2], re.MULTILINE
    )
    assert places
    for remedy in places:
        assert remedy.lower() not in rest.lower()
        assert "see the first page" in rest
    known = by_hand_min(job.block, job.material) is not None
    assert ("at this material's paces" in rest) == known
    assert "paces" not in first


@pytest.mark.parametrize("job", few([each[2] for each in JOBS if each[1] == "hand"], 4))
def test_a_note_letters_its_findings_as_the_guides_rings_are(job) -> None:
    note = note_of("hand", job)
    report = checked(job)
    groups = grouped(each for each in report if each.severity is not Severity.ADVICE)
    assert groups
    for k, group in enumerate(groups):
        assert f"| {letter_of(k)} | {group.title}" in note
    lines = [line for line in hand_guide(job, "carbon", report).findings if re.match("[A-Z]: ", line)]
    assert [line[0] for line in lines] == [letter_of(k) for k in range(len(groups))]
    for letter, sentence in re.findall(r"^- ([A-Z]): (.*)$", note.partition("## Where to look first")[2], re.MULTILINE):
        assert sentence.startswith(groups[ord(letter) - ord("A")].sentence)


def test_what_is_to_be_looked_at_first_skips_no_letter() -> None:
    """A finding on the whole block, which has no place, is pressing, too."""
    job = next(each[2] for each in JOBS if each[1] == "hand")
    whole = Finding(
        rule="depth", severity=Severity.BREAKS, at=None, measured=0.4, limit=0.5, unit="mm", why="it is shallow",
        remedy="cut it deeper",
    )  # fmt: skip
    report = Report((whole, *checked(job)))
    note = machine_note(job, report, {}, None, hand_guide(job, "carbon", report))
    places = note.partition("## Where to look first")[2].partition("##")[0]
    letters = re.findall(r"^- ([A-Z]): ", places, re.MULTILINE)
    assert letters == [letter_of(k) for k in range(len(letters))]
    assert "Cut it deeper." in places


def test_a_laser_note_with_cut_outs_and_tabs_fits_on_a_sheet_and_loses_nothing() -> None:
    job = next(each[2] for each in JOBS if each[:2] == ("linoleum", "laser"))
    outs = geometry.polygon_array([shapely.box(32, 4, 37, 26)])
    job = dataclasses.replace(job, block=dataclasses.replace(job.block, cut_outs=outs))
    plan = plan_for(job, PathSettings())
    assert plan is not None
    first, rest = pages(machine_note(job, checked(job), {}, plan, None))
    assert count(first) <= 760, "cut-outs and tabs ask for more"
    for remark in plan.remarks:
        assert (remark in first) != (remark in rest)
    assert "Cut-outs" in first


@FEWER
def test_nobody_reads_of_anothers_machine(kind, job) -> None:
    """But for the words of a profile, on whom to ask and what to beware of."""
    first, rest = pages(note_of(kind, job))
    text = first.partition("## Cautions")[0] + rest.partition("### Sources")[0]
    for own in (job.permit.why, job.material.composition, deference(kind), *job.permit.cautions):
        text = text.replace(own, "")
    assert re.findall(OTHERS[kind], re.sub(r"gouge in hand; never for a machine", "", text), re.IGNORECASE) == []


def test_sources_are_numbered_once_in_the_order_in_which_they_come() -> None:
    said, sources = numbered_sources(["Eyes: shut. [A, 1; B]", "Fire: out.", "Fume: away. [C; A, 1]"])
    assert said == ["Eyes: shut. [1, 2]", "Fire: out.", "Fume: away. [3, 1]"]
    assert sources == ["A, 1", "B", "C"]


def test_a_block_that_is_cut_already_is_laid_down_by_two_far_corners_of_old_cuts() -> None:
    """As the block lies, mirrored: 40 mm wide, old cuts at its lower left and upper right as printed."""
    old = geometry.polygon_array([box(3, 3, 6, 5), box(30, 22, 7, 5)])
    lying = dataclasses.replace(block(*old, box(18, 12, 5, 5)), cut_before=old)
    _, sights = _laid_down(setup().on(lying))
    assert "two corners of old cuts: x 3.0, y 22.0 mm and x 37.0, y 8.0 mm" in sights
    near = geometry.polygon_array([box(15, 10, 6, 5)])  # too near to one another to turn the block by
    assert len(list(_laid_down(setup().on(dataclasses.replace(lying, cut_before=near))))) == 1
    assert list(_laid_down(setup().on(block(*old)))) == []
