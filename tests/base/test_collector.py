"""Python's collector rests for a while, and looks again afterwards."""

import gc

import pytest

from carvegen.base.collector import collector_at_rest


def _at_work(*, was_on: bool) -> tuple[bool, bool]:
    """Whether the collector is on inside and afterwards, if it was before."""
    (gc.enable if was_on else gc.disable)()
    with collector_at_rest():
        inside = gc.isenabled()
    return inside, gc.isenabled()


def test_the_collector_rests_and_is_left_as_it_was() -> None:
    was_on = gc.isenabled()
    try:
        assert _at_work(was_on=True) == (False, True)
        assert _at_work(was_on=False) == (False, False)
        gc.enable()
        with pytest.raises(ValueError, match="broken off"), collector_at_rest():
            raise ValueError("broken off")
        assert gc.isenabled()
    finally:
        (gc.enable if was_on else gc.disable)()
