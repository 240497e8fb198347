"""The face of a built print is what its file says, not what its lands reach over."""

from pathlib import Path

import pytest

import carvegen
from carvegen.blocks.comparison import face_in, lands_in, stencils_in
from carvegen.delivery import block_folder
from tests.cases import layer, small_print


@pytest.fixture
def built(tmp_path) -> Path:
    text = small_print(layer("POST", "box 5 2 8 20"), blocks={"key": ["POST"]}, size=(40, 30))
    (tmp_path / "print.toml").write_text(text, encoding="utf-8")
    carvegen.build(tmp_path / "print.toml", tmp_path / "built")
    return tmp_path / "built"


def test_a_post_alone_stands_on_the_whole_face(built):
    lands = lands_in(built)
    assert face_in(built, lands.values()) == (40, 30)
    (built / "report.json").write_text("{}", encoding="utf-8")  # as an older build has it
    assert face_in(built, lands.values()) == (13, 22)


@pytest.mark.parametrize("role", ["stencil", "key"])
def test_a_build_says_which_blocks_are_stencils(tmp_path, role):
    text = small_print(layer("POST", "box 5 2 8 20"), blocks={"key": ["POST"]}, size=(40, 30))
    assert 'role = "key"' in text
    (tmp_path / "print.toml").write_text(text.replace('role = "key"', f'role = "{role}"'), encoding="utf-8")
    carvegen.build(tmp_path / "print.toml", tmp_path / "built")
    assert stencils_in(tmp_path / "built") == ({"key"} if role == "stencil" else set())


@pytest.mark.parametrize("text", ["", "{}", "[" * 100_000, '{"size_mm": 3, "stencils": 3}'])
def test_a_report_that_tells_nothing_is_no_traceback(tmp_path, built, text):
    lands = lands_in(built)
    (built / "report.json").write_text(text, encoding="utf-8")
    assert face_in(built, lands.values()) == (13, 22)
    assert stencils_in(built) is None


@pytest.mark.parametrize("mend", [False, True])
def test_a_print_says_what_mending_left_where_it_was_to_be_mended(tmp_path, mend):
    """Mending has nothing to change on a post alone: whether it was asked for is what counts."""
    text = small_print(layer("POST", "box 5 2 8 20"), blocks={"key": ["POST"]}, size=(40, 30))
    text = text.replace("for = [", f"mend = {str(mend).lower()}\nfor = [")
    (tmp_path / "print.toml").write_text(text, encoding="utf-8")
    asked = []
    with pytest.MonkeyPatch.context() as patch:
        left = block_folder.left_over
        patch.setattr(block_folder, "left_over", lambda report: asked.append(report) or left(report))
        carvegen.build(tmp_path / "print.toml", tmp_path / "built")
    assert bool(asked) == mend
