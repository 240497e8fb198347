"""Deliveries: every file that is promised, the same bytes again, nothing of an earlier block left."""

from __future__ import annotations

import hashlib
import io
import json
import os
import pickle
import shutil
import threading
from multiprocessing.reduction import ForkingPickler

import pytest
from PIL import Image
from pypdf import PdfReader

from carvegen.base.errors import CarvegenError, InputError
from carvegen.base.previous_run import RECORD
from carvegen.blocks.block import Block, check_size, check_words
from carvegen.blocks.from_motif import Ground
from carvegen.blocks.job import setups_for
from carvegen.delivery import block_folder, side_by_side
from carvegen.delivery.block_folder import Style, deliver, question
from carvegen.toolpaths.settings import PathSettings
from carvegen.writers.block import block_png
from carvegen.writers.pdf.pdf_page import _undated
from tests import cases
from tests.cli.running import needs_fork
from tests.strategies import takes_long

BLOCK = cases.block(
    cases.box(2, 2, 4, 3), cases.disc(11, 8, 2.5), size=(20, 15), cut_outs=(cases.disc(16.5, 11.5, 1.5),)
)


def delivered(folder, material="linoleum", cutter="laser-fine", block: Block = BLOCK, style: Style | None = None):
    setups = setups_for(cases.SHELF, material=material, cutter=cutter)
    said: list[str] = []
    return deliver([setup_.on(block) for setup_ in setups], folder, style or Style(), say=said.append), said


@pytest.fixture(scope="module")
def usual(tmp_path_factory):
    """A delivery as `delivered` makes it, made once: its folder, what it returned and what it said."""
    folder = tmp_path_factory.mktemp("somewhere-secret") / "sky"
    return folder, *delivered(folder)


@pytest.fixture
def sky(usual, tmp_path):
    """A copy of that folder."""
    return shutil.copytree(usual[0], tmp_path / "sky")


@pytest.mark.parametrize(
    ("style", "told"),
    [(Style(paths=None), {}), (Style(paths=None, mend=True), {}), (Style(paths=None), {"mended": ()})],
    ids=["not asked", "asked", "asked before"],
)
def test_mending_that_was_asked_for_and_could_change_nothing_says_why(tmp_path, style, told) -> None:
    """0.1 mm of land between two parts that are cut out, which mending never touches."""
    outs = (cases.box(5, 5, 5, 5), cases.box(10.1, 5, 5, 5))
    setups = setups_for(cases.SHELF, material="linoleum", cutter="laser-fine")
    jobs = [setup_.on(cases.block(size=(20, 15), cut_outs=outs)) for setup_ in setups]
    done = deliver(jobs, tmp_path / "out", style, say=lambda _: None, **told)
    assert done.changes == ()
    breaks = [each for report in done.reports.values() for each in report if each.rule == "land-width"]
    assert breaks
    asked = style.mend or bool(told)
    for one in breaks:
        assert ("Mending left it" in one.why) == asked
        assert one.remedy.startswith("move or shrink one of the two cuts, or join them")
        assert ("draw it thicker there" in one.remedy) == asked


def sent(task):
    side_by_side._send_grids()
    return pickle.loads(ForkingPickler.dumps(task))


STYLED = Style(transfer="face-down", paper="Letter", dxf="R12")


@pytest.mark.parametrize(
    ("begin", "cutter", "kinds", "style"),
    [
        pytest.param(
            "fork",
            "v-60",
            ("router", "hand"),
            Style(paths=PathSettings(simulated=True, program=True)),
            marks=needs_fork,
            id="fork",
        ),
        pytest.param("sent", "laser-fine", ("laser", "router", "hand"), STYLED, marks=needs_fork, id="sent"),
        pytest.param("spawn", "laser-fine", ("laser", "hand"), STYLED, marks=takes_long, id="spawn"),
    ],
)
def test_the_same_bytes_from_one_process_and_from_several(tmp_path, monkeypatch, begin, cutter, kinds, style):
    """All that a machine's files are made of is sent, as where copies of a process are not safe: to a copy, or spawned.

    The style of those is none of the defaults: face-down, on Letter, in R12. Spawned, each child reads all modules.
    """
    if begin == "sent":
        begun, begin = side_by_side._begun, "fork"
        monkeypatch.setattr(side_by_side, "_begun", lambda task: begun(sent(task)))
    monkeypatch.setattr(side_by_side, "_BEGIN", begin)
    setups = setups_for(cases.SHELF, material="linoleum", cutter=cutter, kinds=kinds)
    jobs = [setup_.on(BLOCK) for setup_ in setups]
    assert len(jobs) > 1
    said: list[str] = []
    deliver(jobs, tmp_path / "one", style, say=said.append)
    one = len(said)
    deliver(jobs, tmp_path / "two", style, say=said.append, processes=2)
    assert digest(tmp_path / "one") == digest(tmp_path / "two")
    one, two = (sorted(line for line in report if "to go" not in line) for report in (said[:one], said[one:]))
    assert one == two  # what fails in a child would be told once more


def test_a_router_s_promises_are_looked_at_while_its_files_are_written(tmp_path, monkeypatch):
    """Its paths take as long as all else: planned, held to their promises and written they are three tasks."""
    if side_by_side._BEGIN != "fork":
        pytest.skip("the children must be copies")
    for name in ("plan_for", "hold", "machine_note"):
        monkeypatch.setattr(block_folder, name, noted(tmp_path / name, getattr(block_folder, name)))
    setups = setups_for(cases.SHELF, material="linoleum", cutter="laser-fine", kinds=("laser", "router"))
    delivery = deliver([each.on(BLOCK) for each in setups], tmp_path / "out", Style(), say=lambda _: None, processes=2)
    assert list(delivery.reports) == ["laser", "router"]
    at_work = {name: (tmp_path / name).read_text().splitlines() for name in ("plan_for", "hold", "machine_note")}
    assert {name: len(lines) for name, lines in at_work.items()} == {"plan_for": 2, "hold": 2, "machine_note": 2}
    router = [next(line for line in lines if line.startswith("router")) for lines in at_work.values()]
    laser = [next(line for line in lines if line.startswith("laser")) for lines in at_work.values()]
    assert (len(set(router)), len(set(laser))) == (3, 1)


def noted(file, work):
    """The same work, which notes for which machine and in which process it is done."""

    def work_noted(first, *others):
        kind = (getattr(first, "job", None) or first).machine.kind
        with file.open("a") as lines:
            lines.write(f"{kind} in {os.getpid()}\n")
        return work(first, *others)

    return work_noted


@pytest.mark.parametrize("processes", [1, 2])
def test_a_plan_that_breaks_a_promise_is_not_handed_over(tmp_path, monkeypatch, processes):
    monkeypatch.setattr(
        "carvegen.toolpaths.promises.CLAUSES", {"none": lambda plan, _: [f"broken by {len(plan.operations)}"]}
    )
    setups = setups_for(cases.SHELF, material="linoleum", cutter="v-60", kinds=("router", "hand"))
    jobs = [each.on(BLOCK) for each in setups]
    with pytest.raises(CarvegenError, match="broken by"):
        deliver(jobs, tmp_path / "out", Style(), say=lambda _: None, processes=processes)
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("processes", [1, 2, 3])
@pytest.mark.parametrize(("cutter", "main"), [("laser-fine", "laser"), ("v-60", "router")])
def test_of_two_plans_that_break_a_promise_the_main_machine_s_is_told(tmp_path, monkeypatch, processes, cutter, main):
    monkeypatch.setattr(
        "carvegen.toolpaths.promises.CLAUSES", {"none": lambda plan, _: [f"the {plan.job.machine.kind}'s is broken"]}
    )
    kinds = (main, *({"laser", "router"} - {main}))
    setups = setups_for(cases.SHELF, material="linoleum", cutter=cutter, kinds=kinds)
    jobs = [each.on(BLOCK) for each in setups]
    assert [job.machine.kind for job in jobs] == list(kinds)
    with pytest.raises(CarvegenError, match=f"the {main}'s is broken"):
        deliver(jobs, tmp_path / "out", Style(), say=lambda _: None, processes=processes)


def test_the_proof_is_no_part_of_the_work_that_is_left(tmp_path, monkeypatch):
    """As many parts as machines; after the last of them nothing is left to tell of."""
    monkeypatch.setattr(side_by_side, "_SOON_S", 0.0)
    delivery, said = delivered(tmp_path / "sky", cutter="v-60")
    count = len(delivery.reports)
    report = [line.partition(",")[0] for line in said if "to go" in line]
    assert report == [f"{k} of {count} parts done" for k in range(1, count)]


def digest(folder):
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*")
        if path.is_file()
    }


def test_what_is_said_is_what_is_there(usual):
    folder, delivery, said = usual
    assert set(digest(folder)) == {*delivery.files, RECORD}
    assert all(delivery.files.values())
    assert next(iter(delivery.files)) == "proof.png"
    assert said[0] == "checking for the laser"
    writing = [stage for stage in said if stage.startswith("writing")]
    assert [stage.rpartition(" ")[2] for stage in writing] == list(delivery.reports)


def test_the_report_is_the_delivery_as_json(usual):
    folder, delivery, _ = usual
    assert json.loads((folder / "report.json").read_text()) == json.loads(json.dumps(delivery.to_dict()))
    assert next(iter(delivery.reports)) == "laser"


def test_the_same_again_in_the_same_bytes_whatever_the_folder_and_the_environments_date(usual, tmp_path, monkeypatch):
    """SOURCE_DATE_EPOCH (reproducible-builds.org, from memory) is what libraries take their dates from."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1600000000")
    delivered(tmp_path / "another")
    assert digest(tmp_path / "another") == digest(usual[0])


def test_no_thread_gets_the_date_back_while_another_is_to_have_none(monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1600000000")

    def another() -> None:
        with _undated():
            pass

    thread = threading.Thread(target=another)
    with _undated():
        thread.start()
        thread.join(0.05)
        assert thread.is_alive()
    thread.join()
    assert os.environ["SOURCE_DATE_EPOCH"] == "1600000000"


def test_no_place_is_in_any_file(usual):
    result = [path for path in usual[0].rglob("*.*") if path.is_file()]
    assert len(result) > 10
    for path in result:
        assert b"somewhere-secret" not in path.read_bytes(), path


def test_a_smaller_delivery_leaves_nothing_of_a_larger_one(sky, tmp_path):
    assert (sky / "laser").is_dir()
    delivered(tmp_path / "sky", material="vinyl-soft", cutter="v-60")
    delivered(tmp_path / "alone", material="vinyl-soft", cutter="v-60")
    assert digest(tmp_path / "sky") == digest(tmp_path / "alone")
    assert not (tmp_path / "sky" / "laser").exists()


def test_what_she_edited_is_kept_beside_and_told(sky):
    """Of a file that the next run makes, of one that it does not, and of one of hers under a name of a delivery."""
    out = sky
    (out / "laser/note.md").write_text("hers")
    (out / "hand/note.md").write_text("hers, too")
    (out / "changes.png").write_text("her own")
    first, _ = delivered(out, material="vinyl-soft", cutter="v-60")
    assert first.earlier.kept == {
        "changes.png": "changes.yours.png", "hand/note.md": "hand/note.yours.md",
        "laser/note.md": "laser/note.yours.md",
    }  # fmt: skip
    assert (out / "laser/note.yours.md").read_text() == "hers"
    assert (out / "hand/note.yours.md").read_text() == "hers, too"
    assert (out / "changes.yours.png").read_text() == "her own"
    assert not (out / "laser/note.md").exists()
    assert not (out / "changes.png").exists()
    assert "hand/note.yours.md" in "".join(first.earlier.kept_lines())
    (out / "hand/note.md").write_text("hers once more")
    again, _ = delivered(out)
    assert again.earlier.kept == {"hand/note.md": "hand/note.yours-2.md"}
    untouched, _ = delivered(out)
    assert untouched.earlier.kept == {}
    assert len(untouched.earlier.replaced) == len(untouched.files)


def test_style_is_followed(usual, tmp_path):
    """Letter is 8.5 x 11 in = 612 x 792 pt (ANSI/ASME Y14.1); AC1009 is R12, AC1015 R2000 (DXF reference, HEADER)."""
    delivered(tmp_path / "sky", style=Style(paper="Letter", dxf="R12"))
    box = PdfReader(tmp_path / "sky/hand/guide.pdf").pages[0].mediabox
    assert sorted((float(box.width), float(box.height))) == pytest.approx([612, 792], abs=0.5)
    assert "AC1009" in (tmp_path / "sky/laser/block.dxf").read_text()[:400]
    assert "AC1015" in (usual[0] / "laser/block.dxf").read_text()[:400]


def test_questions_are_asked_for_ask_only():
    setups = {
        setup_.machine.kind: setup_.on(BLOCK) for setup_ in setups_for(cases.SHELF, material="linoleum", cutter="v-60")
    }
    assert "NOT DECLARED" in question(setups["laser"])
    assert question(setups["hand"]) == ""


def test_a_large_block_still_has_a_proof(tmp_path, monkeypatch):
    """At 10 pixels per mm it would have four times the pixels that it may; the picture keeps the shape with fewer.

    2 x 1 m would have 200 million; here all is two hundred times less.
    """
    assert block_folder._PROOF_PX <= block_png._MOST_PIXELS
    assert 10_000_000 < block_folder._PROOF_PX < 60_000_000
    monkeypatch.setattr(block_folder, "_PROOF_PX", 250_000)
    wide = cases.block(cases.disc(35, 35, 6), size=(141.5, 70.75))
    setups = setups_for(cases.SHELF, material="cherry", cutter="flat-3", kinds=("router",))
    deliver([setup_.on(wide) for setup_ in setups], tmp_path / "sky", Style(), say=lambda _: None)
    picture = Image.open(io.BytesIO((tmp_path / "sky/proof.png").read_bytes()))
    assert picture.width / picture.height == pytest.approx(2, rel=3e-3)
    assert picture.width * picture.height == pytest.approx(250_000, rel=1e-2)


@pytest.mark.parametrize("size", [(4.99, 50), (50, 2000.1), (float("nan"), 50), (float("inf"), 50), (-5, 50)])
def test_sizes_of_no_block(size):
    with pytest.raises(InputError, match="5…2000 mm"):
        check_size(*size)
    with pytest.raises(InputError):
        Ground(name="sky", width_mm=size[0], height_mm=size[1])


def test_words_fit_on_a_line():
    check_words("Fähre im Schnee, Brett 2", field="name")
    for words in ("a\nb", "\x07", "x" * 5000, "\udcff"):
        with pytest.raises(InputError) as raised:
            check_words(words, field="name")
        assert raised.value.fields == ("name",)


def test_a_further_router_s_paths_for_very_many_shapes_are_left_out_and_that_is_told(tmp_path, monkeypatch):
    monkeypatch.setattr("carvegen.delivery.block_folder._MOST_BESIDE", 0)
    heard = []
    setups = setups_for(cases.SHELF, material="linoleum", cutter="laser-fine")
    report = deliver([setup_.on(BLOCK) for setup_ in setups], tmp_path / "out", Style(), say=heard.append)
    assert not any("router/paths" in name for name in report.files)
    assert "laser/paths.dxf" in report.files
    for text in (*report.notes, (tmp_path / "out" / "router" / "note.md").read_text(), "".join(heard)):
        assert "are left out" in text
    assert "are left out" not in (tmp_path / "out" / "laser" / "note.md").read_text()
    setups = setups_for(cases.SHELF, material="linoleum", cutter="v-30")
    report = deliver([way.on(BLOCK) for way in setups], tmp_path / "first", Style(), say=heard.append)
    assert "router/paths.dxf" in report.files
    assert report.notes == ()
