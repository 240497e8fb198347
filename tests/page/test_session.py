"""What is done on the page is in the files: built, it is the same; undone, it is as it was; sent twice, done once."""

from __future__ import annotations

import difflib
import io
import itertools
import json
import re
import threading
import time
import tomllib
from pathlib import Path
from types import SimpleNamespace
from unittest import mock

import numpy as np
import pytest
import shapely
from PIL import Image
from shapely import affinity

from carvegen.base.errors import CarvegenError, InputError, RefusedError
from carvegen.base.progress import reached
from carvegen.blocks.from_motif import strictest
from carvegen.interfaces.page.beginning import offers
from carvegen.interfaces.page.gestures import CutBy, gesture
from carvegen.interfaces.page.session import OnlyLooksError, Session
from carvegen.interfaces.page.table import kept_copy
from carvegen.interfaces.page.table.desk import Desk
from carvegen.interfaces.page.table.drawn_mark import DrawnMark
from carvegen.interfaces.page.table.locked import locked_shapes, mended_shapes, recut
from carvegen.interfaces.page.table.moved_snow import KEPT_FIRST
from carvegen.interfaces.page.table.stock import Delta
from carvegen.interfaces.page.wording import moved_words
from carvegen.interfaces.page.work import thumbnails
from carvegen.marking.applying import Bed
from carvegen.marking.gesture_journal import Change, GestureJournal
from carvegen.marking.journal import FOLDER
from carvegen.marking.near_land import weak_places
from carvegen.motifs import motif
from carvegen.motifs.growth import Place
from carvegen.prints.cut_blocks import picture_of, setups_of
from carvegen.prints.file.print_file import read_print
from carvegen.prints.picture import Picture
from tests.cases import SHELF, layer, limits, small_print
from tests.cli.running import run
from tests.page.page import AFTER, Hand, print_file, stroke, unpacked
from tests.strategies import few

ROUNDED_MM = 0.01  #: the page's coordinates


@pytest.fixture
def hand(tmp_path):
    hand = Hand(print_file(tmp_path))
    yield hand
    hand.close()


def built_white(path: Path, block: str) -> shapely.Geometry:
    return built_picture(path).white_for(block)


def built_picture(path: Path) -> Picture:
    values = read_print(path, SHELF)
    return picture_of(values, setups_of(values, SHELF), say=lambda _: None)


def differ(one: shapely.Geometry, other: shapely.Geometry) -> float:
    """The area by which two whites differ, without slivers that rounding to a hundredth of a millimetre leaves."""
    both = shapely.symmetric_difference(shapely.set_precision(one, 0), shapely.set_precision(other, 0))
    return float(shapely.area(shapely.buffer(both, -ROUNDED_MM)))


def files(folder: Path) -> dict[str, bytes]:
    own = (path for path in folder.rglob("*") if path.is_file() and FOLDER not in path.parts)
    return {str(path.relative_to(folder)): path.read_bytes() for path in own}


def test_what_the_page_shows_is_what_the_build_makes(hand) -> None:
    hand.does("stroke", meaning="stays", breadth=4, points=stroke(20, 15, 34, 12))
    hand.does("stroke", meaning="comes out", breadth=2, points=stroke(9, 14, 22, 22))
    hand.does("area", meaning="less", strength=0.8, motif="snowfall 1", points=[[22, 2], [38, 2], [38, 9], [22, 9]])
    hand.does("stroke", meaning="stays", breadth=3, blocks=["key"], points=stroke(3, 21, 15, 21))
    middle = shapely.Point(20, 15)  # the one that is moved must stay on the face
    flakes = sorted(hand.snow("snowfall 1"), key=lambda n: shapely.distance(hand.shapes[n], middle))
    moved = {"ids": flakes[2:3], "dx": 0.4, "dy": 0.3, "turn_deg": 30, "scale": 0.9, "about": [20, 20]}
    locks = "all of falling snow 1 is locked now, so that the rest stays where it lies; taking this back unlocks it"
    report = hand.does("move", **moved)
    assert (report["message"], report["said"]) == ("move, turn and make smaller", [locks])
    assert hand.does("take away", ids=flakes[:2])["said"] == []
    hand.does("erase", breadth=2, points=stroke(30, 10, 36, 14))
    hand.does("draw", motif="snowfall 1", points=[[36, 27], [38, 27], [37, 29]])
    hand.written()
    built = built_picture(hand.path)
    for block in ("sky", "key"):
        assert differ(hand.white_on(block), built.white_for(block)) < 1e-3
    again = list(hand.shapes.values())
    hand.close()
    other = Hand(hand.path)
    assert sorted(map(_place, other.shapes.values())) == sorted(map(_place, again))
    other.close()


def test_what_is_made_larger_is_called_so_and_says_what_is_locked_with_it_and_why(hand) -> None:
    """Falling snow is fitted to the heaps: it is locked, too, and the page can say so before."""
    assert [motif["locks"] for motif in hand.session.state()["motifs"]] == [
        ["snowload 1", "snowfall 1"],
        ["snowfall 1"],
    ]
    heap = max(hand.snow("snowload 1"), key=lambda n: hand.shapes[n].area)
    middle = hand.shapes[heap].centroid
    report = hand.does("move", ids=[heap], scale=1.15, about=[middle.x, middle.y])
    assert report["message"] == "make larger"
    assert report["said"] == [
        "all of lying snow 1 is locked now, so that the rest stays where it lies; taking this back unlocks it",
        "all of falling snow 1 is locked, too: it is fitted to what was changed, and would move if it grew anew",
    ]


def _place(shape: shapely.Geometry) -> tuple[float, ...]:
    return (*np.round(shapely.bounds(shape), 2).tolist(), round(float(shapely.area(shape)), 2))


def _called(hand) -> list[str]:
    return [one["called"] for one in hand.session.state()["motifs"]]


def test_marks_may_name_a_motif_as_the_page_does(tmp_path) -> None:
    """In the print file and in a drawing of marks; else the name that is printed would be refused."""
    said = '[[marked]]\nmeaning = "comes out"\nshape = "circle 30 10 3"\n'
    said += '[[marked]]\nmeaning = "stays"\nshape = "circle 20 20 3"\nfor = ["falling snow 1"]\n'
    hand = Hand(print_file(tmp_path, after=AFTER + said))
    assert _called(hand) == ["lying snow 1", "falling snow 1"]
    assert [mark["motifs"] for mark in hand.session.state()["marks"]] == [[], ["snowfall 1"]]
    hand.close()


def test_motifs_of_one_kind_are_told_apart_by_what_they_lie_on(tmp_path) -> None:
    """Five layers of one drawing: the first three are named, and no more than the label has room for."""
    boxes = [layer(f"PILE{k}", f"box {4 + 6 * k} 0 {7 + 6 * k} 20") for k in range(5)]
    names = [f"PILE{k}" for k in range(5)]
    after = f'[[motifs]]\nmotif = "snowload"\npreset = "wet"\non = {json.dumps(names)}\n'
    after += '[[motifs]]\nmotif = "snowload"\non = ["PILE1"]\nsettings = { fallen_mm = 1.234 }\n'
    path = tmp_path / "print.toml"
    path.write_text(small_print(*boxes, blocks={"key": names}, after=after), encoding="utf-8")
    hand = Hand(path)
    report = {each["name"]: each["about"] for each in hand.session.state()["motifs"]}
    hand.close()
    assert report == {"snowload 1": "lying on PILE0, PILE1, PILE2 and 2 more, wet", "snowload 2": "lying on PILE1"}


def test_only_the_neighbourhood_changes(hand) -> None:
    before, reach = dict(hand.shapes), hand.session.state()["reach_mm"]
    report = hand.does("stroke", meaning="stays", breadth=3, points=stroke(30, 5, 36, 5))
    near = shapely.buffer(shapely.LineString([(30, 5), (36, 5)]), 1.5 + reach)
    assert report["gone"]
    assert all(shapely.intersects(before[n], near) for n in report["gone"])
    assert all(before[n] is hand.shapes[n] for n in before if n not in report["gone"])


def test_undo_and_redo_reach_back_over_a_restart(hand) -> None:
    first, seen = files(hand.path.parent), sorted(map(_place, hand.shapes.values()))
    hand.does("stroke", meaning="comes out", breadth=3, points=stroke(25, 8, 34, 20))
    hand.does("take away", ids=list(hand.snow("snowfall 1"))[:3])
    hand.written()
    last, end = files(hand.path.parent), sorted(map(_place, hand.shapes.values()))
    hand.close()
    hand = Hand(hand.path)
    assert hand.session.state()["undo"] == 2
    hand.does("undo")
    assert hand.does("undo")["undo"] == 0
    hand.written()
    assert sorted(map(_place, hand.shapes.values())) == seen
    assert files(hand.path.parent)["print.toml"] == first["print.toml"]
    with pytest.raises(InputError, match="nothing to undo"):
        hand.does("undo")
    hand.does("redo")
    hand.does("redo")
    hand.written()
    assert sorted(map(_place, hand.shapes.values())) == end
    assert files(hand.path.parent).keys() == last.keys()
    assert files(hand.path.parent)["print.toml"] == last["print.toml"]
    hand.close()


def test_a_gesture_that_is_sent_again_is_done_once(hand) -> None:
    said = {"id": "once", "do": "stroke", "meaning": "stays", "breadth": 3, "points": stroke(25, 5, 36, 5)}
    report = hand.sends(said)
    assert hand.sends(said) == report
    assert hand.session.state()["undo"] == 1
    assert len(hand.session.state()["marks"]) == 1
    hand.close()
    hand = Hand(hand.path)
    assert hand.sends(said)["reload"]
    assert hand.session.state()["undo"] == 1
    hand.close()


def test_numbers_of_shapes_hold_for_one_opening(hand) -> None:
    """Taken up again by a program that was started anew, a number may mean another flake: nothing is taken for it."""
    flake, seen = next(iter(hand.snow("snowfall 1"))), hand.session.opening
    hand.close()
    hand = Hand(hand.path)
    assert hand.session.state()["opening"] == hand.session.opening != seen
    for said in ({"do": "take away", "ids": [flake]}, {"do": "move", "ids": [flake], "dx": 1}):
        with pytest.raises(InputError, match="laid out again"):
            hand.session.do(*gesture({"id": "late", **said}), seen)
    late = {"id": "late", "do": "stroke", "meaning": "stays", "breadth": 3, "points": stroke(25, 5, 36, 5)}
    assert unpacked(hand.session.do(*gesture(late), seen))[0]["reload"]
    assert hand.session.state()["undo"] == 1
    hand.load()
    again = next(iter(hand.snow("snowfall 1")))
    report, _ = unpacked(
        hand.session.do(*gesture({"id": "now", "do": "take away", "ids": [again]}), hand.session.opening)
    )
    assert again in report["gone"]
    assert "reload" not in report
    assert "snowfall 1" in report["kept"]
    hand.close()


def test_a_second_server_only_looks(hand) -> None:
    other = Session(hand.path, SHELF, lambda _: None)
    assert other.state()["only_looks"]
    with pytest.raises(OnlyLooksError):
        other.do("a", None)
    other.close()
    assert not hand.session.state()["only_looks"]


def test_a_server_that_only_looked_takes_the_print_once_the_other_has_let_go(tmp_path) -> None:
    one = Hand(print_file(tmp_path))
    other = Hand(one.path)
    assert not other.session.take_hold()
    one.does("stroke", meaning="stays", breadth=3, points=stroke(5, 5, 30, 9))
    one.close()
    assert other.session.take_hold()
    assert not other.session.state()["only_looks"]
    assert len(other.session.state()["marks"]) == 1  # what the other did is there
    other.does("undo")
    assert not other.session.state()["marks"]
    other.close()


def test_a_newer_pencil_rubs_out_what_it_contradicts_and_grows_what_is_alike(hand) -> None:
    hand.does("stroke", meaning="stays", breadth=4, points=stroke(20, 10, 36, 10))
    hand.does("stroke", meaning="stays", breadth=4, points=stroke(30, 10, 30, 20))
    assert len(hand.session.state()["marks"]) == 1
    hand.does("stroke", meaning="comes out", breadth=2, points=stroke(25, 10, 28, 10))
    marks = hand.session.desk.marks.own
    assert [str(mark.meaning) for mark in marks] == ["stays", "comes out"]
    assert shapely.area(shapely.intersection(marks[0].shape, marks[1].shape)) < 1e-6
    hand.written()
    read_print(hand.path, SHELF)
    built_white(hand.path, "sky")  # no contradiction is told


def test_an_edge_that_is_pencilled_anew_takes_the_place_of_the_old_one_there(hand) -> None:
    number = max(hand.snow("snowload 1").items(), key=lambda each: each[1].area)[0]
    hand.does("redraw", shape=number, points=[[20, 10, 1], [30, 10, 1], [30, 20, 1], [20, 20, 1]])
    box = _square(hand)
    corners = [(20, 20), (20, 10), (30, 10), (30, 20)]
    for line, edge in (
        ([(22, 19.8), (25, 23), (28, 20.3)], [(28, 20), (25, 23), (22, 20)]),
        ([(28.1, 19.9), (25, 17), (21.9, 20)], [(28, 20), (25, 17), (22, 20)]),
    ):
        wanted = shapely.Polygon([*corners, *edge])
        report = hand.does("redraw", shape=box, points=[[x, y, 1] for x, y in line])
        (new,) = (n for group in report["groups"] if group["kind"] == "snow" for n in group["ids"])
        assert shapely.area(shapely.symmetric_difference(hand.shapes[new], wanted)) < 1.0
        hand.does("undo")
        box = _square(hand)


def _square(hand) -> int:
    return next(n for n, each in hand.snow("snowload 1").items() if abs(each.area - 100) < 0.1)


def test_a_copy_lies_where_it_is_laid_and_the_first_stays(hand) -> None:
    number, flake = min(hand.snow("snowfall 1").items(), key=lambda each: each[1].bounds[0])
    before = len(hand.snow("snowfall 1"))
    report = hand.does("move", ids=[number], dx=0, dy=0.5, copied=True, about=[0, 0])
    assert number in report["gone"]  # it lies over the first, and is one with it
    hand.does("undo")
    dx, dy = next(
        by for by in itertools.product(range(1, 30), range(-20, 20))
        if shapely.box(0, 0, 40, 30).contains(there := affinity.translate(flake, *by))
        and all(shapely.distance(there, value) > 0.3 for value in hand.snow().values())
    )  # fmt: skip
    number = next(n for n, one in hand.snow("snowfall 1").items() if one.equals_exact(flake, 1e-3, normalize=True))
    hand.does("move", ids=[number], dx=dx, dy=dy, copied=True)
    assert len(hand.snow("snowfall 1")) == before + 1
    assert number in hand.shapes
    hand.written()
    assert differ(hand.white_on("sky"), built_white(hand.path, "sky")) < 1e-3


def test_what_more_has_made_is_dragged_off_and_leaves_no_mark_and_where_it_finds_no_room_it_says_so(hand) -> None:
    """Nor does what nobody drew stay behind once the pencil's own mark is rubbed out."""
    line = stroke(16, 4, 20, 4)
    before = set(hand.snow())
    report = hand.does("stroke", meaning="more", breadth=2, motif="snowfall 1", points=line)
    assert report["said"] == []
    *_, small, number = sorted(set(hand.snow()) - before, key=lambda n: hand.shapes[n].area)
    flake = hand.shapes[number]
    left = hand.does("move", ids=[number], dx=4, dy=20)
    white = shapely.union_all(list(hand.snow().values()))
    assert shapely.area(shapely.intersection(white, flake)) == pytest.approx(0, abs=1e-3)
    there = affinity.translate(flake, 4, 20)
    assert shapely.area(shapely.intersection(white, there)) == pytest.approx(flake.area, rel=0.05)
    (quiet,) = [mark["id"] for mark in left["marks"] if mark["quiet"]]
    assert len(left["marks"]) == 1
    nudged = affinity.translate(hand.shapes[small], 0.3, 0)
    assert hand.does("move", ids=[small], dx=0.3)["marks"] == [], "it lies on its own place still, which hides nothing"
    white = shapely.union_all(list(hand.snow().values()))
    assert shapely.area(shapely.intersection(white, nudged)) == pytest.approx(nudged.area, rel=0.05)
    at = shapely.point_on_surface(flake)
    (own,) = [mark["id"] for mark in report["marks"] if not mark["quiet"]]
    assert hand.does("erase", breadth=3, points=[[at.x, at.y], *line[:1]], whole=True)["gone_marks"] == sorted(
        [own, quiet]
    )
    hand.does("stroke", meaning="stays", breadth=6, points=stroke(20, 15, 34, 15))
    (said,) = hand.does(
        "stroke", meaning="more", breadth=1, motif="snowfall 1", points=stroke(26, 15, 27, 15)
    )["said"]  # fmt: skip
    assert said.startswith("no snow came")


def test_bare_and_back(hand) -> None:
    number, heap = max(hand.snow("snowload 1").items(), key=lambda each: each[1].area)
    at = shapely.point_on_surface(heap)
    hand.does("bare", at=[at.x, at.y])
    assert number not in hand.shapes
    assert shapely.area(shapely.intersection(hand.white_on("key"), shapely.buffer(heap, -0.3))) < 0.05 * heap.area
    hand.does("bare", at=[at.x, at.y])
    assert number in hand.shapes
    left, _, _, _ = heap.bounds
    beside = next(xy for xy in heap.exterior.coords if xy[0] == left)
    for there in (False, True):
        hand.does("bare", at=[left - 0.2, beside[1]])
        assert (number in hand.shapes) is there, "a tap near enough to shake a heap off is near enough to bring it back"


def test_another_try_and_the_one_before(hand) -> None:
    lasso = [[18, 4], [38, 4], [38, 22], [18, 22]]
    mark = hand.does("try", motif="snowfall 1", points=lasso)["marks"][0]
    one = sorted(map(_place, hand.snow("snowfall 1").values()))
    assert hand.does("try", motif="snowfall 1", points=lasso)["marks"][0] == {**mark, "attempt": 2}
    two = sorted(map(_place, hand.snow("snowfall 1").values()))
    assert one != two
    hand.does("choose try", mark=mark["id"], attempt=1)
    assert sorted(map(_place, hand.snow("snowfall 1").values())) == one


def test_among_the_tries_is_what_was_there_before(hand) -> None:
    was = sorted(map(_place, hand.snow("snowfall 1").values()))
    lasso = [[18, 4], [38, 4], [38, 22], [18, 22]]
    mark = hand.does("try", motif="snowfall 1", points=lasso)["marks"][0]
    answer, shapes = unpacked(hand.session.tries(mark["id"]))
    assert [each["attempt"] for each in answer["tries"]] == [0, 1]
    before = {_place(shapes[n]) for n in answer["tries"][0]["ids"]}
    assert {_place(shapes[n]) for n in answer["tries"][1]["ids"]} != before
    hand.does("choose try", mark=mark["id"], attempt=0)
    assert sorted(map(_place, hand.snow("snowfall 1").values())) == was
    assert not hand.session.state()["marks"]
    there = {_place(each) for each in hand.shapes.values()}
    assert before <= there


REFUSED = (
    {"do": "stroke", "meaning": "stays", "breadth": 3, "points": [[900, 900], [910, 900]]},
    {"do": "stroke", "meaning": "melts", "breadth": 3, "points": [[1, 1]]},
    {"do": "stroke", "meaning": "stays", "breadth": 3, "motif": "rain", "points": [[1, 1]]},
    {"do": "stroke", "meaning": "stays", "breadth": float("nan"), "points": [[1, 1]]},
    {"do": "stroke", "meaning": "stays", "breadth": 3, "points": [[1, "x"]]},
    {"do": "take away", "ids": [10**6]},
    {"do": "take away", "ids": [-1]},
    {"do": "weather", "motif": "snowfall 1", "preset": "nonsense"},
    {"do": "choose try", "mark": "nobody", "attempt": 1},
    {"do": "paint"},
)


def test_a_refused_gesture_changes_nothing(hand) -> None:
    before, seen = files(hand.path.parent), dict(hand.shapes)
    for said in REFUSED:
        with pytest.raises(InputError):
            hand.sends({"id": "refused", **said})
        hand.written()
        assert files(hand.path.parent) == before
        assert hand.session.state()["undo"] == 0
    hand.load()
    assert sorted(map(_place, hand.shapes.values())) == sorted(map(_place, seen.values()))


def test_the_journal_of_2000_gestures_opens_within_a_second(tmp_path) -> None:
    shape = "POLYGON ((" + ", ".join(f"{k}.123 {k % 7}.456" for k in range(60)) + "))"
    mark = {
        "key": "mark-0001",
        "meaning": "stays",
        "strength": 1.0,
        "attempt": 1,
        "motifs": [],
        "blocks": [],
        "shape": shape,
    }
    journal = GestureJournal(tmp_path, "print.toml")
    for k in range(2_000):
        journal.add(f"g{k}", Change(what="stays", marks_new=[(0, mark)], marks_gone=[(0, mark)] if k else []))
    journal.written()
    journal.close()
    begun = time.process_time()
    journal = GestureJournal(tmp_path, "print.toml")
    assert time.process_time() - begun < 1
    assert journal.undo_count == 2_000
    assert not journal.unwritten
    journal.close()


@pytest.mark.parametrize("cut", range(1, 40, 6))
def test_a_torn_line_is_lost_and_no_other(tmp_path, cut) -> None:
    journal = GestureJournal(tmp_path, "print.toml")
    journal.add("a", Change(what="one"))
    journal.add("b", Change(what="two"))
    journal.close()
    file = next((tmp_path / FOLDER).glob("*.jsonl"))
    file.write_bytes(file.read_bytes()[:-cut])
    journal = GestureJournal(tmp_path, "print.toml")
    assert journal.undo_count == 1
    assert journal.has("a")
    assert not journal.has("b")
    journal.add("b", Change(what="two again"))
    journal.close()
    assert [json.loads(line)["id"] for line in file.read_text().splitlines()] == ["a", "b"]


def test_a_mark_typed_into_the_print_file_is_taken_out_there_alone(tmp_path) -> None:
    """It is the carver's own text: the rubber says so, and Take back goes past it."""
    path = print_file(tmp_path)
    typed = '\n[[marked]]\nmeaning = "stays"\nshape = "box 4 4 6 6"\n'
    path.write_text(path.read_text(encoding="utf-8") + typed, encoding="utf-8")
    hand = Hand(path)
    with pytest.raises(InputError, match=r"typed in the print file.*Take back"):
        hand.does("erase", breadth=2, points=stroke(5, 5, 9, 9))
    hand.does("stroke", meaning="stays", breadth=2, points=stroke(20, 20, 30, 24))
    hand.does("undo")
    hand.written()
    assert [mark["fixed"] for mark in hand.session.state()["marks"]] == [True]
    hand.close()
    assert typed in path.read_text(encoding="utf-8")


def test_undo_of_commands_and_of_gestures_spare_one_another(hand, capsys) -> None:
    """A command that gestures build on is not undone under them; taken back there, it is."""
    hand.close()
    begun = files(hand.path.parent)
    assert run(capsys, "keep", hand.path).code == 0
    kept = files(hand.path.parent)
    hand = Hand(hand.path)
    ran = run(capsys, "undo", hand.path)
    assert (ran.code, "open on the page" in ran.err) == (2, True)
    hand.does("take away", ids=list(hand.snow("snowfall 1"))[:2])
    hand.close()
    marked = files(hand.path.parent)
    ran = run(capsys, "undo", hand.path)
    assert ran.code == 2
    assert "1 gesture" in ran.err
    assert "Take back" in ran.err
    assert files(hand.path.parent) == marked
    hand = Hand(hand.path)
    hand.does("undo")
    hand.close()
    back = files(hand.path.parent)
    assert {name: sorted(one.splitlines()) for name, one in back.items()} == {
        name: sorted(item.splitlines()) for name, item in kept.items()
    }
    assert run(capsys, "undo", hand.path).code == 0
    first = {name: each for name, each in files(hand.path.parent).items() if "kept" not in name}
    assert first == begun
    first = files(hand.path.parent)
    hand = Hand(hand.path)
    with pytest.raises(InputError):  # what would be done again is not there any more: nothing is broken by it
        hand.does("redo")
    assert files(hand.path.parent) == first
    hand.close()


def test_what_another_program_has_changed_is_not_written_over(hand) -> None:
    hand.does("stroke", meaning="stays", breadth=3, points=stroke(25, 5, 36, 5))
    hand.written()
    hers = hand.path.read_text().replace("seed = 4", "seed = 5  # hers")
    hand.path.write_text(hers)
    with pytest.raises(InputError, match="another program"):
        hand.does("undo")
    assert hand.path.read_text() == hers
    marks = hand.path.parent / "marks.svg"
    marks.write_text(drawn := marks.read_text().replace("<title>", "<!-- hers --><title>", 1))
    hand.does("stroke", meaning="stays", breadth=3, points=stroke(25, 15, 36, 15))
    with pytest.raises(InputError, match="another program"):
        hand.written()
    assert marks.read_text() == drawn
    assert any("another program" in message.get("say", "") for message in hand.heard)
    hand.does("keep", motif="snowfall 1")
    kept = hand.path.read_text()
    assert "seed = 5  # hers" in kept
    hand.close()
    hand = Hand(hand.path)
    assert hand.path.read_text() == kept  # a change that is written is not done again
    assert len(hand.session.state()["marks"]) == 2  # and one that could not be written is
    hand.close()


def test_a_large_kept_file_opens_from_a_copy_that_holds_the_same(hand, monkeypatch) -> None:
    monkeypatch.setattr(kept_copy, "LARGE_BYTES", 1)
    hand.does("take away", ids=list(hand.snow("snowfall 1"))[:2])
    hand.close()
    hand = Hand(hand.path)  # read, and copied
    hand.does("move", ids=list(hand.snow("snowfall 1"))[:1], dx=0.2, dy=0.1)
    hand.does("take away", ids=list(hand.snow("snowfall 1"))[5:6])
    hand.close()  # copied as it was edited
    path = hand.path.parent / "kept" / "snowfall-1.svg"
    said = {"motif": "snowfall", "size": (40.0, 30.0)}
    plain = kept_copy.read_kept(path, **said)
    monkeypatch.setattr(kept_copy, "read_kept", lambda *_, **__: pytest.fail("no copy of what the file holds"))
    kept = kept_copy.read_copied(path, **said)
    assert shapely.to_wkb(kept.growth.cuts).tolist() == shapely.to_wkb(plain.growth.cuts).tolist()
    assert shapely.to_wkb(kept.edited).tolist() == shapely.to_wkb(plain.edited).tolist()
    assert (kept.ids, kept.names, kept.memory.marks) == (plain.ids, plain.names, plain.memory.marks)
    assert (kept.growth.kept, kept.memory.settings) == (plain.growth.kept, plain.memory.settings)
    path.write_text(path.read_text().replace("</svg>", "<!-- edited --></svg>"))
    with pytest.raises(pytest.fail.Exception, match="no copy"):
        kept_copy.read_copied(path, **said)


def test_a_part_of_the_print_shows_the_cap_of_a_post_before_boards_and_keeping_remembers_the_post(
    tmp_path, monkeypatch
) -> None:
    monkeypatch.setattr(thumbnails, "_LYING_MM", (40, 30))  # all of it, so that a place in it is known
    layers = layer("BOARDS", "box 2 0 36 24"), layer("POST", "box 16 0 7 12")
    blocks, after = {"sky": ["*"], "key": ["BOARDS", "POST"]}, '[[motifs]]\nmotif = "snowload"\non = ["BOARDS", "POST"]'
    path = tmp_path / "print.toml"
    path.write_text(small_print(*layers, blocks=blocks, after=after, size=(40, 30), seed=4), encoding="utf-8")
    hand = Hand(path)
    with Image.open(io.BytesIO(hand.session.by_hand("snowload 1", {"patchy": "0"}))) as picture:
        x, y = (round(at * side) for at, side in zip((19.5 / 40, 17.5 / 30), picture.size, strict=True))
        assert np.asarray(picture.convert("L"))[y, x] > 245  # half a millimetre above its top
    hand.close()
    (grown,) = built_picture(path).motifs
    assert grown.surroundings().fronts.bounds == (16, 0, 23, 12)


def test_a_slider_shows_a_part_of_the_print_at_once_and_changes_nothing(hand) -> None:
    before, seen = files(hand.path.parent), dict(hand.shapes)

    def white(**said: str) -> int:
        """How much of the sky is paper: of pixels as light as that."""
        with Image.open(io.BytesIO(hand.session.by_hand("snowfall 1", said))) as picture:
            return int((np.asarray(picture.convert("L")) > 245).sum())

    assert white(snow="0.02") < white(snow="0.1")
    for wrong in ({"snow": "7"}, {"snow": "much"}, {"rain": "1"}, {"snow": "nan"}):
        with pytest.raises(InputError):
            hand.session.by_hand("snowfall 1", wrong)
    assert files(hand.path.parent) == before
    hand.load()
    assert len(hand.shapes) == len(seen)


def test_what_has_grown_is_not_grown_again_until_something_is_otherwise(hand, monkeypatch) -> None:
    seen = sorted(map(_place, hand.shapes.values()))
    hand.close()
    grown = []
    for kind in ("snowload", "snowfall"):
        module = motif(kind)
        grow = module.grow
        monkeypatch.setattr(module, "grow", lambda *each, kind=kind, grow=grow: grown.append(kind) or grow(*each))
    hand = Hand(hand.path)
    assert grown == []
    assert sorted(map(_place, hand.shapes.values())) == seen
    assert hand.session.state()["notes"] == list(hand.session.desk.bare.notes)
    hand.does("weather", motif="snowfall 1", settings={"round": 0.1})
    assert grown == ["snowfall"]
    assert sorted(map(_place, hand.shapes.values())) != seen
    hand.does("undo")
    assert grown == ["snowfall"]
    assert sorted(map(_place, hand.shapes.values())) == seen
    hand.close()
    hand.path.write_text(hand.path.read_text().replace("box 5 0 8 20", "box 5 0 8 18"))
    hand = Hand(hand.path)
    assert grown == ["snowfall", "snowload", "snowfall"]
    hand.close()


def test_a_heap_that_goes_moves_no_flake(hand) -> None:
    heap = max(hand.snow("snowload 1").items(), key=lambda each: each[1].area)[0]
    flakes = hand.snow("snowfall 1")
    hand.does("take away", ids=[heap])
    assert hand.snow("snowfall 1").keys() == flakes.keys()
    hand.written()
    assert differ(hand.white_on("sky"), built_white(hand.path, "sky")) < 1e-3


def changed_lines(before: str, after: str) -> list[str]:
    """Lines that are new or otherwise, by a general library."""
    return [line[2:] for line in difflib.ndiff(before.splitlines(), after.splitlines()) if line.startswith("+ ")]


BOARDS = layer("BOARDS", "box 4 8 92 3"), layer("POST", "box 40 11 6 14"), layer("ROOF", "box 30 30 40 3")


@pytest.mark.parametrize(
    ("kind", "preset", "more"),
    few([
        ("snowload", "deep", 'on = ["BOARDS", "POST", "ROOF"]'),
        ("snowfall", "steady", "settings = { smallest_mm = 1.0 }"),
    ], 1),
)  # fmt: skip
def test_a_picture_of_the_weather_shows_what_the_print_would_have(tmp_path, monkeypatch, kind, preset, more) -> None:
    """Boards that go past the picture's sides are no field, and a roof above it shelters them."""
    after, blocks = f'[[motifs]]\nmotif = "{kind}"\n{more}', {"sky": ["*"], "key": ["BOARDS", "POST", "ROOF"]}
    path = tmp_path / "print.toml"
    path.write_text(small_print(*BOARDS, blocks=blocks, after=after, size=(100, 40), seed=4), encoding="utf-8")
    hand, drawn, frame = Hand(path), [], (34.0, 4.0, 62.0, 25.0)
    monkeypatch.setattr(thumbnails, "_frame", lambda *_: frame)
    monkeypatch.setattr(thumbnails, "print_png", lambda _, coats, *__, **___: drawn.extend(coats) or b"")
    hand.session.thumbnail(f"{kind} 1", preset)
    hand.does("weather", motif=f"{kind} 1", preset=preset)
    hand.close()
    window, inked = shapely.box(*frame), shapely.union_all([coat.land for coat in drawn])
    shown, built = window.difference(inked), built_white(path, "sky").intersection(window)
    assert built.area > 3
    assert shown.symmetric_difference(built).area < 0.02 * built.area


def test_pictures_of_lying_snow_show_how_the_weathers_differ(hand) -> None:
    """Near by, where it lies: dusting and deep differ in a thirtieth of the picture; the same weather, in nothing."""
    pictures = {}
    for preset in ("dusting", "deep"):
        with Image.open(io.BytesIO(hand.session.thumbnail("snowload 1", preset))) as picture:
            pictures[preset] = np.asarray(picture.convert("RGB"), dtype=int)
    assert hand.session.thumbnail("snowload 1", "deep") == hand.session.thumbnail("snowload 1", "deep")
    other = np.abs(pictures["dusting"] - pictures["deep"]).max(axis=2) > 40
    assert other.mean() > 1 / 30


def test_the_page_names_for_each_block_who_cuts_it_with_what(tmp_path) -> None:
    """A tool that is the hand's is not the laser's: that has its usual lens, and both are named."""
    hand = blocks_cut_by(tmp_path, 'for = ["hand", "laser"]', 'for = ["hand"]')
    sky, key = (block["cut_with"] for block in hand.session.state()["blocks"])
    v_tool, lens = SHELF.cutter("v-60").name, SHELF.cutter(SHELF.machine("laser-bed").usual_cutter).name
    machines = {kind: SHELF.machine(name).name for kind, name in (("hand", "hand"), ("laser", "laser-bed"))}
    assert sorted(sky) == sorted([f"{machines['hand']}: {v_tool}", f"{machines['laser']}: {lens}"])
    assert key == [f"{machines['hand']}: {v_tool}"]
    assert offers(SHELF, tmp_path)["usual_cutters"]["laser"] == lens
    hand.close()


def test_another_machine_is_written_as_by_hand_snow_grows_by_it_and_it_can_be_taken_back(tmp_path) -> None:
    path = print_file(tmp_path, after='[[motifs]]\nmotif = "snowfall"\n', size=(20, 24))
    path.write_text(path.read_text(encoding="utf-8").replace('["hand"]', '["hand"]  # mine', 1), encoding="utf-8")
    before, hand = path.read_text(encoding="utf-8"), Hand(path)
    grown = sorted(shape.wkt for shape in hand.snow().values())
    foretold = hand.session.drawn_land(CutBy(kinds=("hand", "laser"), material="", cutter=""))["say"]
    assert hand.does("cut by", **{"for": ["hand", "laser"]})["reload"]
    moved = hand.session.state()["moved"]
    assert moved[0].startswith("Moved: falling snow 1. It grows by the strictest limits of the blocks")
    assert [moved[0].replace("Moved", "May move"), KEPT_FIRST] == foretold[-2:], "before she chooses, in the same words"
    after = path.read_text(encoding="utf-8")
    assert changed_lines(before, after) == ['for = ["hand", "laser"]  # mine', 'for = ["hand", "laser"]']
    for block in hand.session.state()["blocks"]:
        assert block["cut_by"] == {"material": "linoleum", "cutter": "v-60", "for": ["hand", "laser"]}
    assert sorted(shape.wkt for shape in hand.snow().values()) != grown, "a laser leaves other lands"
    hand.does("undo")
    assert path.read_text(encoding="utf-8") == before
    assert sorted(shape.wkt for shape in hand.snow().values()) == grown
    assert hand.session.state()["moved"] == []
    hand.close()


def test_locked_snow_and_what_marks_made_of_it_stay_when_a_laser_comes(tmp_path) -> None:
    """What holds is the same, byte for byte, in a place that grew again too; the page counts what happened."""
    after = AFTER.replace("snow = 0.05", "snow = 0.12").replace("circle 33 24 2", "circle 19 15 1.2")
    hand = Hand(print_file(tmp_path, after=after, size=(22, 22)))
    for name in ("snowload 1", "snowfall 1"):
        hand.does("keep", motif=name)
    hand.does("try", motif="snowfall 1", points=[[13, 4, 1], [20, 4, 1], [20, 14, 1], [13, 14, 1]])
    was, file = locked_shapes(hand.session.desk), hand.path.parent / "kept" / "snowfall-1.svg"
    before = hand.path.read_text(encoding="utf-8")
    assert hand.does("cut by", **{"for": ["hand", "laser"]})["reload"]
    now, report = locked_shapes(hand.session.desk), hand.session.state()["recut"]
    desk = hand.session.desk
    bed, lights = desk.ground.beds[-1], desk.ground.whites[0].shapes
    (key,), heaps = [key for key in was if key[0] == "snowfall 1"], [key for key in was if key[0] == "snowload 1"]

    def weak(locked):
        beside = np.concatenate([lights, *(locked[heap] for heap in heaps)])
        return weak_places(locked[key], beside, bed.place, bed.limits)

    places = weak(was)
    holds = was[key][[not shapely.dwithin(places, shape, 0.01).any() for shape in was[key]]]
    assert 0 < len(holds) < len(was[key]), "some hold and some don't, or this asks nothing"
    assert set(shapely.to_wkb(holds)) <= set(shapely.to_wkb(now[key]))
    assert len(weak(now)) == 0
    lots = [how["how"] for how in report["shapes"]]
    same = sum(len(set(shapely.to_wkb(was[k])) & set(shapely.to_wkb(now.get(k, was[k][:0])))) for k in was)
    assert lots.count("new") == 0, "nothing grows anew in what is locked"
    assert report["say"].startswith(f"Locked snow: {same} kept as they were, ")
    assert sum(map(len, was.values())) == same + int(report["say"].split(", ")[1].split()[0]) + lots.count("gone")
    hand.written()
    lines = file.read_text(encoding="utf-8")
    hand.close()
    again = Hand(hand.path)  # the files say all of it
    assert {k: shapely.to_wkb(v).tolist() for k, v in locked_shapes(again.session.desk).items()} == {
        k: shapely.to_wkb(v).tolist() for k, v in now.items()
    }
    assert again.session.state()["recut"] is None
    again.does("undo")
    back = locked_shapes(again.session.desk)
    assert {k: set(shapely.to_wkb(v)) for k, v in back.items()} == {k: set(shapely.to_wkb(v)) for k, v in was.items()}
    assert again.path.read_text(encoding="utf-8") == before
    again.close()
    assert file.read_text(encoding="utf-8") != lines


def test_locked_snow_is_mended_beside_highlights_and_locked_snow_before_it() -> None:
    """Discs of radius 1.5, 0.5 beside a light, beside a heap that is locked too and beside one that is not."""
    light, heap, loose = (shapely.box(x, 5, x + 4, 15) for x in (5, 20, 35))
    flakes = [shapely.Point(x + 6, 10).buffer(1.5) for x in (5, 20, 35)]
    motifs = [
        SimpleNamespace(name=name, kept=file) for name, file in (("lies", "a.svg"), ("loose", ""), ("falls", "b.svg"))
    ]
    numbers = {0: [1], 1: [2], 2: [3, 4, 5]}
    by = limits(0.9)
    bed = Bed(
        motif="snowfall", name="falls", settings=motif("snowfall").Settings(), seed=1, limits=limits(0.4),
        place=Place(area=shapely.box(0, 0, 60, 20)),
    )  # fmt: skip
    desk = SimpleNamespace(
        print_=SimpleNamespace(motifs=motifs), size=(60.0, 20.0), shapes_of=numbers.get, names=lambda _: (),
        stock=SimpleNamespace(shapes=dict(enumerate([heap, loose, *flakes], 1))), marks=SimpleNamespace(every=()),
        ground=SimpleNamespace(
            whites=[SimpleNamespace(shapes=np.array([light]))] + 3 * [SimpleNamespace(shapes=None)], beds=[bed] * 3
        ),
    )  # fmt: skip
    ((k, gone, come),) = mended_shapes(desk, {2: by})
    assert (k, gone) == (2, [3, 4])
    assert shapely.distance(come, [light, heap]) == pytest.approx(0.92, abs=0.01)


def test_locked_snow_whose_file_was_laid_out_anew_elsewhere_is_not_called_mended_and_can_be(tmp_path) -> None:
    """All shapes on one line: they are not looked at, which is told, with what helps; locked anew they are."""
    hand = Hand(print_file(tmp_path, after=AFTER.replace("snow = 0.05", "snow = 0.2")))
    hand.does("keep", motif="snowfall 1")
    hand.close()
    file = tmp_path / "kept" / "snowfall-1.svg"
    file.write_text(file.read_text(encoding="utf-8").replace("/>\n", "/> "), encoding="utf-8")
    hand = Hand(hand.path)
    was = {shape.wkt for shape in hand.snow().values()}
    (report,) = hand.does("cut by", **{"for": ["hand", "laser"]})["said"]
    assert report == (
        "falling snow 1 was not looked at: its file or its drawing was changed elsewhere; "
        "take this back, lock falling snow 1 anew, then choose again"
    )
    assert hand.session.state()["recut"]["say"].endswith(" kept as they were, 0 mended where they lie, 0 gone, 0 new.")
    hand.does("undo")
    assert {shape.wkt for shape in hand.snow().values()} == was
    hand.does("keep", motif="snowfall 1")
    assert hand.does("cut by", **{"for": ["hand", "laser"]})["said"] == []
    assert not re.search(r"\b0 mended", hand.session.state()["recut"]["say"])
    hand.close()


def test_what_became_of_twenty_thousand_locked_shapes_is_counted_at_once() -> None:
    """Kept, mended (another outline there), gone and new; by pairs of shapes it takes half a minute."""
    x, y = np.divmod(np.arange(20_000), 200)
    shapes = shapely.box(x, y, x + 0.5, y + 0.5)
    other, far = shapely.box(0.1, 0.1, 0.4, 0.4), shapely.box(500, 500, 501, 501)
    begun, key = time.process_time(), ("snowfall 1", ("sky",))
    done = recut({key: shapes}, {key: np.concatenate([[far, other], shapes[2:]])})
    assert time.process_time() - begun < 5
    assert (done.kept, done.mended) == (19_998, 1)
    assert [list(lot) for lot in (done.changed, done.gone, done.new)] == [[other], [shapes[1]], [far]]


def blocks_cut_by(folder: Path, sky: str, key: str) -> Hand:
    """A bare print whose two blocks have these lines in the place of who cuts them."""
    path = print_file(folder, after="", size=(20, 24))
    first, second, third = path.read_text(encoding="utf-8").split('for = ["hand"]')
    path.write_text(f"{first}{sky}{second}{key}{third}", encoding="utf-8")
    return Hand(path)


def test_before_another_machine_is_chosen_it_is_told_what_becomes_of_thin_lines(tmp_path) -> None:
    """By the figures that the build goes by; of what would be refused, and where nothing changes, nothing."""
    hand = blocks_cut_by(tmp_path, 'for = ["hand"]\nmend = true', 'for = ["hand"]')
    said = hand.session.drawn_land(CutBy(kinds=("hand", "laser"), material="", cutter=""))["say"]
    was = {name: strictest(one.limits for one in lot).land_mm for name, lot in hand.session.desk.setups.items()}
    file = hand.path.read_bytes()
    hand.does("cut by", **{"for": ["hand", "laser"]})
    now = {name: strictest(one.limits for one in lot).land_mm for name, lot in hand.session.desk.setups.items()}
    assert now["sky"] > was["sky"]
    lands = {name: f"{name}: the least land is {now[name]:.2g} mm, until now {was[name]:.2g} mm. " for name in now}
    drawn = f"What is drawn counts as snow does: a line or twig thinner than {now['sky']:.2g} mm"
    assert now["sky"] == now["key"]
    assert said == [
        f"{lands['sky']}{drawn} is widened to that, or goes, in the files for all who cut it.",
        f"{lands['key']}{drawn} stays as drawn, and is told as too weak: these blocks are not mended.",
    ]
    hand.does("undo")
    assert hand.path.read_bytes() == file
    for wish in ({"kinds": ("hand",)}, {"material": "rubber-soft", "kinds": ("laser",)}, {"material": "no such"}):
        empty = CutBy(**{"kinds": (), "material": "", "cutter": "", **wish})
        assert hand.session.drawn_land(empty) == {"say": []}
    hand.close()


def test_what_is_not_asked_for_stays_as_each_block_has_it_and_a_kind_is_written_once(tmp_path) -> None:
    hand = blocks_cut_by(tmp_path, 'for = ["router", "hand"]', 'for = ["hand"]')
    before = hand.path.read_text(encoding="utf-8")
    assert hand.does("cut by", cutter="v-90")["message"] == "cut by v-90"
    assert changed_lines(before, hand.path.read_text(encoding="utf-8")) == ['cutter = "v-90"'] * 2
    hand.does("undo")
    hand.does("cut by", **{"for": ["hand", "router", "hand"]})
    assert changed_lines(before, hand.path.read_text(encoding="utf-8")) == ['for = ["hand", "router"]']
    hand.close()


def test_another_material_brings_no_machine_that_nobody_chose(tmp_path) -> None:
    """A soft block that names nobody is cut by hand alone; wood so chosen is not for a laser by that."""
    hand = blocks_cut_by(tmp_path, "", 'for = ["hand"]')
    text = hand.path.read_text(encoding="utf-8").replace('"linoleum"', '"rubber-soft"')
    hand.close()
    hand.path.write_text(text, encoding="utf-8")
    hand = Hand(hand.path)
    hand.does("cut by", material="basswood")
    assert [block["for"] for block in tomllib.loads(hand.path.read_text(encoding="utf-8"))["blocks"]] == [["hand"]] * 2
    hand.close()


def test_what_was_said_of_the_former_material_goes_with_it_is_told_and_comes_back(tmp_path) -> None:
    piece = 'declare = "linoleum" # asked\nthickness_mm = 4 \ngrain_deg = 90\ndepth_mm = 1.2'
    hand = blocks_cut_by(tmp_path, f'{piece}\nfor = ["hand"]', 'declare = "linoleum"')
    before = hand.path.read_bytes()
    report = hand.does("cut by", material="basswood", cutter="laser-fine", **{"for": ["laser"]})["said"]
    gone = "went with the former material; the print file may say those of the new one"
    assert report == [f"sky: composition, thickness, depth of cut, grain {gone}", f"key: composition {gone}"]
    for table in tomllib.loads(hand.path.read_text(encoding="utf-8"))["blocks"]:
        assert not {"declare", "thickness_mm", "grain_deg", "depth_mm"} & set(table)
        assert table["material"] == "basswood"
    hand.does("undo")
    assert hand.path.read_bytes() == before
    hand.close()


def test_what_is_declared_and_must_not_meet_a_machine_does_not_go_by_a_choice_from_a_list(tmp_path) -> None:
    hand = blocks_cut_by(tmp_path, 'declare = "PVC"\nfor = ["hand"]', 'for = ["hand"]')
    before = files(tmp_path)
    with pytest.raises(RefusedError, match='the sky block: is declared "PVC"'):
        hand.does("cut by", material="basswood")
    assert files(tmp_path) == before
    hand.close()


NOT_CUT_SO = [
    ({"for": ["hand", "laser"], "material": "rubber-soft"}, "no laser file is written for soft carving rubber"),
    ({"for": ["laser"], "material": "vinyl-soft", "cutter": "laser-fine"}, "no laser file is written for"),
    ({"for": ["laser"]}, "goes into: hand"),
    ({"for": []}, "names nobody who cuts it"),
    ({"for": ["plasma"]}, "must be"),
    ({"for": ["hand"]}, "is cut so already"),
    ({}, "is cut so already"),
]


def test_a_machine_that_must_not_meet_the_material_is_refused_and_nothing_is_written(hand) -> None:
    before = files(hand.path.parent)
    for wish, why in NOT_CUT_SO:
        with pytest.raises(CarvegenError, match=why):
            hand.does("cut by", **wish)
        assert files(hand.path.parent) == before
    assert hand.session.state()["undo"] == 0


def test_a_session_that_ends_while_its_print_is_opened_waits_for_no_snow(tmp_path, monkeypatch):
    """Ctrl-C while the first snow grows: growing tells how far it is, and ends there."""
    begun, ended = threading.Event(), threading.Event()

    def growing(path, shelf, *, say):
        try:
            for k in range(3000):
                reached(k / 3000)
                begun.set()
                time.sleep(0.01)
        finally:
            ended.set()

    monkeypatch.setattr("carvegen.interfaces.page.session.opened", growing)
    path = tmp_path / "print.toml"
    path.write_text("", encoding="utf-8")
    session = Session(path, SHELF, lambda _: None)
    assert begun.wait(20)
    since = time.monotonic()
    session.close()
    assert ended.is_set()
    assert time.monotonic() - since < 15


def test_after_none_every_weather_is_on_offer_with_its_picture_and_undo_brings_the_old_back(hand) -> None:
    was = sorted(map(_place, hand.shapes.values()))
    state = next(one for one in hand.session.state()["motifs"] if one["name"] == "snowfall 1")
    lies = sorted(map(_place, hand.snow("snowload 1").values()))
    hand.does("weather", motif="snowfall 1", preset="none")
    assert not hand.snow("snowfall 1")
    assert sorted(map(_place, hand.snow("snowload 1").values())) == lies, "all else stays as it lay"
    none = next(one for one in hand.session.state()["motifs"] if one["name"] == "snowfall 1")
    assert none["presets"] == state["presets"] == [*motif("snowfall").PRESETS, "none"]
    assert none["preset"] == "none"
    pictures = {hand.session.thumbnail("snowfall 1", preset) for preset in ("none", "flurry")}
    assert len(pictures) == 2, "snow is seen in one and none in the other"
    hand.does("undo")
    assert sorted(map(_place, hand.shapes.values())) == was
    hand.does("redo")
    hand.does("weather", motif="snowfall 1", preset="flurry")
    assert hand.snow("snowfall 1"), "another weather takes the place of none"
    hand.does("undo")
    hand.does("undo")
    assert sorted(map(_place, hand.shapes.values())) == was


def test_of_a_motif_that_does_not_grow_no_mark_makes_any_and_the_build_has_none(hand) -> None:
    hand.does("weather", motif="snowfall 1", preset="none")
    area = [[18, 4], [38, 4], [38, 28], [18, 28]]
    hand.does("area", meaning="more", strength=1, points=area)
    assert not hand.snow("snowfall 1")
    for said in ({"do": "area", "meaning": "more", "motif": "snowfall 1"}, {"do": "try", "motif": "snowfall 1"}):
        with pytest.raises(InputError, match="does not grow"):
            hand.does(**said, points=area)
    hand.written()
    (falling,) = (white for white in built_picture(hand.path).whites if white.name == "snowfall 1")
    assert len(falling.shapes) == 0
    hand.does("draw", motif="snowfall 1", points=[[30, 20], [33, 20], [33, 23], [30, 23]])
    assert len(hand.snow("snowfall 1")) == 1, "what she draws is hers and stays"


def test_own_snow_where_none_grows_has_more_where_it_is_named_and_grows_once_it_is_let_go(hand) -> None:
    """A mark for all does not bring back what was to grow no more; one that names it does; so does letting it go."""
    hand.does("weather", motif="snowfall 1", preset="none")
    area = [[18, 4], [38, 4], [38, 28], [18, 28]]
    hand.does("area", meaning="more", strength=1, points=area)
    hand.does("draw", motif="snowfall 1", points=[[30, 20], [33, 20], [33, 23], [30, 23]])
    assert len(hand.snow("snowfall 1")) == 1
    hand.does("area", meaning="more", strength=1, motif="snowfall 1", points=area)
    hand.written()
    shown = shapely.union_all(list(hand.snow("snowfall 1").values()))
    (falling,) = (white for white in built_picture(hand.path).whites if white.name == "snowfall 1")
    assert shown.area > 12, "it has grown beside her own"
    assert differ(shown, shapely.union_all(falling.shapes)) < 0.5
    hand.does("undo")
    assert len(hand.snow("snowfall 1")) == 1
    hand.does("let go", motif="snowfall 1")
    assert len(hand.snow("snowfall 1")) > 5
    motifs = tomllib.loads(hand.path.read_text(encoding="utf-8"))["motifs"]
    assert not {"grows", "kept"} & set(motifs[1])
    hand.does("undo")
    assert len(hand.snow("snowfall 1")) == 1


def test_more_where_nothing_grows_is_refused_and_where_one_kind_does_not_that_is_told(hand) -> None:
    area = [[18, 4], [38, 4], [38, 28], [18, 28]]
    hand.does("weather", motif="snowfall 1", preset="none")
    said = hand.does("area", meaning="more", strength=1, points=area)["said"]
    assert said[0].startswith("falling snow 1 does not grow: its weather is none. Of all else no snow came: this kind")
    hand.does("undo")
    hand.does("weather", motif="snowload 1", preset="none")
    with pytest.raises(InputError, match="does not grow: its weather is none, got 'lying snow 1 and falling snow 1'"):
        hand.does("area", meaning="more", strength=1, points=area)


def _on_a_rail(folder: Path, more: str = "", *, rail="box 10 12 70 3", size=(90, 40), seed=4) -> Hand:
    """A rail with a heap on it, in both blocks."""
    after = f'[[motifs]]\nmotif = "snowload"\npreset = "deep"\non = ["RAIL"]\n{more}'
    text = small_print(layer("RAIL", rail), blocks={"sky": ["*"], "key": ["RAIL"]}, after=after, size=size, seed=seed)
    (folder / "print.toml").write_text(text, encoding="utf-8")
    return Hand(folder / "print.toml")


def test_what_goes_under_a_mark_that_asks_for_more_is_counted_and_outlined_alike(tmp_path) -> None:
    """There what lies is set anew: what goes and comes again elsewhere is no loss."""
    falling = '[[motifs]]\nmotif = "snowfall"\npreset = "heavy"\n'
    hand = _on_a_rail(tmp_path, falling, rail="box 5 6 20 3", size=(30, 17), seed=10)
    hand.does("area", meaning="more", strength=0.6, points=[[3, 3], [27, 3], [27, 14], [3, 14]])
    mark = {"id": "one", "do": "stroke", "meaning": "stays", "breadth": 2.0, "points": stroke(11, 9.7, 19, 9.7)}
    told = hand.session.foreseen(gesture(mark)[1])
    before = shapely.union_all(list(hand.snow().values()))
    said = hand.sends(mark)["said"]
    after = shapely.union_all(list(hand.snow().values()))
    near = hand.session.desk.reach_of(shapely.LineString([(11, 9.7), (19, 9.7)]).buffer(1))
    net = shapely.intersection(before, near).area - shapely.intersection(after, near).area
    gone = shapely.difference(before, after)
    assert gone.area > 1.2 * net, "else nothing comes again"
    assert told["area_mm2"] == pytest.approx(net, abs=1)
    assert said[0].startswith(f"{told['area_mm2']:.0f} mm² of snow went")
    outlined = shapely.Polygon()
    for ring in told["rings"]:
        outlined = shapely.symmetric_difference(outlined, shapely.make_valid(shapely.Polygon(ring)))
    assert shapely.difference(outlined, gone.buffer(0.03)).area < 0.1, "it is snow that goes"
    assert outlined.area == pytest.approx(net, rel=0.16)
    hand.close()


def test_snow_that_goes_beside_a_mark_that_asks_for_more_is_told() -> None:
    """Of what goes with a change counts the snow that lay there, and nothing where snow lies again."""
    snow, light, heap, again = (shapely.box(x, 0, x + 2, 2) for x in (0, 4, 8, 9))
    seen = mock.Mock(**{"like.return_value": ("snow", "", ()), "shape.return_value": again})
    desk = mock.Mock(stock=mock.Mock(shapes={1: snow, 2: light}), seen=seen, motif_of=lambda n: None if n == 2 else 0)
    went = Desk._went(desk, Delta(gone=(1, 2, 3, 7), new=(5,)), {3: heap})
    assert went.equals(shapely.union(snow, shapely.box(8, 0, 9, 2)))
    here = mock.Mock(size=(40, 30), print_=mock.Mock(motifs=[]), **{"white_in.side_effect": [0.1, 0.9]})
    _, asked = gesture({"id": "one", "do": "area", "meaning": "more", "points": [[0, 0], [1, 0], [1, 9], [0, 9]]})
    (words,) = DrawnMark.of(asked, here).notes(here, went)
    assert words == moved_words(4.0)


@pytest.mark.parametrize("blocks", few([["key"], ["sky"], []], 2))
def test_what_goes_of_one_block_is_foreseen_where_others_keep_theirs(tmp_path, blocks) -> None:
    hand = _on_a_rail(tmp_path, rail="box 5 6 26 3", size=(36, 22))
    heap = max(hand.snow().values(), key=shapely.area)
    left, _, right, top = heap.bounds
    line = stroke(left + 0.4 * (right - left), top - 0.4, left + 0.6 * (right - left), top - 0.4)
    mark = {"id": "one", "do": "stroke", "meaning": "stays", "breadth": 2.0, "points": line, "blocks": blocks}
    told = hand.session.foreseen(gesture(mark)[1])
    before = {name: hand.white_on(name) for name in ("sky", "key")}
    said = hand.sends(mark)["said"]
    went = {name: shapely.difference(snow, hand.white_on(name)).area for name, snow in before.items()}
    assert {name for name, area in went.items() if area > 1} == set(blocks or before)
    assert told["area_mm2"] == pytest.approx(max(went.values()), abs=0.5)
    assert said[0].startswith(f"{told['area_mm2']:.0f} mm² of snow went")
    hand.close()


def test_what_would_go_by_a_mark_that_stays_is_told_before_it_is_drawn(tmp_path) -> None:
    """More goes than is painted, for what is left ends as snow does: it is that snow which goes, and it is told."""
    after = '[[motifs]]\nmotif = "snowload"\npreset = "deep"\non = ["RAIL"]\n'
    text = small_print(layer("RAIL", "box 10 12 70 3"), blocks={"sky": ["*"], "key": ["RAIL"]}, after=after,
                       size=(90, 40), seed=4)  # fmt: skip
    (tmp_path / "print.toml").write_text(text, encoding="utf-8")
    hand = Hand(tmp_path / "print.toml")
    before, seen = files(tmp_path), dict(hand.shapes)
    heap = max(hand.snow().values(), key=shapely.area)
    left, _, right, top = heap.bounds
    line = stroke(left + 0.4 * (right - left), top - 0.2, left + 0.5 * (right - left), top - 0.2)
    mark = {"id": "one", "do": "stroke", "meaning": "stays", "breadth": 1.0, "points": line}
    told = hand.session.foreseen(gesture(mark)[1])
    assert files(tmp_path) == before, "nothing is done by asking"
    whole = shapely.union_all(list(hand.snow().values()))
    said = hand.sends(mark)["said"]
    went = shapely.difference(whole, shapely.union_all(list(hand.snow().values())))
    foretold = shapely.Polygon()
    for ring in told["rings"]:
        foretold = shapely.symmetric_difference(foretold, shapely.make_valid(shapely.Polygon(ring)))
    assert differ(foretold, went) < 0.05
    assert told["area_mm2"] == pytest.approx(went.area, abs=0.2)
    painted = shapely.intersection(whole, shapely.LineString([at[:2] for at in line]).buffer(0.5)).area
    assert went.area > 2 * painted
    assert said[0].startswith(f"{went.area:.0f} mm² of snow went, {painted:.0f} of it painted")
    hand.does("undo")
    assert hand.shapes.keys() == seen.keys()
    with pytest.raises(InputError, match="must be a mark"):
        hand.session.foreseen(gesture({"id": "two", "do": "undo"})[1])
    hand.close()
