"""Errors tell what, where, which value, and what to do."""

from __future__ import annotations

import pickle

import pytest

from carvegen.base.errors import CarvegenError, InputError, RefusedError


def test_each_kind_has_its_exit_code():
    assert [kind.exit_code for kind in (CarvegenError, InputError, RefusedError)] == [4, 2, 3]
    assert issubclass(InputError, CarvegenError)
    assert issubclass(RefusedError, CarvegenError)


def test_place_rule_and_value_in_one_line():
    assert str(InputError("must be a length", value="far", where="--margin")) == "--margin: must be a length, got 'far'"
    assert str(InputError("is empty")) == "is empty"
    assert str(InputError("must be more", value=0)) == "must be more, got 0"


def test_places_are_put_in_front():
    error = InputError("is text", where="<text> in line 4")
    assert error.within("jetty.svg") is error
    assert error.where == "jetty.svg: <text> in line 4"
    assert InputError("x").within("--size").where == "--size"


@pytest.mark.parametrize("kind", [CarvegenError, InputError, RefusedError])
def test_errors_survive_pickling(kind):
    error = kind("rule", value=(1, 2), where="here", hint="do this")
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is kind
    assert (str(again), again.value, again.where, again.hint) == (str(error), (1, 2), "here", "do this")


def test_a_border_names_the_fields_in_its_own_words():
    error = InputError(
        "must not be larger than {largest_mm}",
        value=9,
        field="smallest_mm",
        hint="see {snow} {}",
        names=("largest_mm", "snow"),
    )
    assert str(error) == "smallest_mm: must not be larger than largest_mm, got 9"
    assert error.hint == "see snow {}"  # braces that name no field stay: they may be somebody's words
    again = pickle.loads(pickle.dumps(error)).named(str.upper).within("a.toml")
    assert str(again) == "a.toml: SMALLEST_MM: must not be larger than LARGEST_MM, got 9"
    assert again.hint == "see SNOW {}"
    assert str(again.named(str.lower)) == str(again)


def test_several_fields_are_wrong_together():
    assert str(InputError("must be more", field=("far", "near"))) == "far, near: must be more"
