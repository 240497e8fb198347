"""How far a piece of work is: shares of parts within parts, and how seldom it is told."""

from __future__ import annotations

import pytest

from carvegen.base.progress import Stages, TimeLeft, each_part, halves, heard, part, reached


def told(work):
    shares: list[float] = []
    with heard(shares.append):
        work()
    return shares


def test_a_share_of_a_part_of_a_part_is_told_as_a_share_of_all():
    def work():
        first, second = each_part([1, 3])
        with first:
            reached(0.5)
        with second, part(0.5, 1):
            reached(0)
            reached(0.5)

    assert told(work) == pytest.approx([0.125, 0.25, 0.625, 0.8125, 1, 1])


def test_parts_of_no_weight_are_alike():
    def work():
        for one in each_part([0, 0]):
            with one:
                reached(0.5)

    assert told(work) == [0.25, 0.5, 0.75, 1]
    assert list(each_part([])) == []


def test_of_tries_each_is_half_of_what_is_left():
    def work():
        tries = halves()
        for _ in range(3):
            with next(tries):
                pass

    assert told(work) == [0.5, 0.75, 0.875]


def test_where_nobody_listens_nothing_is_told():
    def work():
        with heard(None), part(0, 1):
            reached(0.5)

    assert told(work) == []
    reached(0.5)


class Time:
    def __init__(self):
        self.now, self.said = 0.0, []
        self.stages = Stages(self.said.append, clock=lambda: self.now)

    def at(self, now, share):
        self.now = now
        self.stages.hear(share)


def test_what_takes_long_tells_its_share_and_the_time_left():
    """By hand: 3 s for 0.3 are 7 s for the rest."""
    time = Time()
    time.stages("snowing")
    time.at(3.0, 0.3)
    assert time.said == ["snowing", "snowing: 30 % done, about 7 s to go"]
    assert [isinstance(line, TimeLeft) for line in time.said] == [False, True]


def test_nothing_is_told_in_the_first_two_seconds_of_a_stage_nor_of_too_little_nor_at_the_end():
    time = Time()
    time.at(9.0, 0.5)  # no stage has begun
    time.stages("snowing")
    time.at(10.9, 0.5)
    time.stages("checking")
    time.at(12.8, 0.5)
    time.at(99.0, 1.0)
    time.stages("writing")
    time.at(199.0, 0.04)
    assert time.said == ["snowing", "checking", "writing"]


def test_it_is_told_ever_more_seldom_and_never_backwards():
    time = Time()
    time.stages("snowing")
    for tenth in range(1, 1000):
        time.at(tenth / 10, 0.5 if tenth == 300 else tenth / 1000)
    shares = [int(line.split()[1]) for line in time.said[1:]]
    assert shares == [5, 10, 20, 50, 70]
    assert shares == sorted(shares)


def test_a_stage_of_which_nothing_is_said_is_told_only_once_it_takes_long():
    time = Time()
    time.stages.begin("checking")
    time.at(1.0, 0.5)
    assert time.said == []
    time.at(4.0, 0.5)
    assert time.said == ["checking: 50 % done, about 4 s to go"]
