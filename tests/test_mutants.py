"""The maker of mutants: each is a module that still compiles and differs, the same for the same seed."""

from __future__ import annotations

import ast  # noqa: TID251  one thread
from pathlib import Path

import pytest

from tests.mutants import EARLY_ENDS, ROOT, SAME_LAW, TESTS, drawn, files_of, modules, mutation, places


def test_the_same_seed_makes_the_same_changes_and_each_compiles() -> None:
    one, same, other = (drawn("checks/depths", 12, seed) for seed in (1, 1, 2))
    assert one == same
    assert one != other
    for each in one:
        compile(each.source, str(each.path), "exec")
        plain = ast.unparse(ast.parse((ROOT / each.path).read_text(encoding="utf-8")))
        changed = [pair for pair in zip(plain.split("\n"), each.source.split("\n"), strict=True) if len(set(pair)) == 2]
        assert len(changed) == 1


def test_limits_comparisons_branches_and_signs_are_among_them() -> None:
    path = Path("carvegen/checks/bed.py")
    changes = [mutation(path, place).change for place in places(path)]
    for change in ("length > limit  ->  length < limit", "if length > limit:  ->  if False:", "2  ->  4"):
        assert change in changes
    assert any(change.startswith("block.width_mm + waste  ->  block.width_mm - waste") for change in changes)


@pytest.mark.parametrize(
    ("code", "count"),
    [
        ("round(x, 3)", 0), ("round(4 * x)", 1), ("_ARC = 8", 0), ("_ARCS = 8", 1), ("x.buffer(y, quad_segs=8)", 0),
        ("tiles_of(a, 2 * b)", 0), ("n > geometry.LARGE", 0), ("x + 1e-9", 0), ("x > 1e-9", 1), ("x + 1e-3", 2),
        ("x: t[2] = 5", 1),
    ],
)  # fmt: skip
def test_what_changes_no_decision_is_left_alone(code, count, tmp_path) -> None:
    """How finely a thing is drawn or told, how much is done at a time, room for rounding, types."""
    path = tmp_path / "module.py"
    path.write_text(code, encoding="utf-8")
    assert len(places(path)) == count


@pytest.mark.parametrize("module", EARLY_ENDS)
def test_branches_that_only_save_time_are_there_and_not_dropped(module: str, monkeypatch) -> None:
    path = Path("carvegen") / module
    without = places(path)
    monkeypatch.delitem(EARLY_ENDS, module)
    assert len(places(path)) == len(without) + 1


@pytest.mark.parametrize("module", SAME_LAW)
def test_what_is_drawn_by_the_same_law_is_there_and_left_alone(module: str, monkeypatch) -> None:
    """Each of the expressions is in the module as it is written, and has one place: a sign, or the turn's 2."""
    path, turns = Path("carvegen") / module, SAME_LAW[module]
    code = [ast.unparse(node) for node in ast.walk(ast.parse((ROOT / path).read_text(encoding="utf-8")))]
    without = places(path)
    monkeypatch.delitem(SAME_LAW, module)
    changes = [mutation(path, place).change for place in set(places(path)) - set(without)]
    assert len(changes) >= len(turns)
    assert all(turn in code for turn in turns)
    assert all(change == "2  ->  4" or change.partition("  ->  ")[0] in turns for change in changes), changes


def test_a_part_of_a_room_is_a_folder_or_a_module() -> None:
    assert modules("prints/separation") == [ROOT / "carvegen" / "prints" / "separation.py"]
    assert {each.path.name for each in drawn("prints/separation", 3, 1)} == {"separation.py"}
    assert ROOT / "carvegen" / "checks" / "depths" / "__init__.py" in modules("checks/depths")
    assert not modules("checks/nowhere")


def test_every_room_has_tests() -> None:
    assert {path.parent.name for path in (ROOT / "carvegen").glob("*/__init__.py")} == TESTS.keys()
    for room in TESTS:
        assert files_of(room)
