"""Jobs: what may be put together, what is refused, and the limits that hold."""

from __future__ import annotations

import dataclasses
from types import SimpleNamespace

import pytest

from carvegen.base.errors import InputError, RefusedError
from carvegen.blocks import job
from carvegen.blocks.job import (
    USUAL_MACHINES,
    Job,
    Setup,
    permit,
    setups_for,
)
from carvegen.facts.profiles import (
    KINDS,
    Library,
    Verdict,
    shipped,
)
from tests import cases

SHELF = Library()
MATERIALS, CUTTERS = SHELF.keys("materials"), SHELF.keys("cutters")


def made(material="linoleum", cutter="laser-fine", machine=None, **changed):
    stuff, tool = SHELF.material(material), SHELF.cutter(cutter)
    values = {
        "material": stuff, "cutter": tool, "machine": SHELF.machine(machine or USUAL_MACHINES[tool.machines[0]]),
        "thickness_mm": stuff.thickness_mm, "depth_mm": stuff.depth_usual_mm,
    }  # fmt: skip
    return Setup(**{**values, **changed})


@pytest.mark.parametrize("material", MATERIALS)
@pytest.mark.parametrize("kind", KINDS)
def test_never_is_refused_with_its_reason(material, kind):
    stuff = SHELF.material(material)
    if stuff.permits[kind].verdict is not Verdict.NEVER:
        assert permit(stuff, kind) is stuff.permits[kind]
        return
    with pytest.raises(RefusedError) as raised:
        permit(stuff, kind)
    assert stuff.permits[kind].why in str(raised.value)
    with pytest.raises(RefusedError):
        Setup(
            material=stuff, cutter=next(c for c in map(SHELF.cutter, CUTTERS) if kind in c.machines),
            machine=SHELF.machine(USUAL_MACHINES[kind]), thickness_mm=3, depth_mm=1,
        )  # fmt: skip


def test_what_holds_of_a_setup_is_worked_out_once_and_anew_for_another():
    setup = made()
    for name in ("wall", "face_limits", "lasting_limits", "stout_limits", "limits", "foot_limits"):
        assert getattr(setup, name) is getattr(setup, name), name
    deeper = dataclasses.replace(setup, depth_mm=setup.depth_mm * 1.5)
    assert deeper.wall.foot_gain_mm > setup.wall.foot_gain_mm
    assert setup == made()


@pytest.mark.parametrize("material", MATERIALS)
@pytest.mark.parametrize("cutter", CUTTERS)
def test_setups_are_one_for_each_kind_that_is_allowed_the_cutters_own_first(material, cutter):
    stuff, tool = SHELF.material(material), SHELF.cutter(cutter)
    allowed = [kind for kind in KINDS if stuff.permits[kind].verdict is not Verdict.NEVER]
    if not set(allowed) & set(tool.machines):
        with pytest.raises(RefusedError):
            setups_for(SHELF, material=material, cutter=cutter)
        return
    result = setups_for(SHELF, material=material, cutter=cutter)
    assert sorted(side.machine.kind for side in result) == sorted(allowed)
    assert result[0].cutter.key == cutter
    assert all(setup_.machine.kind in setup_.cutter.machines for setup_ in result)


@pytest.mark.parametrize("kinds", [("laser",), ("hand", "laser"), ("laser", "router", "hand")])
def test_a_kind_that_is_asked_for_is_refused_whatever_the_cutter(kinds):
    for cutter in CUTTERS:
        with pytest.raises(RefusedError):
            setups_for(SHELF, material="vinyl-soft", cutter=cutter, kinds=kinds)


@pytest.mark.parametrize(
    ("cutter", "kinds", "remedy"),
    [
        ("v-60", ("hand", "laser"), 'take "laser" out of for'),
        ("v-60", ("laser",), 'write "hand" in for, not "laser"'),
        ("laser-fine", ("laser", "hand"), "choose a cutter for that"),
    ],
)
def test_where_the_cutter_is_right_the_machine_is_to_be_taken_out(cutter, kinds, remedy):
    with pytest.raises(RefusedError) as raised:
        setups_for(SHELF, material="vinyl-soft", cutter=cutter, kinds=kinds)
    hint = raised.value.named({"cutter": "cutter", "kinds": "for"}.__getitem__).hint
    assert hint == f"this material may be worked by: hand; {remedy}"


def test_a_cutter_for_none_of_the_kinds_asked_for():
    with pytest.raises(InputError, match="none of these is asked for"):
        setups_for(SHELF, material="cherry", cutter="u-1", kinds=("laser",))


def test_a_cutter_must_go_into_the_machine():
    with pytest.raises(InputError, match="goes into: hand"):
        made(cutter="u-1", machine="laser-bed")


@pytest.mark.parametrize("depth", [0, -1, 3.2, 99, float("nan"), float("inf")])
def test_a_depth_within_the_thickness(depth):
    with pytest.raises(InputError) as raised:
        made(depth_mm=depth, thickness_mm=3.2)
    assert raised.value.fields == ("depth_mm",)


@pytest.mark.parametrize("thickness", [0, -1, 101, float("nan")])
def test_a_thickness_that_a_block_has(thickness):
    with pytest.raises(InputError) as raised:
        made(thickness_mm=thickness, depth_mm=0.5)
    assert raised.value.fields == ("thickness_mm",)


def test_what_is_declared_holds_for_the_laser_only():
    for words in ("PVC", "who knows: unknown", "…"):
        with pytest.raises(RefusedError):
            made(declared=words)
        assert made(cutter="u-1", declared=words).declared == words


def test_limits_at_the_face():
    """By hand: the material's minimum times the cutter's factor, plus what is lost on both sides."""
    setup_ = made("cherry", "laser-fine")
    stuff, tool = setup_.material, setup_.cutter
    assert setup_.face_limits.land_along_mm == pytest.approx(
        stuff.land_along_mm * tool.land_factor + 2 * tool.edge_loss_mm
    )
    assert setup_.face_limits.land_across_mm >= setup_.face_limits.land_along_mm
    assert setup_.face_limits.cut_mm == max(stuff.cut_mm, tool.smallest_cut_mm)
    assert made("cherry", "laser-fine", grain_deg=30.0).limits.grain_deg == 30


def test_limits_grow_where_the_foot_needs_it():
    """A foot that must be 5 mm wide and gains nothing from an upright wall asks for 5 mm at the face."""
    setup_ = made("cherry", "flat-1")
    broad = dataclasses.replace(setup_, material=dataclasses.replace(setup_.material, foot_mm=5.0))
    assert broad.wall.foot_gain_mm == pytest.approx(0, abs=1e-9)
    assert broad.limits.land_along_mm == broad.limits.dot_mm == 5
    assert broad.limits.land_across_mm == pytest.approx(5 * 0.6 / 0.3)  # as much more as its land needs there
    assert broad.face_limits == setup_.face_limits


def test_a_job_is_its_setup_on_a_block():
    setup_, block = made(), cases.block()
    job = setup_.on(block)
    assert isinstance(job, Job)
    assert job.block is block
    assert all(getattr(job, spec.name) is getattr(setup_, spec.name) for spec in dataclasses.fields(setup_))
    with pytest.raises(dataclasses.FrozenInstanceError):
        job.depth_mm = 1  # type: ignore[misc]


def test_two_machines_of_one_kind_are_told_apart_by_the_user(tmp_path):
    """Neither is dropped in silence."""
    folder = tmp_path / "machines"
    folder.mkdir()
    bed = (shipped() / "machines" / "laser-bed.toml").read_text(encoding="utf-8")
    (folder / "mine.toml").write_text(bed, encoding="utf-8")
    with pytest.raises(InputError, match="two machines of one kind"):
        setups_for(Library([tmp_path]), material="linoleum", cutter="laser-fine", machines=["laser-bed", "mine"])


@pytest.mark.parametrize(("kind", "offered"), [("laser", True), ("router", True), ("hand", False)])
def test_by_hand_is_offered_where_a_machine_is_refused_and_not_to_a_hand(monkeypatch, kind, offered):
    ban = SimpleNamespace(word="lead", why="its dust is poison")
    monkeypatch.setattr(job, "ban", lambda _text, _kind: ban)
    with pytest.raises(RefusedError) as raised:
        job._check_declared("lead sheet", SHELF.material("linoleum"), kind)
    assert ("cut it by hand" in raised.value.hint) == offered
    assert raised.value.hint.startswith("say what it is made of")
