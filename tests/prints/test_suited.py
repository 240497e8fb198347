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
from carvegen.prints.file.suited import largest_for, suited, weather_of
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


def test_a_largest_flake_that_was_set_by_hand_stays_with_other_weather(tmp_path) -> None:
    """4.0 where the face asks for 6.2; 0.5 is less than the smallest flake of heavy snow, 0.8."""
    for own, kept in ((4.0, 4.0), (0.5, 0.8)):
        begun_with = Settings(hidden=0.0, largest_mm=own, smallest_mm=0.4)
        entry = replace(read_print(begun(tmp_path / str(own), "flurry", SMALL), SHELF).motifs[0], settings=begun_with)
        assert suited(entry, "heavy", SMALL) == {"hidden": 0.0, "largest_mm": kept}
        assert weather_of(entry, SMALL) is None


def test_largest_flakes_are_made_for_the_face_but_never_smaller_than_two_millimetres() -> None:
    """7 mm on a face of 200 by 150 mm; a tenth of its sides asks for 0.7."""
    assert largest_for("flurry", (100.0, 75.0)) == {"largest_mm": 3.5}
    assert largest_for("flurry", (20.0, 15.0)) == {"largest_mm": 2.0}


def test_what_hides_flakes_stays_unless_the_weather_names_it_and_what_a_hand_moved_shows_no_weather(
    tmp_path, monkeypatch
) -> None:
    entry = read_print(begun(tmp_path / "one", "flurry", LARGE), SHELF).motifs[0]
    by_hand = replace(entry, settings=Settings(hidden=0.3))
    assert suited(by_hand, "heavy", LARGE) == {"hidden": 0.3}
    assert weather_of(by_hand, LARGE) is None
    assert weather_of(entry, LARGE) == weather_of(replace(entry, settings=Settings()), LARGE) == "flurry"
    monkeypatch.setitem(PRESETS, "heavy", {**PRESETS["heavy"], "hidden": 0.5})
    assert suited(by_hand, "heavy", LARGE) == {}
