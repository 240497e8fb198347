"""Undo: whatever a command changed in a print's own files comes back, even if it was killed halfway."""

from __future__ import annotations

import pytest

from carvegen.base.errors import InputError
from carvegen.marking import journal
from carvegen.marking.journal import FOLDER, changed, undo

BEFORE = {"print.toml": "[print]\n", "kept/one.svg": "old"}
AFTER = {"print.toml": b"[print] # kept\n", "kept/one.svg": b"new", "kept/two.svg": b"\xff also new"}


class Killed(BaseException):
    pass


def files(folder) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and FOLDER not in path.parts
    }


@pytest.fixture
def folder(tmp_path):
    for name, text in BEFORE.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text)
    return tmp_path


def test_step_by_step_back(folder):
    first = files(folder)
    changed(folder, "keep", AFTER, last="print.toml")
    second = files(folder)
    changed(folder, "keep --release", {"print.toml": b"[print]\n", "kept/one.svg": None})
    changed(folder, "nothing", {"print.toml": b"[print]\n"})  # as it is: no step
    done = undo(folder, "print.toml")
    assert (done.what, done.back, done.away, done.more) == (
        "keep --release", ("print.toml", "kept/one.svg"), (), 1,
    )  # fmt: skip
    assert files(folder) == second
    assert undo(folder, "print.toml").away == ("kept/two.svg",)
    assert files(folder) == first
    with pytest.raises(InputError, match="nothing to undo"):
        undo(folder, "print.toml")


def test_what_was_edited_since_is_laid_beside(folder):
    changed(folder, "keep", AFTER, last="print.toml")
    (folder / "kept/one.svg").write_text("mine")
    assert undo(folder, "print.toml").beside == {"kept/one.svg": "kept/one.yours.svg"}
    assert files(folder) == {name: text.encode() for name, text in BEFORE.items()} | {"kept/one.yours.svg": b"mine"}


def test_whatever_was_edited_keeps_its_bytes(folder):
    changed(folder, "keep", AFTER, last="print.toml")
    mine = b"a = 1\r\n\xe9 \x1b[0m\r\n"
    (folder / "print.toml").write_bytes(mine)
    (beside,) = undo(folder, "print.toml").beside.values()
    assert (folder / beside).read_bytes() == mine


def test_a_step_of_another_print_beside_it_is_left_alone(folder):
    changed(folder, "keep", AFTER, last="print.toml")
    changed(folder, "keep other", {"other.toml": b"[print]"}, last="other.toml")
    assert undo(folder, "print.toml").what == "keep"
    assert (folder / "other.toml").is_file()
    with pytest.raises(InputError, match="nothing to undo"):
        undo(folder, "print.toml")
    assert undo(folder, "other.toml").what == "keep other"


@pytest.mark.parametrize("at", range(4))
def test_killed_at_any_write_it_can_be_undone(folder, monkeypatch, at):
    save, count = journal.save_file, iter(range(100))

    def dying(path, data) -> None:
        if next(count) == at:
            raise Killed
        save(path, data)

    first = files(folder)
    monkeypatch.setattr(journal, "save_file", dying)
    with pytest.raises(Killed):
        changed(folder, "keep", AFTER, last="print.toml")
    now = files(folder)
    assert all(text in (first.get(name), AFTER[name]) for name, text in now.items())
    assert now["print.toml"] == first["print.toml"]  # the last
    monkeypatch.undo()
    if at:
        undo(folder, "print.toml")
    assert files(folder) == first


def test_killed_while_it_undoes_it_is_undone_by_the_next(folder, monkeypatch):
    first = files(folder)
    changed(folder, "keep", AFTER, last="print.toml")
    put, count = journal._put, iter(range(100))

    def dying(path, text) -> None:
        if next(count) == 1:
            raise Killed
        put(path, text)

    monkeypatch.setattr(journal, "_put", dying)
    with pytest.raises(Killed):
        undo(folder, "print.toml")
    monkeypatch.undo()
    undo(folder, "print.toml")
    assert files(folder) == first


def test_the_journal_is_bounded(folder, monkeypatch):
    monkeypatch.setattr(journal, "_MOST", 3)
    for k in range(6):
        changed(folder, f"keep {k}", {"kept/one.svg": str(k).encode()})
    assert len(list((folder / FOLDER).iterdir())) == 3
    assert [undo(folder, "kept/one.svg").what for _ in range(3)] == ["keep 5", "keep 4", "keep 3"]
    assert (folder / "kept/one.svg").read_text() == "2"


@pytest.mark.parametrize(
    "text",
    [
        "{",
        '{"format": 1, "what": "keep", "before": {"print.toml": 3}, "after": {"print.toml": 4}}',
        '{"format": 1, "what": "keep", "before": {"../../mine": "x"}, "after": {"../../mine": "y"}}',
        "[]",
    ],
)
def test_a_damaged_step_is_told(folder, text):
    changed(folder, "keep", AFTER)
    step = next((folder / FOLDER).iterdir())
    step.write_text(text)
    with pytest.raises(InputError, match="can't be read") as refused:
        undo(folder, "print.toml")
    assert step.name in str(refused.value)
