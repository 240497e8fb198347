"""Where what has grown is kept: never over a file of another motif, or over anything else that lies there."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from carvegen.base.errors import InputError
from carvegen.prints import keeping
from carvegen.prints.keeping import _free_file, _inside, _numbers, keep, release, released


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


TEXT = """[print]
name = "post"

[[motifs]]
motif = "snowfall"
name = "near flakes"
kept = "kept/near-flakes.svg"
marks_grew_by = ["one"]

[[motifs]]
motif = "snowload"
kept = "kept/caps.svg"
"""
WITHOUT = TEXT.replace('marks_grew_by = ["one"]\n', "").replace('kept = "kept/near-flakes.svg"\n', "")


def kept_print(folder) -> Any:
    (folder / "print.toml").write_text(TEXT, encoding="utf-8")
    motifs = [
        SimpleNamespace(name="near flakes", called="near flakes", grows=True, kept="kept/near-flakes.svg"),
        SimpleNamespace(name="snowload 1", called="lying snow 1", grows=True, kept="kept/caps.svg"),
        SimpleNamespace(name="grain 1", called="grain 1", grows=True, kept=""),
    ]
    return SimpleNamespace(path=folder / "print.toml", motifs=motifs, place=lambda key: key)


def test_a_motif_that_is_let_go_leaves_the_print_file_and_no_other_does(tmp_path) -> None:
    each = kept_print(tmp_path)
    assert released(each, ["Near flakes"]).decode() == WITHOUT
    assert each.path.read_text(encoding="utf-8") == TEXT
    assert [(one.name, one.file) for one in release(each, ["Near flakes"])] == [("near flakes", "kept/near-flakes.svg")]
    assert each.path.read_text(encoding="utf-8") == WITHOUT


def test_all_that_are_kept_are_let_go_where_none_is_named(tmp_path) -> None:
    each = kept_print(tmp_path)
    assert [one.name for one in release(each, [])] == ["near flakes", "lying snow 1"]
    assert "kept" not in each.path.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("names", "said"), [(["grain 1"], "grain 1: not kept"), (["far flakes"], "must be a motif of this print")]
)
def test_what_is_not_kept_is_not_let_go(names: list[str], said: str, tmp_path) -> None:
    each = kept_print(tmp_path)
    with pytest.raises(InputError, match=said):
        release(each, names)
    assert each.path.read_text(encoding="utf-8") == TEXT


@pytest.mark.parametrize(("name", "place"), [("falling snow 2", 1), ("snowfall 2", 1), ("lying snow 1", 0)])
def test_motifs_are_known_by_what_notes_call_them_too(name: str, place: int, tmp_path) -> None:
    motifs = [SimpleNamespace(name="snowload 1", called="lying snow 1")]
    motifs += [SimpleNamespace(name="snowfall 2", called="falling snow 2")]
    print_: Any = SimpleNamespace(motifs=motifs, path=tmp_path / "print.toml")
    assert _numbers(print_, [name]) == [place]


def test_a_print_none_of_whose_motifs_is_kept_says_so(tmp_path) -> None:
    each = kept_print(tmp_path)
    each.motifs = each.motifs[2:]
    with pytest.raises(InputError, match="none of its motifs is kept"):
        release(each, [])


def test_a_print_without_motifs_keeps_and_lets_go_of_nothing(tmp_path) -> None:
    each = kept_print(tmp_path)
    each.motifs = []
    for names in ([], ["near flakes"]):
        with pytest.raises(InputError, match="has no motif"):
            keeping._numbers(each, names)


@pytest.mark.parametrize(
    ("before", "after"), [("kept/caps.svg", "kept/caps.svg"), ("../caps.svg", "kept/snowload-1.svg")]
)
def test_a_motif_is_kept_again_where_it_was_if_that_is_inside_the_folder(before, after, tmp_path, monkeypatch) -> None:
    each = kept_print(tmp_path)
    each.motifs[1].kept = before
    monkeypatch.setattr(keeping, "_file_of", lambda _, grown: f"<svg>{grown.motif.name}</svg>")
    grown: Any = [SimpleNamespace(motif=motif) for motif in each.motifs]
    kept, files = keeping.kept_files(each, grown, ["snowload 1"])
    assert kept == {"snowload 1": after}
    assert files[after] == b"<svg>snowload 1</svg>"
    assert f'kept = "{after}"' in (files["print.toml"] or b"").decode()


def test_what_is_let_go_grows_again_whatever_its_weather_was_and_no_other_does(tmp_path) -> None:
    each = kept_print(tmp_path)
    text = TEXT.replace('motif = "snow', 'grows = false\nmotif = "snow')
    each.path.write_text(text, encoding="utf-8")
    after = released(each, ["Near flakes"]).decode()
    first, second = after.split("[[motifs]]")[1:]
    assert ("grows" in first, "kept" in first) == (False, False)
    assert ("grows = false" in second, "kept = " in second) == (True, True)


def test_where_nothing_grows_nothing_is_kept_and_nothing_is_to_be_taken_back(tmp_path) -> None:
    each = kept_print(tmp_path)
    for motif in each.motifs:
        motif.grows, motif.kept = False, ""
    with pytest.raises(InputError, match="none of its motifs grows"):
        keep(each, [], [])
    with pytest.raises(InputError, match="there is nothing of it to keep") as refused:
        keep(each, [], ["lying snow 1"])
    assert (refused.value.value, refused.value.where) == ("lying snow 1", "motifs[1].grows")
    assert "grows = false" in refused.value.hint
    assert [path.name for path in tmp_path.iterdir()] == ["print.toml"]
    assert each.path.read_text(encoding="utf-8") == TEXT
