"""Where what has grown is kept: never over a file of another motif, or over anything else that lies there."""

from __future__ import annotations

import pytest

from carvegen.prints.keeping import _free_file, _inside


def test_a_motif_is_kept_in_a_file_of_its_own(tmp_path) -> None:
    first = _free_file(tmp_path, "Near flakes", set(), b"new")
    second = _free_file(tmp_path, "Near flakes", {first}, b"new")
    assert first != second
    assert _free_file(tmp_path, "Near flakes", {first, second}, b"new") not in {first, second}


def test_what_lies_there_is_kept_and_what_a_killed_run_left_is_taken_up(tmp_path) -> None:
    first = _free_file(tmp_path, "posts", set(), b"new")
    (tmp_path / first).parent.mkdir()
    (tmp_path / first).write_bytes(b"new")
    assert _free_file(tmp_path, "posts", set(), b"new") == first
    (tmp_path / first).write_bytes(b"hers")
    assert _free_file(tmp_path, "posts", set(), b"new") != first


@pytest.mark.parametrize(
    ("name", "inside"),
    [("kept/posts.svg", True), ("posts..svg", True), ("../posts.svg", False), ("kept/../../posts.svg", False),
     ("/tmp/posts.svg", False), ("", False)],
)  # fmt: skip
def test_no_file_outside_of_the_prints_folder_is_written(name: str, inside: bool) -> None:
    assert _inside(name) == inside
