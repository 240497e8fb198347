"""What of a build leaves the page: machine files of the print as it is now, with their note; no other file."""

from __future__ import annotations

import io
import json
import os
import zipfile
from pathlib import Path

import pytest

from carvegen.delivery.print_build import build_print
from carvegen.interfaces.page.app import Page
from carvegen.interfaces.page.work.handed_over import File, _lot, cautions, files
from carvegen.interfaces.page.work.handed_over import listed as page_list
from carvegen.interfaces.page.work.processes import BUILT
from carvegen.prints.cut_blocks import setups_of
from carvegen.prints.file.print_file import Print, read_print
from tests.cases import SHELF, layer, small_print
from tests.page.test_serving import OWN, TOKEN, asked

LASER = (("material", "linoleum"), ("cutter", "laser-fine"), ("for", "laser"))


def with_values(text: str, **values: str) -> str:
    lines = text.splitlines()
    for key, value in values.items():
        said = f'for = ["{value}"]' if key == "for" else f'{key} = "{value}"'
        lines = [said if line.startswith(f"{key} = ") else line for line in lines]
    return "\n".join(lines) + "\n"


@pytest.fixture(scope="module")
def lasered(tmp_path_factory) -> Path:
    """A print that is built for a laser."""
    path = tmp_path_factory.mktemp("lasered") / "print.toml"
    text = small_print(layer("POST", "box 5 2 8 20"), blocks={"key": ["POST"]}, size=(40, 30), seed=4)
    path.write_text(with_values(text, **dict(LASER)))
    build_print(read_print(path, SHELF), path.parent / BUILT, SHELF, say=lambda _: None)
    return path


def listed(path: Path) -> dict[str, list[str]]:
    """The names of the files by their kind."""
    result: dict[str, list[str]] = {}
    for file in files(read_print(path, SHELF), SHELF):
        result.setdefault(file.kind, []).append(file.name)
    return result


def test_files_of_a_machine_leave_together_with_their_note_and_the_name_of_the_block(lasered, tmp_path) -> None:
    page = Page(lasered, SHELF, lasered.parent, tmp_path)
    report, saved, alone, gone = asked(page, *(
        ("GET", f"/{TOKEN}/{name}", {"headers": OWN})
        for name in ("files", "file/key-laser.zip", "file/key/laser/block.svg", "file/key/laser/block.dxf")
    ))  # fmt: skip
    page.end()
    machine = [each for each in report.json()["list"] if each["kind"] == "machine"]
    assert [(one["n"], one["folder"]) for one in machine] == [("key-laser.zip", "key/laser")]
    assert "note" in machine[0]["safety"][0]
    assert machine[0]["picture"] in {item["n"] for item in report.json()["list"]}
    assert (alone.status_code, gone.status_code) == (404, 404)
    assert saved.headers["content-disposition"].endswith("key-laser.zip")
    archive = zipfile.ZipFile(io.BytesIO(saved.content))
    names = archive.namelist()
    assert {"key-laser/note.md", "key-laser/block.svg", "key-laser/block.dxf"} <= set(names)
    built = lasered.parent / BUILT / "key" / "laser"
    assert all(archive.read(name) == (built / name.rpartition("/")[2]).read_bytes() for name in names)


def test_what_is_counted_is_what_lies_in_the_folder_and_that_is_named(lasered, tmp_path) -> None:
    page = Page(lasered, SHELF, lasered.parent, tmp_path)
    (told,) = (answer.json() for answer in asked(page, ("GET", f"/{TOKEN}/files", {"headers": OWN})))
    page.end()
    there = sum(name[0] != "." for _, _, names in os.walk(lasered.parent / BUILT) for name in names)
    assert told["count"] == there > len(told["list"]), "a machine's are listed together"
    assert told["folder"] == f"{lasered.parent.name}/{BUILT}"


def test_files_lie_in_the_order_in_which_she_needs_them(lasered) -> None:
    """The print first, a machine's after it with their note, what is for programs last."""
    report = page_list(files(read_print(lasered, SHELF), SHELF))
    names = [each["n"] for each in report]
    assert names[:2] == ["print.png", "proof.html"]
    programs = [name for name in names if name.endswith(".json")]
    assert "report.json" in programs
    assert names[-len(programs) :] == programs
    lots = {each["n"]: each["lot"] for each in report}
    by_hand = File(paths=(), name="key/hand/guide.pdf", folder="key/hand", what="", kind="print")
    assert _lot(by_hand) == "carve"
    assert [lots[name] for name in ("key-laser.zip", "key/laser/note.md", "register/boards.pdf", "key/proof.png")] == [
        "machine", "machine", "lay", "more"
    ]  # fmt: skip
    order = [each["lot"] for each in report]
    assert order == sorted(order, key=("look", "carve", "machine", "lay", "more", "report").index)


@pytest.mark.parametrize(
    "values",
    [
        {"material": "embossing-hdpe", "for": "hand", "cutter": "v-60"},  # a laser must never meet it
        {"seed": "5"},
    ],
)
def test_files_for_a_machine_are_withheld_once_the_print_is_another(lasered, values) -> None:
    text = lasered.read_text()
    try:
        seed = values.get("seed")
        lasered.write_text(text.replace("seed = 4", f"seed = {seed}") if seed else with_values(text, **values))
        result = files(read_print(lasered, SHELF), SHELF)
        assert result
        assert not [each.name for each in result if each.kind == "machine"]
        assert not [
            one.name for one in result if one.name.startswith("key/laser/") and one.name.endswith(("svg", "dxf"))
        ]
        assert all(item.safety[0].startswith("older than the print: ") for item in result)
    finally:
        lasered.write_text(text)
    assert listed(lasered)["machine"] == ["key-laser.zip"]


def test_a_machine_file_that_was_changed_is_withheld(lasered) -> None:
    file = lasered.parent / BUILT / "key" / "laser" / "block.svg"
    was = file.read_bytes()
    file.write_bytes(was + b"\n")
    try:
        assert "machine" not in listed(lasered)
    finally:
        file.write_bytes(was)
    assert listed(lasered)["machine"]


def test_no_name_in_a_report_reaches_beyond_the_build(lasered) -> None:
    report = lasered.parent / BUILT / "key" / "report.json"
    was, secret = report.read_text(), lasered.parent / BUILT / "key" / "secret.png"
    secret.symlink_to("/etc/passwd")
    answer = json.loads(was)
    bad = ("../../../../../../etc/passwd", "../../print.toml", "/etc/passwd", "secret.png", "no-file.png", "C:\\x")
    answer["files"] |= dict.fromkeys(bad, "x")
    try:
        report.write_text(json.dumps(answer))
        names = [file.name for file in files(read_print(lasered, SHELF), SHELF)]
        assert "key/proof.png" in names
        assert not [name for name in names if name.endswith(("passwd", "print.toml", *bad))]
        for odd in ("[]", '{"files": [1]}', '{"files": {"a": 1}, "x": ' + "[" * 2000):
            report.write_text(odd)
            assert files(read_print(lasered, SHELF), SHELF)
    finally:
        report.write_text(was)
        secret.unlink()


def test_cautions_before_the_files_are_those_of_this_machine_and_this_material_as_in_the_built_note(lasered) -> None:
    """By the first word of each, as "Beam"; a material of another kind has others, and no other machine any."""
    note = (lasered.parent / BUILT / "key" / "laser" / "note.md").read_text(encoding="utf-8")

    def shown(text: str) -> tuple[str, set[str]]:
        (each,) = cautions(values := read_text(lasered, text), setups_of(values, SHELF))["cautions"]
        return each["machine"], {line.partition(":")[0] for line in each["lines"] if ":" in line[:20]}

    text = lasered.read_text()
    kinds = cautions(read_print(lasered, SHELF), setups_of(read_print(lasered, SHELF), SHELF))["cautions"]
    assert [each["kind"] for each in kinds] == ["laser"]
    machine, lino = shown(text)
    assert (machine, {"Beam", "Fire", "Asbestos"} <= lino) == (SHELF.machine("laser-bed").name, True)
    assert [word for word in lino if f"{word}:" not in note.replace("*", "")] == []
    assert "Asbestos" not in shown(with_values(text, material="cherry", **dict(LASER[1:])))[1]


def read_text(path: Path, text: str) -> Print:
    """A print file of other words at the same place."""
    was = path.read_text()
    try:
        path.write_text(text)
        return read_print(path, SHELF)
    finally:
        path.write_text(was)
