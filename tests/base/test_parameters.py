"""One declaration of a setting serves its range, its option and its help."""

from __future__ import annotations

import dataclasses
import math
import re
from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from carvegen.base.errors import InputError
from carvegen.base.parameters import (
    angle,
    check_all,
    flag,
    length,
    parameters,
    share,
)
from carvegen.interfaces.cli.options.option_values import option_of
from carvegen.motifs import motif, summaries

MOTIFS = sorted(summaries())
SETTINGS = [(name, parameter) for name in MOTIFS for parameter in parameters(motif(name).Settings)]


@dataclass(frozen=True, kw_only=True)
class Lamp:
    glow_mm: float = length(3.0, help="how far it shines", at_least=0.5, at_most=50)
    tilt_deg: float = angle(10.0, help="its lean")
    lit: float = share(0.4, at_most=0.9, help="share of the night")
    swings: bool = flag(True, help="whether the wind moves it")
    plain: int = 7

    def __post_init__(self) -> None:
        check_all(self)


def test_what_is_declared_is_known():
    known = {parameter.name: parameter for parameter in parameters(Lamp)}
    assert list(known) == ["glow_mm", "tilt_deg", "lit", "swings"]
    assert list(map(option_of, known)) == ["--glow", "--tilt", "--lit", "--swings"]
    assert [value.unit for value in known.values()] == ["mm", "deg", "share", "flag"]
    assert (known["lit"].at_least, known["lit"].at_most) == (0.0, 0.9)


@pytest.mark.parametrize(
    ("name", "value"),
    [("glow_mm", 0.4), ("glow_mm", 51), ("glow_mm", math.nan), ("glow_mm", math.inf), ("tilt_deg", 181), ("lit", 0.91),
     ("lit", -0.1), ("glow_mm", "3"), ("glow_mm", None)],
)  # fmt: skip
def test_out_of_range_is_told_by_its_field(name, value):
    with pytest.raises(InputError) as raised:
        Lamp(**{name: value})
    assert raised.value.fields == (name,)


@given(st.floats(0.5, 50), st.floats(-180, 180), st.floats(0, 0.9), st.booleans())
def test_all_that_is_in_range_is_taken(glow, tilt, lit, swings):
    assert Lamp(glow_mm=glow, tilt_deg=tilt, lit=lit, swings=swings).lit == lit


@pytest.mark.parametrize(("motif_name", "setting"), SETTINGS, ids=lambda value: getattr(value, "name", value))
def test_every_motifs_settings_are_whole(motif_name, setting):
    """In range by default, a help text, a suffix that says the unit, and an option name of small letters."""
    good = setting.default in setting.among if setting.among else setting.at_least <= setting.default <= setting.at_most
    assert good
    assert len(setting.help) > 8
    assert setting.name.endswith({"mm": "_mm", "deg": "_deg"}.get(setting.unit, ""))
    assert re.fullmatch(r"--[a-z]+(-[a-z]+)*", option_of(setting.name))
    if setting.unit not in ("flag", "choice"):
        for beyond in (setting.at_least - 1e-6, setting.at_most + 1e-6, math.nan):
            with pytest.raises(InputError):
                dataclasses.replace(motif(motif_name).Settings(), **{setting.name: beyond})


@pytest.mark.parametrize("name", MOTIFS)
def test_every_preset_can_be_made(name):
    module = motif(name)
    assert module.PRESETS
    for preset, values in module.PRESETS.items():
        made = module.Settings(**values)
        assert all(getattr(made, key) == value for key, value in values.items()), preset
