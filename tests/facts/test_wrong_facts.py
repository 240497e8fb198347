"""Facts are held: wrong ones, put into a copy one at a time, are all noticed."""

from __future__ import annotations

import shutil

import pytest

from tests.held import ROOT, mismatches

F, M = "profiles/facts.toml", "profiles/materials"
ASK = 'verdict = "ask"'

#: File, what it says, what is wrong.
WRONG = [
    (F, "value = 50, unit", "value = 500, unit"),  # carbon monoxide, OSHA
    (F, "value = 200, unit", "value = 2000, unit"),
    (F, "value = 0.75, unit", "value = 7.5, unit"),  # formaldehyde
    (F, "hcl-ceiling              = { value = 5", "hcl-ceiling              = { value = 50"),
    (F, "value = 0.5, unit", "value = 5, unit"),  # class 4
    (F, "laser-open-class         = { value = 4", "laser-open-class         = { value = 3"),
    (F, "wood-dust-gb-hardwood    = { value = 3", "wood-dust-gb-hardwood    = { value = 30"),
    (F, "noise-niosh              = { value = 85", "noise-niosh              = { value = 105"),
    (F, 'source = "eh40"', 'source = "eu-2004-37"'),  # a right number with a wrong source
    (f"{M}/linoleum.toml", "floor_mm         = { value = 0.8", "floor_mm         = { value = 0.1"),
    ("profiles/chip-loads.toml", "most_mm  = [0.03, 0.1778", "most_mm  = [0.3, 0.1778"),
    ("profiles/chip-loads.toml", "0.1778, 0.381]", "0.1778, 0.831]"),  # MDF at 1/4 in
    ("profiles/machines/laser-bed.toml", "value = 15,", "value = 150,"),  # pace
    ("profiles/machines/laser-bed.toml", "value = 6,", "value = 19,"),  # how thick it cuts through
    ("profiles/cutters/laser-fine.toml", "value = 0.15,", "value = 0.01,"),  # kerf at the bottom
    ("profiles/cutters/laser-fine.toml", "edge_loss_mm      = { value = 0.1", "edge_loss_mm      = { value = 0"),
    ("profiles/machines/router-bed.toml", "value = 24000", "value = 60000"),
    ("carvegen/blocks/embossing/paper_strain.py", "2 * how.sheet_mm", "4 * how.sheet_mm"),  # what the strain allows for
    ("carvegen/facts/register.py", "play_mm=0.05", "play_mm=0.005"),
    ("carvegen/facts/register.py", '"plywood": 0.0006', '"plywood": 0.00006'),
    ("carvegen/blocks/embossing/pressing.py", "bevel_deg: float = 45.0", "bevel_deg: float = 10.0"),
    (f"{M}/linoleum.toml", ASK, 'verdict = "yes"'),
    (f"{M}/mdf.toml", ASK, 'verdict = "yes"'),
    (f"{M}/cherry.toml", "fast_cm2_min = { value = 6.5", "fast_cm2_min = { value = 65"),
    (f"{M}/maple-end-grain.toml", "fast_cm2_min = { value = 1.5", "fast_cm2_min = { value = 15"),
    (f"{M}/vinyl-soft.toml", "land_along_mm    = { value = 0.8", "land_along_mm    = { value = 0.2"),
    ("carvegen/blocks/embossing/pressing.py", "_PAPER_G_CM3 = 0.55", "_PAPER_G_CM3 = 0.95"),
    ("carvegen/blocks/embossing/pressing.py", "(0.10, 0.15)", "(0.20, 0.30)"),
    ("carvegen/facts/printing.py", "indentation_mm: float = length(0.3", "indentation_mm: float = length(0.03"),
    (f"{M}/embossing-polycarbonate.toml", 'verdict = "never"', 'verdict = "yes"'),
    (f"{M}/cherry.toml", 'source = "our own choice"', 'source = "common practice, no source"'),
]


def test_facts_are_as_they_are_stated_anew() -> None:
    assert list(mismatches()) == []


@pytest.mark.parametrize(("path", "right", "wrong"), WRONG, ids=[f"{path}: {wrong}" for path, _, wrong in WRONG])
def test_a_wrong_fact_is_noticed(path, right, wrong, copied) -> None:
    text = (copied / path).read_text(encoding="utf-8")
    assert right in text
    (copied / path).write_text(text.replace(right, wrong, 1), encoding="utf-8")
    noticed = any(mismatches(copied))
    (copied / path).write_text(text, encoding="utf-8")
    assert noticed


@pytest.fixture(scope="module")
def copied(tmp_path_factory):
    """A copy of what holds facts; each test puts back what it changes."""
    tmp_path = tmp_path_factory.mktemp("facts")
    shutil.copytree(ROOT / "profiles", tmp_path / "profiles")
    for name in (
        "blocks/embossing/pressing.py",
        "blocks/embossing/paper_strain.py",
        "facts/register.py",
        "facts/printing.py",
    ):
        (tmp_path / "carvegen" / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(ROOT / "carvegen" / name, tmp_path / "carvegen" / name)
    return tmp_path
