"""Writing: a whole folder or nothing, whatever goes wrong and when."""

from __future__ import annotations

import errno
import os
import shutil
import stat
import threading
from pathlib import Path

import pytest

from carvegen.base import files
from carvegen.base.errors import InputError
from carvegen.base.files import (
    save_file,
    settled,
    staged_folder,
    write_file,
)
from tests.robustness.renames import killed_at
from tests.strategies import MANY

OWNED = frozenset({"proof.svg", "laser/block.svg", "laser/note.md", "hand/note.md"})


def deliver(target: Path, words: str, names=("proof.svg", "laser/block.svg", "laser/note.md")) -> None:
    with staged_folder(target, owned=OWNED) as stage:
        for name in names:
            write_file(stage / name, f"{words} {name}")


def tree(folder: Path) -> dict[str, str]:
    return {path.relative_to(folder).as_posix(): path.read_text() for path in folder.rglob("*") if path.is_file()}


def test_files_come_into_a_new_folder_with_its_parents(tmp_path):
    deliver(tmp_path / "winter" / "sky", "first")
    assert tree(tmp_path / "winter") == {
        f"sky/{name}": f"first {name}" for name in ("proof.svg", "laser/block.svg", "laser/note.md")
    }


def test_old_owned_files_go_and_others_stay(tmp_path):
    deliver(tmp_path / "sky", "first")
    (tmp_path / "sky" / "mine.txt").write_text("mine")
    deliver(tmp_path / "sky", "second", ("hand/note.md",))
    assert tree(tmp_path / "sky") == {"hand/note.md": "second hand/note.md", "mine.txt": "mine"}
    assert not (tmp_path / "sky" / "laser").exists()


def test_nothing_is_seen_before_the_end(tmp_path):
    with staged_folder(tmp_path / "sky", owned=OWNED) as stage:
        write_file(stage / "proof.svg", "x")
        assert not (tmp_path / "sky").exists()
    assert (tmp_path / "sky" / "proof.svg").read_text() == "x"


@pytest.mark.parametrize("error", [KeyboardInterrupt, MemoryError, ValueError, SystemExit])
def test_any_error_while_writing_changes_nothing(tmp_path, error):
    deliver(tmp_path / "sky", "first")
    before = tree(tmp_path)
    with pytest.raises(error), staged_folder(tmp_path / "sky", owned=OWNED) as stage:
        write_file(stage / "proof.svg", "second")
        raise error
    assert tree(tmp_path) == before
    with pytest.raises(error), staged_folder(tmp_path / "new" / "sky", owned=OWNED) as stage:
        raise error
    assert not (tmp_path / "new").exists()


#: Renames of one delivery onto an earlier one of the same names: three out of the way, three into place.
@pytest.mark.parametrize("nth", range(1, 7))
@pytest.mark.parametrize("error", [OSError(errno.EIO, "Input/output error"), KeyboardInterrupt()])
def test_any_error_while_moving_into_place_is_undone(tmp_path, monkeypatch, nth, error):
    deliver(tmp_path / "sky", "first")
    before, move, count = tree(tmp_path), Path.replace, 0

    def failing(self: Path, target: Path) -> Path:
        nonlocal count
        count += 1
        if count == nth:
            raise error
        return move(self, target)

    monkeypatch.setattr(Path, "replace", failing)
    with pytest.raises((InputError, KeyboardInterrupt)):
        deliver(tmp_path / "sky", "second", ("proof.svg", "laser/block.svg", "laser/note.md"))
    assert count >= nth
    assert tree(tmp_path) == before


def test_killed_at_any_step_and_again_while_that_is_put_right(tmp_path):
    """At every rename and removal; then at every one of what puts it right: one run's files at last, and no other."""
    out, names, new = tmp_path / "sky", ("proof.svg", "laser/block.svg"), ("proof.svg", "hand/note.md")
    deliver(out, "first", names)
    (out / "mine.txt").write_text("mine")
    shutil.copytree(tmp_path, tmp_path.with_name("kept"))
    earlier = tree(tmp_path)
    later = {"sky/mine.txt": "mine"} | {f"sky/{name}": f"second {name}" for name in new}

    def again() -> None:
        shutil.rmtree(tmp_path)
        shutil.copytree(tmp_path.with_name("kept"), tmp_path)

    def settle() -> None:
        with settled(out):
            pass

    steps = killed_at(0, lambda: deliver(out, "second", new), folder=tmp_path.parent)
    assert tree(tmp_path) == later
    assert steps > 8
    halves = 0
    for nth in range(1, steps + 1) if MANY else (steps // 3, steps):
        for second in range(1, steps + 8, 1 if MANY else 2):
            again()
            assert killed_at(nth, lambda: deliver(out, "second", new), folder=tmp_path.parent) is None
            halves += tree(out) not in (_in(earlier), _in(later))
            done = killed_at(second, settle, folder=tmp_path.parent) is not None
            settle()
            assert _in(earlier) == tree(out) or _in(later) == tree(out), (nth, second)
            if done:
                break
        assert done
        assert tree(tmp_path) in (earlier, later), nth
    assert halves > 3, "there were halves to be put right"


def _in(expected: dict[str, str]) -> dict[str, str]:
    return {name.removeprefix("sky/"): text for name, text in expected.items()}


def test_a_folder_given_as_a_dot_has_its_own_stage(tmp_path, monkeypatch):
    """Else what a killed run left for one such folder would come into its neighbour."""
    for name in ("one", "other"):
        (tmp_path / name).mkdir()
        monkeypatch.chdir(tmp_path / name)
        with staged_folder(Path(), owned=OWNED) as stage:
            assert stage.name.startswith(f".{name}-")
            write_file(stage / "proof.svg", name)
    assert tree(tmp_path) == {"one/proof.svg": "one", "other/proof.svg": "other"}


def test_a_link_to_a_folder_is_followed(tmp_path):
    (tmp_path / "far").mkdir()
    (tmp_path / "sky").symlink_to(tmp_path / "far", target_is_directory=True)
    with staged_folder(tmp_path / "sky", owned=OWNED) as stage:
        assert stage.name.startswith(".far-")
        write_file(stage / "proof.svg", "x")
    assert (tmp_path / "sky").is_symlink()
    assert (tmp_path / "far" / "proof.svg").read_text() == "x"


def test_the_folder_of_a_run_that_is_still_at_work_is_left_alone(tmp_path):
    with staged_folder(tmp_path / "sky", owned=OWNED) as first:
        write_file(first / "proof.svg", "first")
        deliver(tmp_path / "sky", "second")
        assert (first / "proof.svg").read_text() == "first"
    assert (tmp_path / "sky" / "proof.svg").read_text() == "first"


def test_a_folder_of_that_name_that_is_not_ours_is_left_alone(tmp_path):
    (tmp_path / ".sky-abcd1234").mkdir()
    (tmp_path / ".sky-abcd1234" / "mine.txt").write_text("mine")
    deliver(tmp_path / "sky", "first")
    assert (tmp_path / ".sky-abcd1234" / "mine.txt").read_text() == "mine"


def test_a_folder_of_a_files_name_stops_it_before_anything_moves(tmp_path):
    deliver(tmp_path / "sky", "first")
    (tmp_path / "sky" / "hand" / "note.md").mkdir(parents=True)
    before = tree(tmp_path)
    with pytest.raises(InputError, match="can't be written"):
        deliver(tmp_path / "sky", "second")
    assert tree(tmp_path) == before


def test_runs_at_once_publish_one_after_the_other(tmp_path):
    """Eight writers into one folder: at the end all files are of the same one."""
    names = [f"laser/{k}.svg" for k in range(20)]
    writers = [threading.Thread(target=deliver, args=(tmp_path / "sky", f"run {k}", names)) for k in range(8)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    assert len({text.rpartition(" ")[0] for text in tree(tmp_path / "sky").values()}) == 1
    assert [path.name for path in tmp_path.iterdir()] == ["sky"]


def test_a_file_gets_the_usual_permissions(tmp_path):
    """0666 without what the mask takes away (POSIX open(2), umask(2)), though it was made for its owner only."""
    before = os.umask(0o027)
    try:
        write_file(tmp_path / "a.svg", "x")
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "a.svg").stat().st_mode) == 0o640


def test_text_has_line_feeds_and_utf_8_everywhere(tmp_path):
    write_file(tmp_path / "a.md", "½ × …\n")
    assert (tmp_path / "a.md").read_bytes() == b"\xc2\xbd \xc3\x97 \xe2\x80\xa6\n"


def test_a_failing_write_leaves_the_old_file_and_no_other(tmp_path, monkeypatch):
    save_file(tmp_path / "a.svg", "first")

    def full(_from: object, _to: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(files.os, "replace", full)
    with pytest.raises(InputError, match=os.strerror(errno.ENOSPC)):
        save_file(tmp_path / "a.svg", "second")
    assert tree(tmp_path) == {"a.svg": "first"}


def test_only_one_module_opens_files_for_writing():
    """The promise in `carvegen.base.files`: nobody else writes."""
    home = Path(files.__file__).parents[1]
    writing = (".write_text(", ".write_bytes(", 'open("w', "tempfile", ".saveas(")
    for path in sorted(home.rglob("*.py")):
        if path != Path(files.__file__):
            assert not [word for word in writing if word in path.read_text(encoding="utf-8")], path
