"""Register methods: common practice, no source."""

from __future__ import annotations

from carvegen.facts.register import METHODS


def test_methods_repeat_within_what_the_trade_says():
    """Common practice, no source: notches 0.2-0.5 mm, pins 0.1-0.25 mm, by eye 0.5-1.0 mm."""
    spans = {"stops": (0.2, 0.5), "pins": (0.1, 0.25), "crosses": (0.5, 1.0)}
    assert spans.keys() == METHODS.keys()
    for name, (low, high) in spans.items():
        assert low <= METHODS[name].tolerance_mm <= high
