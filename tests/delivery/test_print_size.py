"""The face of a built print is what its file says, not what its lands reach over."""

from pathlib import Path

import pytest

import carvegen
from carvegen.blocks.comparison import face_in, lands_in
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
