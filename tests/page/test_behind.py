"""What is done behind the hand: checks about a change and of the whole, a build and its files, the server's end."""

from __future__ import annotations

import functools
import json
import math
import multiprocessing
import os
import signal
import socket
import threading
import time
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from unittest import mock

import httpx
import pytest
import shapely

from carvegen.base.errors import InputError
from carvegen.base.findings import Finding, Report, Severity
from carvegen.checks.mending import left_over
from carvegen.delivery.print_build import build_print, marking_sheet
from carvegen.delivery.print_steps import cut_inputs, cuts_of
from carvegen.interfaces.page import work
from carvegen.interfaces.page.app import Page
from carvegen.interfaces.page.guard import Address, last, remember
from carvegen.interfaces.page.print_checks import (
    _for,
    _once,
    built_findings,
    is_cleared,
    nearby_findings,
    print_findings,
)
from carvegen.interfaces.page.serving import Served, _opened, serve
from carvegen.interfaces.page.session import Session
from carvegen.interfaces.page.table import doing
from carvegen.interfaces.page.table.doing import PlannedChange, clearing_planned
from carvegen.interfaces.page.table.strips import strips
from carvegen.interfaces.page.table.under_snow import under_snow
from carvegen.interfaces.page.work.live_findings import LatestFindings, Nearby, broken_in
from carvegen.interfaces.page.work.processes import BUILT, BackgroundWork, Pace
from carvegen.marking.journal import FOLDER
from carvegen.marking.marks import Meaning
from carvegen.prints.cut_blocks import setups_of
from carvegen.prints.file.print_file import read_print
from tests.cases import SHELF, layer, small_print
from tests.cli.running import Forked, needs_fork
from tests.page.page import Hand, page_in, print_file, stroke, unpacked, until
from tests.page.slow_work import slow
from tests.page.test_serving import JSON, OWN, TOKEN, asked
from tests.strategies import takes_long

SNOWFALL = '[[motifs]]\nmotif = "snowfall"\nsettings = { snow = 0.1, smallest_mm = 1.0, largest_mm = 2.0 }\n'


@pytest.fixture
def bare(tmp_path) -> Path:
    """A print without snow; a bar of its key block is too thin to stand."""
    path = tmp_path / "print.toml"
    drawn = (layer("POST", "box 5 0 8 20"), layer("BAR", "box 24 5 0.3 20"))
    path.write_text(small_print(*drawn, blocks={"sky": ["*"], "key": ["POST", "BAR"]}, size=(40, 30), seed=4))
    return path


def test_about_a_place_the_same_is_found_as_in_the_whole(bare) -> None:
    hand = Hand(bare)
    window = shapely.box(14, 0, 36, 30)
    near = nearby_findings(hand.session.desk.scene(window), window)
    whole = print_findings(read_print(bare, SHELF), SHELF, bare.parent / BUILT, say=lambda _: None)
    hand.close()

    def there(expected) -> set[tuple[str, str, tuple[float, float]]]:
        return {
            (name, each.rule, (round(each.at[0], 1), round(each.at[1], 1)))
            for name, lot in expected.items() for each in lot
            if each.at and 18 < each.at[0] < 32 and each.rule in ("land-width", "cut-width", "foot", "slenderness")
        }  # fmt: skip

    assert ("key", "land-width") in {one[:2] for one in there(whole)}
    assert there(near) == there(whole)


def test_page_and_build_call_the_same_places_broken(tmp_path) -> None:
    """A bar too thin to stand, and beside it a slit that runs out, of which a window holds only the narrow end.

    The slit belongs to the cut round the print, whose edge is mostly wide: a risk, no break.
    """
    path = tmp_path / "print.toml"
    shapes = {"FIELD": "M6 2H40V28H6V15.3L38 15L6 14.7z", "BAR": "M48 5h0.3v20h-0.3z"}
    groups = "".join(f"<g id='{name}'><path d='{its}'/></g>" for name, its in shapes.items())
    size = "width='56mm' height='30mm' viewBox='0 0 56 30'"
    (tmp_path / "slit.svg").write_text(f"<svg xmlns='http://www.w3.org/2000/svg' {size}>{groups}</svg>")
    artwork = '[artwork]\nfiles = ["slit.svg"]'
    path.write_text(small_print(artwork, blocks={"sky": ["*"], "key": [*shapes]}, size=(56, 30)))

    def broken(expected: Mapping[str, Iterable[Finding]]) -> set[tuple[str, str, str, tuple[float, float] | None]]:
        return {
            (name, item.rule, item.kind, item.at and (round(item.at[0], 1), round(item.at[1], 1)))
            for name, lot in expected.items() for item in lot if item.severity.label == "breaks"
        }  # fmt: skip

    values = read_print(path, SHELF)
    whole = broken(print_findings(values, SHELF, tmp_path / BUILT, say=lambda _: None))
    build_print(values, tmp_path / BUILT, SHELF, say=lambda _: None)
    assert broken(built_findings(values, tmp_path / BUILT)) == whole
    hand = Hand(path)
    until(lambda: hand.session.findings()["looked_at"] == "whole")
    report = [each for each in hand.session.findings()["list"] if each["severity"] == "breaks"]
    assert len(report) == len(whole) > 0, "a print that is built opens with what its build has found"
    near = set[tuple[str, str, str, tuple[float, float] | None]]()
    for x in range(0, 56, 8):
        window = shapely.box(x - 6, 0, x + 14, 30)
        near |= broken(nearby_findings(hand.session.desk.scene(window), window))
    hand.close()
    assert {one for one in near if one[1] == "cut-width"} <= whole
    assert {entry[:3] for entry in near} == {this[:3] for this in whole}
    key = built_findings(values, tmp_path / BUILT)["key"]
    assert any(finding.rule == "cut-width" and finding.severity.label == "risk" for finding in key)


def test_what_a_hand_breaks_is_found_at_once_and_can_be_left(tmp_path) -> None:
    hand = Hand(print_file(tmp_path, after=SNOWFALL))
    flake = next(iter(hand.snow().values()))
    y, right = flake.centroid.y, flake.bounds[2]
    hand.does(
        "draw",
        motif="snowfall 1",
        points=[[right + 0.15, y - 1], [right + 1.5, y - 1], [right + 1.5, y + 1], [right + 0.15, y + 1]],
    )

    def beside() -> list[dict]:
        return [
            finding
            for finding in hand.session.findings()["list"]
            if finding["at"] and abs(finding["at"][0] - right) < 1 and abs(finding["at"][1] - y) < 2
        ]

    until(lambda: any(entry["kind"] == "kept-shape land" for entry in beside()))
    result = next(each for each in beside() if each["kind"] == "kept-shape land")
    assert result["measured"] < result["limit"]
    assert result["why"] and result["remedy"] and result["sentence"].endswith(".")
    assert not result["left"]
    hand.does("leave", finding=result["id"])
    assert next(one for one in beside() if one["id"] == result["id"])["left"]
    hand.does("undo")
    assert not next(item for item in beside() if item["id"] == result["id"])["left"]
    hand.does("undo")
    until(lambda: not any(this["kind"] == "kept-shape land" for this in beside()))
    hand.close()


@pytest.mark.parametrize("meaning", ["stays", "comes out"])
def test_what_mending_leaves_is_cleared_by_a_mark_or_refused_in_words(tmp_path, meaning) -> None:
    """Snow drawn too near to a flake: it goes, or the thin land between does, and nothing breaks there."""
    hand = Hand(print_file(tmp_path, after=SNOWFALL))
    flake = next(iter(hand.snow().values()))
    y, right = flake.centroid.y, flake.bounds[2]
    near = [[right + 0.15, y - 1], [right + 1.5, y - 1], [right + 1.5, y + 1], [right + 0.15, y + 1]]
    hand.does("draw", motif="snowfall 1", points=near)

    def beside() -> list[dict]:
        return [
            each for each in hand.session.findings()["list"]
            if each["at"] and abs(each["at"][0] - right) < 2 and abs(each["at"][1] - y) < 2
            and each["severity"] == "breaks" and each["kind"].startswith("land-width") and each["block"] == "sky"
        ]  # fmt: skip

    until(lambda: bool(beside()))
    one = beside()[0]
    assert [each["meaning"] for each in one["clears"]] == ["stays", "comes out"]
    assert one["strip"] is None, "it is one place"
    assert all(each["button"] and each["help"].endswith(".") for each in one["clears"])
    marks = hand.does("clear", finding=one["id"], meaning=meaning)["marks"]
    assert [mark["meaning"] for mark in marks] == [meaning]
    assert marks[0]["blocks"] == ([] if meaning == "stays" else ["sky"])
    area = sum(shapely.Polygon(ring).area for ring in marks[0]["rings"])
    assert 0.9 < area / (math.pi * one["limit"] ** 2) <= 1, (
        "no larger than need be: here the limit about the place does"
    )
    until(lambda: not beside())
    hand.does("undo")
    until(lambda: bool(beside()))
    hand.close()


def test_strokes_that_follow_one_another_quickly_are_looked_at_as_one(monkeypatch) -> None:
    """Not while she draws: all of it once her hand has rested."""
    windows, done = list[shapely.Geometry](), list[int]()
    monkeypatch.setattr(Nearby, "rest_s", 0.5)
    monkeypatch.setattr(Nearby, "_look", lambda _, __, window: windows.append(window))
    lock = threading.RLock()
    nearby = Nearby(lock, LatestFindings(), done.append, pytest.fail)
    for x in (10.0, 20.0, 30.0):
        with lock:
            nearby.look(mock.Mock(version=7), shapely.box(x, 10, x + 5, 15))
        time.sleep(0.02)
    until(lambda: bool(done))
    nearby.close()
    assert [(window.bounds, version) for window, version in zip(windows, done, strict=True)] == [((4, 4, 41, 21), 7)]


@takes_long  # strips by lands, and by marks that clear them or do not: below
def test_a_thin_strip_is_cleared_by_one_mark(tmp_path) -> None:
    """Three thin places along land between a bar of her own and flakes; the mark is one, and clears all."""
    hand = Hand(print_file(tmp_path, after=SNOWFALL))
    for x in (25.0, 28.0, 31.0):
        hand.does("draw", motif="snowfall 1", points=[[x, 8], [x + 2, 8], [x + 2, 10], [x, 10]])
    hand.does("draw", motif="snowfall 1", points=[[24, 5], [34, 5], [34, 7.7], [24, 7.7]])

    def along() -> list[dict]:
        return [
            each for each in hand.session.findings()["list"]
            if each["clears"] and each["block"] == "sky" and 24 < each["at"][0] < 34 and 7.5 < each["at"][1] < 8.2
        ]  # fmt: skip

    until(lambda: any(each["strip"] for each in along()))
    one = next(each for each in along() if each["strip"])
    assert one["strip"]["button"].startswith("Clear the whole strip, ")
    assert one["strip"]["help"].startswith("The snow along it goes")
    answer = hand.does("clear strip", finding=one["id"])
    assert len(answer["marks"]) == 1
    assert "places of the strip" in answer["said"][0]
    until(lambda: not along())
    hand.close()


def thin(x: float, y: float) -> Finding:
    return Finding(
        rule="land-width", kind="neck", severity=Severity.BREAKS, at=(x, y), measured=0.3, limit=0.5, unit="mm", why="",
        remedy="",
    )  # fmt: skip


def desk_with(*lands: object) -> mock.Mock:
    """A desk whose key block has these lands, and no snow."""
    scene = mock.Mock(white={"key": []})
    bare = mock.Mock(pictures={"key": shapely.union_all(lands)})
    return mock.Mock(bare=bare, left=frozenset(), version=1, bits=None, **{"scene.return_value": scene})


def test_places_of_two_lands_are_two_strips_and_far_ones_none() -> None:
    desk = desk_with(shapely.box(0, 0, 40, 1), shapely.box(0, 4, 40, 5))
    one, other = [thin(x, 0.5) for x in (5, 9, 14)], [thin(x, 4.5) for x in (6, 10)]
    alone = thin(22, 0.5)
    assert strips(desk, {"key": [*one, *other, alone]}) == [("key", tuple(one)), ("key", tuple(other))]
    long = [thin(x, 0.5) for x in range(5, 80, 5)]
    assert strips(desk, {"key": long}) == [], "it reaches too far to be cleared at once"


def test_strips_are_worked_out_once_for_a_version_and_of_many_places_soon() -> None:
    desk, latest = desk_with(shapely.box(0, 0, 400, 300), shapely.box(-99, 0, -80, 1)), LatestFindings()
    many = [thin(x, y) for x in range(0, 400, 5) for y in range(0, 300, 5)]
    latest.whole({"key": [*many, thin(-90, 0), thin(-88, 0)]}, 1)
    begun = time.process_time()
    first = latest._strips(desk)
    assert len(first) == 2
    assert time.process_time() - begun < 3, "all with all takes ten times as long"
    assert latest._strips(desk) is first
    desk.version = 2
    assert latest._strips(desk) is not first, "what is left to the knife may be other"
    latest.whole({}, 2)
    assert latest._strips(desk) == {}


def test_a_strip_that_snow_does_not_clear_comes_out_and_of_one_place_no_strip_is_told(monkeypatch) -> None:
    asked = list[Meaning]()

    def plan(_: str, __: object, meaning: Meaning, ___: object) -> PlannedChange:
        asked.append(meaning)
        if meaning is Meaning.STAYS:
            raise InputError("would break all the same")
        return PlannedChange(change=mock.Mock(), notes=("its own",))

    monkeypatch.setattr(doing, "snow_helps", lambda *_: True)
    monkeypatch.setattr(doing, "clearing_planned", plan)
    two = doing.strip_planned("key", [thin(1, 1), thin(3, 1)], mock.Mock())
    assert asked == [Meaning.STAYS, Meaning.COMES_OUT]
    assert two.notes == ("nothing breaks at the 2 places of the strip any more", "its own")
    assert doing.strip_planned("key", [thin(1, 1)], mock.Mock()).notes == ("its own",)


def test_a_strip_is_cleared_by_keeping_snow_off_where_that_does(monkeypatch) -> None:
    monkeypatch.setattr(doing, "snow_helps", lambda *_: True)
    monkeypatch.setattr(
        doing, "clearing_planned", lambda *each: PlannedChange(change=mock.Mock(), notes=(str(each[2]),))
    )
    two = doing.strip_planned("key", [thin(1, 1), thin(3, 1)], mock.Mock())
    assert two.notes[1] == str(Meaning.STAYS)


@pytest.mark.parametrize(
    ("then", "cleared"),
    [
        ([thin(3, 0)], True),  # left to the knife, and as it was
        ([thin(3, 0), thin(1.3, 0)], False),  # it only moves
        ([thin(3.3, 0)], False),
        ([thin(3, 0), thin(0, 0)], False),
    ],
)
def test_what_breaks_beside_a_strip_may_go_on_breaking_as_it_does(monkeypatch, then, cleared) -> None:
    scenes = {"now": {"key": (thin(0, 0), thin(1, 0), thin(3, 0))}, "then": {"key": tuple(then)}}
    monkeypatch.setattr("carvegen.interfaces.page.print_checks.nearby_findings", lambda scene, _: scenes[scene])
    places = shapely.MultiPoint([(0, 0), (1.05, 0)])
    assert is_cleared("now", "then", mock.Mock(), "key", places) is cleared  # type: ignore[arg-type]


def test_a_mark_by_which_another_block_would_break_is_not_made(bare, monkeypatch) -> None:
    """It clears its own block; of another as much may break as before, and no more."""
    hand = Hand(bare)
    hand.checks()
    until(lambda: hand.session.findings()["looked_at"] == "whole")
    bar = next(each for each in hand.session.findings()["list"] if each["clears"] and each["block"] == "key")
    before, (result,) = bare.read_bytes(), [hand.session._latest.called(bar["id"])]
    scenes = list[object]()

    def broken(sky_now: int, sky_then: int) -> None:
        def findings(scene: object, _: object) -> dict[str, tuple[Finding, ...]]:
            scenes.append(scene)
            first = len(scenes) % 2 == 1  # as it is now is looked at before as it would be
            return {"key": (result[1],) * first, "sky": (result[1],) * (sky_now if first else sky_then)}

        scenes.clear()
        monkeypatch.setattr("carvegen.interfaces.page.print_checks.nearby_findings", findings)

    broken(0, 1)
    with pytest.raises(InputError, match="would break all the same"):
        hand.does("clear", finding=bar["id"], meaning="stays")
    assert bare.read_bytes() == before
    broken(1, 1)
    assert len(hand.does("clear", finding=bar["id"], meaning="stays")["marks"]) == 1
    hand.close()


def test_a_look_that_is_stopped_is_not_begun_again_until_something_changes(bare) -> None:
    hand = Hand(bare)
    hand.checks()
    until(lambda: hand.session._checks.busy)
    hand.session.stop_looking()
    assert hand.session.findings()["looks"] == "stopped"
    assert not hand.session._checks.busy
    assert hand.heard[-2:] == [
        {"kind": "stage", "text": "", "part": None, "so_far": "", "to_go": ""},
        {"kind": "findings", "version": 1},
    ]
    hand.does("leave", finding="one")
    assert hand.session.findings()["looks"] == "soon"
    hand.close()


def test_a_change_while_a_look_is_being_stopped_has_all_looked_at_again(bare, monkeypatch) -> None:
    hand = Hand(bare)
    until(lambda: hand.session._later is not None)
    stopped = iter([True])
    change = threading.Thread(target=hand.session._check_later)

    def stop() -> bool:
        if not next(stopped, False):
            return False
        change.start()
        change.join(0.1)
        return True

    monkeypatch.setattr(hand.session._checks, "stop", stop)
    hand.session.stop_looking()
    change.join()
    assert hand.session.findings()["looks"] == "soon"
    hand.close()


def test_no_look_begins_while_a_mark_is_drawn(bare) -> None:
    """One that is due waits anew; one that is at work goes on, and what she has stopped stays so."""
    hand = Hand(bare)
    until(lambda: hand.session._later is not None)
    due = hand.session._later
    hand.session.put_off()
    until(lambda: not due.is_alive())
    waits = hand.session._later
    assert waits.is_alive()
    with mock.patch.object(BackgroundWork, "busy", True):
        hand.session.put_off()
    assert hand.session._later is waits
    waits.cancel()
    waits.join()
    hand.session.put_off()
    assert hand.session._later is waits
    hand.close()


def test_a_look_is_of_the_version_whose_files_are_written(bare, monkeypatch) -> None:
    """What she changes between the two has it looked at again; else the look before would count as one after it."""
    hand = Hand(bare)
    until(lambda: hand.session._later is not None)
    done = list[object]()
    monkeypatch.setattr(hand.session, "_start", lambda *_, **hears: done.append(hears["done"]))
    monkeypatch.setattr(hand.session, "_flush", lambda: hand.does("leave", finding="one"))
    hand.session._check()
    done[0]({"found": {}, "shown": {"prints": {}, "layers": [], "over": []}})
    assert hand.session.findings()["looked_at"] == "nothing"
    hand.close()


def test_what_a_look_finds_of_loose_bits_is_shown_until_something_changes_there(bare) -> None:
    hand = Hand(bare)
    desk = hand.session.desk
    layers, spot = desk.bare.drawing.layers, shapely.box(24, 20, 24.3, 25)
    told = [(each.name, shapely.to_wkb(shapely.difference(each.shape, spot))) for each in layers]
    over = [(["sky", "key"], [shapely.to_wkb(spot.buffer(0.2))])]
    assert under_snow(layers, [(each.name, shapely.to_wkb(each.shape)) for each in layers], [], number=int) is None
    desk.bits = under_snow(layers, told, over, number=desk.stock.taken)
    report, shapes = unpacked(hand.session.blocks())
    (number,) = next(group for group in report["groups"] if group["name"] == "over")["ids"]
    assert shapes[number].covers(spot.buffer(0.1))
    scene = desk.scene(spot.buffer(3))
    assert shapely.union_all(scene.white["sky"]).covers(spot)
    assert not any(layer.shape.intersects(spot.buffer(-0.1)) for layer in scene.layers if layer.name == "BAR")
    far = hand.does("stroke", meaning="comes out", breadth=1, points=stroke(5, 25, 6, 25))
    assert (number in far["gone"], desk.bits is None) == (False, False)
    near = hand.does("stroke", meaning="comes out", breadth=1, points=stroke(24, 21, 25, 22))
    assert (number in near["gone"], desk.bits is None) == (True, True)
    hand.close()


def test_what_is_left_while_all_is_looked_at_has_it_looked_at_again(bare) -> None:
    """That look is of the version before, and counts no more."""
    hand = Hand(bare)
    hand.checks()
    until(lambda: hand.session._checks.busy)
    hand.session.rest_s = 0.05
    hand.does("leave", finding="one")
    assert hand.session.findings()["looked_at"] == "nothing", "else that look was over already"
    until(lambda: hand.session.findings()["looked_at"] == "whole", 60)
    hand.close()


def the_picture_says_why_nobody_looks(hand: Hand) -> None:
    """After a failure, and then after a stop."""
    with mock.patch("carvegen.interfaces.page.session.mended", return_value=frozenset(["key"])):
        assert "could not be looked at" in hand.session.findings()["before_mending"]
        hand.session._unlooked = "stopped"
        assert "You stopped the look" in hand.session.findings()["before_mending"]


def test_a_look_nearby_that_fails_says_nothing_of_the_whole_and_a_look_at_all_forgets_why_none_was(bare) -> None:
    hand = Hand(bare)
    until(lambda: hand.session._later is not None)
    hand.session._later.cancel()
    hand.session._nearby._failed(InputError("a fault near the mark"))
    assert hand.session.findings()["looks"] == "soon"
    assert any("a fault near the mark" in one.get("say", "") for one in hand.heard)
    hand.session._failed("checking", InputError("the disk is full"))
    assert hand.session.findings()["looks"] == "the disk is full"
    the_picture_says_why_nobody_looks(hand)
    hand.session._check()
    assert hand.session.findings()["looks"] == "at work"
    hand.close()


def test_an_island_too_thin_comes_out_whole_and_what_no_mark_clears_is_said(bare) -> None:
    """A thin bar of the drawing: without snow beside it nothing is to be put back, and parted it would be as thin."""
    hand = Hand(bare)
    hand.checks()
    until(lambda: hand.session.findings()["looked_at"] == "whole")

    def islands() -> list[dict]:
        return [each for each in hand.session.findings()["list"] if each["kind"] == "land-width island"]

    (bar,) = islands()
    assert [each["meaning"] for each in bar["clears"]] == ["comes out"], (
        "no snow lies beside it, so keeping it off does not help"
    )
    before = bare.read_bytes()
    with pytest.raises(InputError, match="would break all the same") as refused:
        hand.does("clear", finding=bar["id"], meaning="stays")
    assert "try the other button" in refused.value.hint
    with (
        mock.patch("carvegen.interfaces.page.table.doing.is_cleared", return_value=None),
        pytest.raises(InputError, match="would break all the same") as refused,
    ):
        hand.does("clear", finding=bar["id"], meaning="comes out")
    assert "button" not in refused.value.hint, "there is no other"
    assert bare.read_bytes() == before
    (mark,) = hand.does("clear", finding=bar["id"], meaning="comes out")["marks"]
    shape = shapely.union_all([shapely.Polygon(ring) for ring in mark["rings"]])
    assert (mark["meaning"], mark["blocks"]) == ("comes out", ["key"])
    assert shape.covers(shapely.box(24, 5, 24.3, 25))
    assert shapely.box(23.8, 4.8, 24.5, 25.2).covers(shape), "no larger than need be"
    until(lambda: not islands())
    hand.close()


@pytest.mark.parametrize(
    ("flake", "helps"), [(shapely.box(5, 0.25, 7, 2), True), (shapely.box(5, 1.5, 7, 3), False), (None, False)]
)
def test_an_island_that_no_snow_lies_next_to_is_as_thin_without_snow(flake, helps) -> None:
    desk, place = desk_with(shapely.box(0, 0, 30, 0.25)), thin(6, 0)
    desk.print_.blocks = []
    desk.seen.snows = lambda _, area: flake is not None and shapely.intersects(area, flake)
    assert doing.snow_helps(desk, "key", [replace(place, kind="island")]) is helps
    assert doing.snow_helps(desk, "key", [place]) is (flake is not None), "at a neck it may be farther off"


def test_no_snow_here_is_no_remedy_on_a_block_that_is_cut_already(bare) -> None:
    """Nothing can be put back, so the mark would ask for land that is gone; what is too thin can still come out."""
    bars = '<rect x="5" y="10" width="8" height="20"/><rect x="24" y="5" width="0.3" height="20"/>'
    page = f'<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30">{bars}</svg>'
    bare.with_name("key.svg").write_text(page)
    state = 'name = "key"\nstate = "cut"\ncut_land = "key.svg"'
    bare.write_text(bare.read_text().replace('name = "key"', state))
    hand = Hand(bare)
    hand.checks()
    until(lambda: hand.session.findings()["looked_at"] == "whole")
    bar = next(each for each in hand.session.findings()["list"] if each["clears"] and each["block"] == "key")
    assert [each["meaning"] for each in bar["clears"]] == ["comes out"]
    before = bare.read_bytes()
    with pytest.raises(InputError, match="is cut already"):
        hand.does("clear", finding=bar["id"], meaning="stays")
    assert bare.read_bytes() == before
    above, finding = hand.session.desk, hand.session._latest.called(bar["id"])[1]
    with mock.patch("carvegen.interfaces.page.table.doing.is_cleared", return_value=True):
        (_, mark), *_ = clearing_planned("sky", [finding], Meaning.STAYS, above).change.marks_new
    assert mark["blocks"] == ["sky"], "of what is cut already nothing can be put back"
    hand.close()


def test_what_is_mended_on_the_page_is_mended_by_the_build(bare, monkeypatch) -> None:
    hand = Hand(bare)
    hand.checks()

    def thin() -> list[dict]:
        result = hand.session.findings()["list"]
        return [each for each in result if each["severity"] == "breaks" and each["at"] and abs(each["at"][0] - 24) < 1]

    until(lambda: hand.session.findings()["looked_at"] == "whole" and bool(thin()))
    assert all(item["can_mend"] for item in thin() if item["block"] == "key")
    mend = thin()[0]["id"]
    before = bare.read_bytes()
    with monkeypatch.context() as useless:
        useless.setattr("carvegen.interfaces.page.print_checks.mended_for_all", lambda jobs, **_: (jobs, ()))
        with pytest.raises(InputError, match="can't be mended"):
            hand.does("mend", finding=mend)
    assert bare.read_bytes() == before
    report = hand.does("mend", finding=mend)
    assert "wherever a limit breaks" in report["said"][0]
    assert "reload" not in report
    until(lambda: not thin())  # told at once of what lies about
    values = read_print(bare, SHELF)
    assert [block.mend for block in values.blocks] == [False, True]
    whole = print_findings(values, SHELF, bare.parent / BUILT, say=lambda _: None)["key"]
    assert not [one for one in whole if one.severity.label == "breaks" and one.at and abs(one.at[0] - 24) < 1]
    with pytest.raises(InputError, match="no such place"):
        hand.does("mend", finding=mend)
    hand.does("undo")
    assert bare.read_bytes() == before
    hand.close()


def test_once_the_inks_are_taken_apart_blocks_are_shown_as_the_build_cuts_them(tmp_path) -> None:
    """Snow rubbed out of what the page shows of a block leaves the land that the build leaves standing."""
    path = print_file(tmp_path, after=SNOWFALL)
    path.write_text(path.read_text().replace('name = "key"', 'mend = true\nname = "key"'))
    hand = Hand(path)
    values = read_print(path, SHELF)
    built = {
        name: cut.land
        for name, cut in cuts_of(cut_inputs(values, setups_of(values, SHELF), {}), say=lambda _: None)[1].items()
    }

    def off(block: str) -> float:
        shown = next(one for n, one in blocks.items() if hand.like[n]["name"] == block)
        both = shapely.symmetric_difference(
            shapely.difference(shown, hand.white_on(block)), shapely.set_precision(built[block], 0)
        )
        return float(shapely.area(shapely.buffer(both, -0.02)))

    blocks = {n: each for n, each in hand.shapes.items() if hand.like[n]["kind"] == "block"}
    assert max(map(off, built)) > 1
    assert hand.session.state()["before_mending"].startswith("Before mending")
    hand.checks()
    until(lambda: any(item["kind"] == "blocks" for item in hand.heard), 60)
    report, blocks = unpacked(hand.session.blocks())
    hand.like |= {n: group for group in report["groups"] for n in group["ids"]}
    assert {group["name"] for group in report["groups"]} == set(built)
    assert report["before_mending"] == hand.session.state()["before_mending"] == ""
    assert hand.session.findings()["before_mending"] == ""
    shares = [one["part"] for one in hand.heard if one["kind"] == "stage" and one["text"].startswith("checking")]
    assert shares == sorted(shares)
    assert len({*shares}) > 5, "it is told how far the look is"
    assert max(map(off, built)) < 0.05
    hand.does("leave", finding="one")
    assert hand.session.state()["before_mending"] == "", "nothing of the picture is changed by that"
    report = hand.does("stroke", meaning="comes out", breadth=1, points=stroke(30, 5, 34, 5))
    assert report["before_mending"].startswith("Mended by the last look, but what you changed since is not, until")
    hand.session._latest.whole({}, hand.session._version)  # as a build says that has nothing to make
    assert hand.session.findings()["looks"] == "soon"
    hand.session._later = None
    hand.session._look_on()
    assert hand.session._later is not None, "or the picture stays so for ever"
    hand.does("undo")
    assert hand.session.state()["before_mending"]
    hand.session._unlooked = "stopped"
    assert "is not. You stopped the look" in hand.session.state()["before_mending"]
    hand.close()


def listening(path):
    """A page on a print, and what it tells of its work; it checks nothing by itself."""
    page, heard = page_in(path.parent, path), list[dict]()
    page.session._tell = heard.append
    return page, heard


def test_a_build_tells_its_stages_and_hands_over_files_with_cautions(bare) -> None:
    bare.write_text(bare.read_text().replace('name = "key"', 'mend = true\nname = "key"'))
    page, heard = listening(bare)
    assert page.session.desk is not None  # once it is open
    page.session.rest_s = 0.0
    page.session._check_later()
    until(lambda: page.session._checks.busy)
    page.session._latest.near = True
    page.session.rest_s = 0.3
    page.session.build()  # breaks the check off, which is begun anew afterwards
    until(lambda: any(its["kind"] in ("built", "stopped") for its in heard), 120)
    shares = [one["part"] for one in heard if one["kind"] == "stage" and one["text"].startswith("building: ")]
    assert shares == sorted(shares)
    assert len({*shares}) > 3, "it is told how far it is, the first time too"
    assert page.session._prints.keys() == {"sky", "key"}, "what is built is shown, before all is looked at again"
    assert page.session._mended == {"key"}
    assert {"kind": "blocks", "version": 1} in heard
    until(lambda: page.session.findings()["looked_at"] == "whole", 120)
    assert {"built", "stopped"} & {its["kind"] for its in heard} == {"built"}
    report = built_findings(read_print(bare, SHELF), bare.parent / BUILT)
    assert len(page.session.findings()["list"]) == sum(map(len, report.values())), "what the build has found"
    assert any(one["kind"] == "stage" and one["text"].startswith("building: ") for one in heard)
    listed, cautions = asked(
        page, ("GET", f"/{TOKEN}/files", {"headers": OWN}), ("GET", f"/{TOKEN}/cautions", {"headers": OWN})
    )
    report = listed.json()["list"]
    names = {(each["folder"], each["name"]): each for each in report}
    assert all(item["what"] and (bare.parent / BUILT / item["folder"] / item["name"]).is_file() for item in report)
    assert {entry["n"] for entry in report} >= {this["picture"] for this in report if this["picture"] is not None}
    guide, proof = names["key/hand", "guide.pdf"], names["", "print.png"]
    assert (guide["kind"], proof["kind"], proof["picture"]) == ("print", "picture", proof["n"])
    shown, sheet, lost = asked(page, *(
        ("GET", f"/{TOKEN}/file/{n}", {"headers": OWN}) for n in (proof["n"], names["", "proof.html"]["n"], len(report))
    ))  # fmt: skip
    assert shown.content == (bare.parent / BUILT / "print.png").read_bytes()
    assert shown.headers["content-type"] == "image/png"
    assert sheet.headers["content-security-policy"].startswith("sandbox")  # its scripts reach nothing of the page
    assert lost.status_code == 404
    hand = next(caution for caution in cautions.json()["cautions"] if "hand" in caution["machine"])
    assert any("trained teacher" in line for line in hand["lines"])
    page.end()


def test_the_sheet_to_mark_is_drawn_as_the_command_draws_it_and_tells_how_far_it_is(bare) -> None:
    page, heard = listening(bare)
    none, wrong = asked(
        page, ("GET", f"/{TOKEN}/sheet", {"headers": OWN}),
        ("POST", f"/{TOKEN}/sheet", {"headers": JSON, "json": {"paper": "../A4"}}),
    )  # fmt: skip
    assert (none.status_code, wrong.status_code) == (404, 422)
    (begun,) = asked(page, ("POST", f"/{TOKEN}/sheet", {"headers": JSON, "json": {"paper": "A4"}}))
    assert begun.status_code == 202
    until(lambda: any(this["kind"] in ("sheet", "stopped") for this in heard))
    assert {"kind": "sheet", "pages": 1, "paper": "A4", "version": 1} in heard
    stages = [each for each in heard if each["kind"] == "stage" and each["text"]]
    assert {one["part"] for one in stages} == {None}  # nobody knows yet
    assert not any("last time" in item["so_far"] for item in stages)
    again = Pace(bare, "drawing the sheet")
    parts = [again.at(stage) for stage in json.loads(again._file.read_text())["drawing the sheet"]["stages"]]
    assert len(parts) == len({entry["text"] for entry in stages})  # a stage that takes long is told more than once
    assert all(0 <= part <= 1 for part, *_ in parts)
    assert [part for part, *_ in parts] == sorted(part for part, *_ in parts)
    (shown,) = asked(page, ("GET", f"/{TOKEN}/sheet", {"headers": OWN}))
    assert shown.headers["content-type"] == "application/pdf"
    drawn, pages = marking_sheet(read_print(bare, SHELF), SHELF, "A4", say=lambda _: None)
    assert (shown.content, pages) == (drawn, 1)
    page.end()


def test_how_far_it_is_is_told_by_the_last_time_and_within_a_stage_too(tmp_path) -> None:
    """Worked by hand: half as fast as the last time, so every stage goes on for longer than it did then."""
    now = [0.0]
    for step in (1, 2):
        pace = Pace(tmp_path / "print.toml", "building", clock=lambda: now[0])
        report = []
        for stage in ("inks", "key", "proofs"):
            now[0] += 10 * step
            report.append(pace.at(stage))
        now[0] += 10 * step
        pace.done()
    last = "this print took 40 s last time"
    assert report == [
        (part, f"{so_far} so far, slower while other programs work; {last}", f"about {to_go} to go")
        for part, so_far, to_go in ((0.25, "20 s", "1 min"), (0.5, "40 s", "40 s"), (0.75, "1 min", "20 s"))
    ]
    first = Pace(tmp_path / "print.toml", "checking", clock=lambda: now[0])
    assert first.at("inks") == (None, "", "")
    now[0] += 30
    assert first.at("inks", 0.04) == (0.04, "30 s so far, slower while other programs work", ""), (
        "of so little: no guess"
    )
    assert first.at("inks", 0.2)[2] == "about 2 min to go", "the share that it has reached, where no last time is known"
    now[0], parts = 0.0, []
    pace = Pace(tmp_path / "print.toml", "building", clock=lambda: now[0])
    for now[0] in (20.0, 30.0, 40.0, 400.0):  # a stage that began at 20 s of 80 the last time, and ended at 40
        parts.append(pace.at("inks")[0])
    assert parts == [0.25, 0.375, 0.5, 0.5]


def test_work_that_says_nothing_for_long_is_told_of_again(monkeypatch) -> None:
    monkeypatch.setattr("carvegen.interfaces.page.work.processes._AGAIN_S", 0.05)
    behind, said = BackgroundWork(), list[str]()
    behind.start(slow, Path("slow"), None, say=said.append, done=print, failed=print)
    until(lambda: said[:3] == ["begun"] * 3)
    assert behind.stop()


def test_work_is_stopped_by_the_next_and_tells_no_more() -> None:
    behind, said, done, failed = BackgroundWork(), [], [], []
    hear = {"say": said.append, "done": done.append, "failed": failed.append}
    behind.start(slow, Path("slow"), None, **hear)
    until(lambda: said == ["begun"])
    behind.start(slow, Path("quick"), None, **hear)
    until(lambda: bool(done))
    behind.start(slow, Path("bad"), None, **hear)
    until(lambda: bool(failed))
    assert done == ["quick"]
    assert [str(error) for error in failed] == ["is bad"]
    assert not behind.stop()


def test_work_is_at_work_before_its_process_comes(monkeypatch) -> None:
    """Else a check would begin beside a build, and the page would say now one, now the other."""
    behind, comes, seen = BackgroundWork(), work.processes._processes, list[bool]()
    monkeypatch.setattr(work.processes, "_processes", lambda: seen.append(behind.busy) or comes())
    behind.start(slow, Path("slow"), None, say=print, done=print, failed=print)
    assert seen == [True]
    assert behind.busy
    behind.stop()
    assert not behind.busy


@pytest.mark.parametrize("then", ["stopped", "another"])
def test_nobody_waits_for_a_process_that_is_still_beginning(monkeypatch, then) -> None:
    """It takes seconds to come; it is ended once it does, and what was begun meanwhile goes on beginning."""
    behind, first, second = BackgroundWork(), mock.Mock(), mock.Mock()
    lots, heard, (ours, theirs) = iter([first, second]), list[str](), multiprocessing.Pipe(duplex=False)
    start = functools.partial(
        behind.start, slow, Path("slow"), None, say=heard.append, done=heard.append, failed=heard.append
    )

    def comes() -> object:
        process = next(lots)
        process.start.side_effect = meanwhile if process is first else None
        pipe = (mock.Mock(), mock.Mock()) if process is first else (ours, mock.Mock())
        return mock.Mock(Pipe=lambda **_: pipe, Process=lambda **_: process)

    def meanwhile() -> None:
        other = threading.Thread(target=behind.stop if then == "stopped" else start, daemon=True)
        other.start()
        other.join(10)
        assert not other.is_alive(), "it waits"

    monkeypatch.setattr(work.processes, "_processes", comes)
    start()
    assert first.kill.called
    assert (second.start.called, second.kill.called) == (then == "another", False)
    assert behind.busy == (then == "another")
    behind.stop()
    assert second.kill.called == (then == "another")
    theirs.close()


def test_a_look_about_a_change_that_ends_after_the_look_at_all_leaves_all_looked_at() -> None:
    latest, there = LatestFindings(), shapely.box(0, 0, 10, 10)
    latest.part({}, there, 2)
    assert not latest.is_whole(2)
    latest.whole({}, 2)
    latest.part({}, there, 2)
    assert latest.is_whole(2)
    latest.part({}, there, 3)
    assert not latest.is_whole(3)


def test_what_is_done_to_look_at_the_whole_print_is_told_with_what_was_found(bare, monkeypatch) -> None:
    """What can break nothing leaves it looked at; what could not be looked at says why, and is asked again."""
    hand = Hand(bare)
    until(lambda: hand.session._later is not None)
    assert (hand.session.findings()["looks"], hand.session.findings()["looked_at"]) == ("soon", "nothing")
    with monkeypatch.context() as full:
        full.setattr(Session, "_flush", lambda _: (_ for _ in ()).throw(InputError("the disk is full")))
        hand.session.look()
    assert hand.session.findings()["looks"] == "the disk is full"
    the_picture_says_why_nobody_looks(hand)
    hand.session.look()
    assert hand.session.findings()["looks"] == "at work"
    until(lambda: hand.session.findings()["looks"] == "done")
    finding = hand.session.findings()["list"][0]["id"]
    hand.does("leave", finding=finding)
    assert (hand.session.findings()["looks"], hand.session.findings()["looked_at"]) == ("done", "whole")
    hand.close()


def test_a_build_that_is_stopped_leaves_the_check_to_be_done(bare) -> None:
    hand = Hand(bare)
    until(lambda: hand.session._later is not None)
    hand.session._later.cancel()
    hand.session._later = None
    hand.session.build()
    hand.session.stop()
    until(lambda: hand.session._later is not None)
    hand.close()


def test_of_the_time_left_the_page_hears_from_its_own_pace_alone(tmp_path) -> None:
    behind, pace, done = BackgroundWork(), Pace(tmp_path / "print.toml", "building"), list[str]()
    behind.start(slow, Path("tells"), None, say=pace.at, done=done.append, failed=print)
    until(lambda: bool(done))
    pace.done()
    assert list(json.loads(pace._file.read_text())["building"]["stages"]) == ["begun", "ended"]


@pytest.mark.skipif(not hasattr(os, "nice"), reason="nothing stands back here")
def test_work_stands_back_behind_the_hand() -> None:
    behind, done = BackgroundWork(), list[str]()
    behind.start(slow, Path("stands back"), None, say=lambda _: None, done=done.append, failed=print)
    until(lambda: bool(done))
    assert int(done[0]) > os.nice(0)


def test_the_server_ends_a_while_after_its_windows(bare, monkeypatch) -> None:
    report, looks = list[str](), list[float]()
    idle_s = Page.idle_s.fget
    monkeypatch.setattr(Page, "idle_s", property(lambda one: looks.append(now := idle_s(one)) or now))
    monkeypatch.setattr("carvegen.interfaces.page.serving._LOOK_S", 0.02)
    each = Served(path=bare, folder=bare.parent, idle_s=0.3)
    server = threading.Thread(target=serve, args=(each, SHELF), kwargs={"at": report.append})
    server.start()
    until(lambda: bool(report))
    with httpx.Client(base_url=report[0], timeout=30) as client, client.stream("GET", "events?window_id=1") as events:
        lines = events.iter_lines()
        assert next(lines).startswith("data: ")
        assert client.get("print").json()["only_looks"] is False
        looks.clear()
        until(lambda: len(looks) > 20)  # longer than it stays without a window
        assert server.is_alive()  # a window listens
    server.join(20)
    assert not server.is_alive()
    hand = Hand(bare)
    hand.does("stroke", meaning="comes out", breadth=2, points=stroke(20, 5, 30, 5))  # the print is free again
    hand.close()
    assert last(bare) is None  # nobody comes back


@needs_fork
def test_a_program_started_again_is_where_the_one_before_was(bare) -> None:
    each = Served(path=bare, folder=bare.parent)
    program = Forked(bare.parent, "mark", bare, "--no-browser")
    address = program.stdout.readline().split()[1]

    def opened() -> str:
        door, token = _opened(each)
        with door:
            return f"http://127.0.0.1:{door.getsockname()[1]}/{token}/"

    assert opened() != address  # another, while that one runs, is at an address of its own
    os.kill(program.pid, signal.SIGKILL)
    program.ended()
    note = next((bare.parent / FOLDER).glob("*.address"))
    assert note.stat().st_mode & 0o777 == 0o600
    assert opened() == address
    note.chmod(0o644)  # others may have read it
    assert last(bare) is None
    note.chmod(0o600)
    for bad in ("", "[]", '{"port": 80, "token": "x"}', '{"port": "8123", "token": 3}'):
        note.write_text(bad)
        assert last(bare) is None
    remember(bare, Address(port=8123, token="t" * 32))
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 8123))
        taken.listen()
        door, token = _opened(Served(path=bare, folder=bare.parent))
        door.close()
    assert token != "t" * 32


def test_a_fault_of_ours_is_said_and_the_hand_goes_on(tmp_path, monkeypatch) -> None:
    hand = Hand(print_file(tmp_path, after=SNOWFALL))
    seen = dict(hand.shapes)

    def fails(*_: object, **__: object) -> None:
        raise ZeroDivisionError("seven by nothing")

    with monkeypatch.context() as broken:
        broken.setattr("carvegen.interfaces.page.work.live_findings.nearby_findings", fails)
        hand.does("stroke", meaning="stays", breadth=2, points=stroke(20, 5, 30, 5))
        until(lambda: any("seven by nothing" in one.get("say", "") for one in hand.heard))
    with monkeypatch.context() as broken:
        broken.setattr("carvegen.interfaces.page.table.desk.changed_patches", fails)
        with pytest.raises(ZeroDivisionError):
            hand.does("take away", ids=list(hand.snow())[:3])
    hand.does("undo")
    assert hand.shapes.keys() == seen.keys()
    count = len(hand.heard)
    until(lambda: any(each["kind"] == "findings" for each in hand.heard[count:]))
    hand.close()


def _several(bare: Path) -> Path:
    text = bare.read_text(encoding="utf-8")
    assert 'for = ["hand"]' in text
    bare.write_text(text.replace('for = ["hand"]', 'for = ["router", "hand"]'), encoding="utf-8")
    return bare


def test_a_place_counts_once_and_says_whose_limit_it_breaks(bare) -> None:
    print_ = read_print(_several(bare), SHELF)
    setups = setups_of(print_, SHELF)["key"]
    every = print_findings(print_, SHELF, bare.parent / BUILT, say=lambda _: None)["key"]
    broken = [each for each in every if each.severity.label == "breaks"]
    assert broken
    assert len({(each.rule, each.kind, each.at) for each in broken}) == len(broken)
    assert len(setups) == 2
    named = {setup.machine.kind: setup for setup in setups}
    assert {machine for each in broken for machine in each.machines} <= set(named)
    assert all(each.machines for each in broken)
    latest, desk = LatestFindings(), mock.Mock(left=frozenset(), print_=print_, bare=mock.Mock(pictures={}))
    latest.whole({"key": list(every)}, 1)
    entries = [each for each in latest.entries(desk) if each["severity"] == "breaks"]
    assert len(entries) == broken_in({"key": list(every)}, frozenset())
    assert all(each["for"] for each in entries)
    assert broken_in({"key": list(every)}, frozenset({entries[0]["id"]})) == len(entries) - 1
    assert [each for each in entries if each["can_mend"]]
    assert all(("mend = true" in each["remedy"]) == each["can_mend"] for each in entries)


def test_of_two_machines_the_strictest_limit_is_told_and_whose_it_is() -> None:
    def one(limit: float, *machines: str) -> Finding:
        return Finding(
            rule="land-width", kind="neck", severity=Severity.BREAKS, at=(1.0, 2.0), measured=0.3, limit=limit,
            unit="mm", why="", remedy="", machines=machines,
        )  # fmt: skip

    assert _once([one(0.5, "laser"), one(0.7, "hand")]) == (one(0.7, "hand"),)
    assert _once([one(0.7, "laser"), one(0.7, "hand")]) == (one(0.7, "laser", "hand"),)


def test_what_mending_left_keeps_the_words_of_the_report(bare) -> None:
    text = bare.read_text(encoding="utf-8")
    at = text.index('name = "key"')
    bare.write_text(text[:at] + "mend = true\n" + text[at:], encoding="utf-8")
    print_ = read_print(bare, SHELF)
    assert [block.mend for block in print_.blocks if block.name == "key"] == [True]
    left = Finding(
        rule="land-width", kind="neck", severity=Severity.BREAKS, at=(1.0, 2.0), measured=0.3, limit=0.5, unit="mm",
        why="it breaks", remedy="widen it",
    )  # fmt: skip
    (left_so,) = _for("laser", Report.of([left]), mend=True)
    (plain,) = _for("laser", Report.of([left]), mend=False)
    assert left_so.remedy == next(iter(left_over(Report.of([left])))).remedy != plain.remedy == "widen it"
