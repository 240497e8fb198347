"""Other weather leaves what was set for the face and the drawing: on the page as in a new print."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from types import SimpleNamespace

import pytest

from carvegen.interfaces.page.gestures import Weather
from carvegen.interfaces.page.table.doing import planned
from carvegen.motifs.snowfall import PRESETS, Settings
from carvegen.prints.file.print_file import read_print
from carvegen.prints.file.suited import suited, weather_of
from carvegen.writers.whole_print.new_print import print_files
from tests.cases import SHELF, layer, small_print

SMALL, LARGE = (180.0, 130.0), (200.0, 150.0)


def begun(folder, preset: str, size: tuple[float, float], **settings: float):
    """The print file of a new print with falling snow."""
    blocks = [{"name": "key", "role": "background", "ink": "#22354a", "layers": ["*"], "material": "linoleum",
               "cutter": "v-60", "for": ["hand"]}]  # fmt: skip
    motifs = [{"motif": "snowfall", "preset": preset, "settings": {"hidden": 0.0, **settings}}]
    folder.mkdir()
    for name, text in print_files("post", {}, size, blocks=blocks, motifs=motifs).items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder / "print.toml"


@pytest.mark.parametrize("size", [SMALL, LARGE])
@pytest.mark.parametrize("preset", ["heavy", "squall"])
def test_other_weather_is_written_as_a_new_print_begins_with_it(tmp_path, size, preset) -> None:
    path, as_new = begun(tmp_path / "one", "flurry", size), begun(tmp_path / "other", preset, size)
    print_ = read_print(path, SHELF)
    desk = SimpleNamespace(print_=print_, size=size, motif_called=lambda _: 0)
    after = tomllib.loads(planned(Weather(motif="snowfall 1", preset=preset, settings={}), desk).change.text[1])
    assert after["motifs"] == tomllib.loads(as_new.read_text(encoding="utf-8"))["motifs"]
    assert after["motifs"][0]["settings"]["hidden"] == 0.0
    assert ("largest_mm" in after["motifs"][0]["settings"]) == (size == SMALL)
    assert weather_of(read_print(as_new, SHELF).motifs[0], size) == preset


def test_what_a_hand_has_set_goes_with_its_weather(tmp_path) -> None:
    """Only what the face and the drawing ask for stays; and what was never set is not set by a choice."""
    entry = read_print(begun(tmp_path / "one", "flurry", SMALL, wind=0.5), SHELF).motifs[0]
    assert weather_of(entry, SMALL) is None
    assert suited(entry, "heavy", SMALL) == {"hidden": 0.0, "largest_mm": 6.2}
    plain = replace(entry, settings=Settings())
    assert suited(plain, "heavy", SMALL) == {}
    assert weather_of(replace(entry, settings=Settings(**PRESETS["heavy"]), preset="heavy"), SMALL) == "heavy"
    lying = tmp_path / "lying.toml"
    text = small_print(layer("A", "box 5 0 8 20"), blocks={"key": ["A"]},
                       after='[[motifs]]\nmotif = "snowload"\non = ["A"]\npreset = "wet"\n')  # fmt: skip
    lying.write_text(text, encoding="utf-8")
    assert suited(read_print(lying, SHELF).motifs[0], "deep", SMALL) == {}
    assert weather_of(read_print(lying, SHELF).motifs[0], SMALL) == "wet"
