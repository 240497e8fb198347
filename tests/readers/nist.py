"""A strict reader of RS-274 programs by the rules of NISTIR 6556; written for the tests from the report alone.

Sections as in the report: 3.3 format of a line (words, comments, repeated items), 3.4 modal groups, 3.5 G codes,
3.6 M codes, 3.7 other codes, 3.8 order of execution.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

#: Table 4 of the report, as far as programs here may go; G4 and G53 are non-modal.
GROUPS = {
    "motion": {0, 1, 2, 3, 80}, "plane": {17, 18, 19}, "distance": {90, 91}, "feed mode": {93, 94},
    "units": {20, 21}, "radius": {40, 41, 42}, "length": {43, 49}, "zero": {54, 55, 56, 57, 58, 59}, "none": {4},
    "stopping": {1000, 1001, 1002, 1030}, "spindle": {1003, 1004, 1005},
}  # fmt: skip
WORD = re.compile(r"([A-Z])([+-]?(?:\d+\.?\d*|\.\d+))")
LONGEST = 256  #: letters of a line, 3.3


@dataclass
class Move:
    fast: bool
    start: tuple[float, float, float]
    end: tuple[float, float, float]
    feed: float
    turning: bool


@dataclass
class Control:
    """What a control knows while it reads; places in the program's own unit, from its own zero."""

    at: dict[str, float | None] = field(default_factory=lambda: dict.fromkeys("XYZ"))
    modes: dict[str, int] = field(default_factory=dict)
    feed: float = 0.0
    speed: float = 0.0
    waited: float = 0.0
    ended: bool = False
    moves: list[Move] = field(default_factory=list)
    comments: list[str] = field(default_factory=list)


def read(text: str) -> Control:
    control = Control()
    for number, line in enumerate(text.splitlines(), start=1):
        assert len(line) <= LONGEST, f"line {number} is too long"
        assert line.isascii(), f"line {number} holds letters that no control reads"
        try:
            _line(control, line)
        except AssertionError as fault:
            raise AssertionError(f"line {number}: {line}: {fault}") from None
    assert control.ended, "the program has no end"
    return control


def _line(control: Control, line: str) -> None:
    assert not control.ended, "something follows the end"
    words = _words(control, line)
    letters = [letter for letter, _ in words if letter not in "GM"]
    assert len(set(letters)) == len(letters), "a letter is repeated"
    assert sum(letter == "M" for letter, _ in words) <= 4, "more than four M words"
    value = {letter: number for letter, number in words if letter not in "GM"}
    codes = [int(number) + 1000 * (letter == "M") for letter, number in words if letter in "GM"]
    said = {}
    for code in codes:
        group = next((name for name, each in GROUPS.items() if code in each), None)
        assert group is not None, f"unknown code {code}"
        assert group not in said, f"two words of the group {group}"
        said[group] = code
    assert not ("none" in said and "motion" in said and value.keys() & set("XYZ")), "G4 with a motion that has axes"
    _do(control, said, value)


def _words(control: Control, line: str) -> list[tuple[str, float]]:
    bare = ""
    while line:
        if line[0] == "(":
            end = line.index(")")
            assert "(" not in line[1:end], "a comment in a comment"
            assert not line[1:].strip().upper().startswith("MSG,"), "a message to the operator"
            control.comments.append(line[1:end])
            line = line[end + 1 :]
        else:
            assert line[0] != ")", "a comment ends that didn't begin"
            bare, line = bare + line[0], line[1:]
    bare = bare.replace(" ", "").upper()
    result = WORD.findall(bare)
    assert "".join(letter + number for letter, number in result) == bare, "not made of words"
    return [(letter, float(number)) for letter, number in result]


def _do(control: Control, said: dict[str, int], value: dict[str, float]) -> None:
    """In the order of table 8: feed, speed, spindle, dwell, plane, units, …, motion, stopping."""
    if "F" in value:
        assert value["F"] > 0, "no feed"
        control.feed = value["F"]
    if "S" in value:
        assert value["S"] >= 0, "a negative speed"
        control.speed = value["S"]
    if "spindle" in said:
        assert said["spindle"] == 1005 or control.speed > 0, "the spindle is started without a speed"
    if said.get("none") == 4:
        control.waited += value["P"]
    assert not ("units" in said and control.moves), "the unit changes after the first motion"
    control.modes.update({group: code for group, code in said.items() if group != "none"})
    if value.keys() & set("XYZ"):
        _move(control, value)
    control.ended = control.modes.get("stopping") in (1002, 1030)


def _move(control: Control, value: dict[str, float]) -> None:
    motion = control.modes.get("motion")
    assert motion in (0, 1), "axes without a motion"
    assert control.modes.get("distance") == 90, "places are not absolute"
    assert "units" in control.modes, "no unit before the first motion"
    start = tuple(control.at.values())
    control.at.update({axis: value[axis] for axis in "XYZ" if axis in value})
    if motion == 1:
        assert control.feed > 0, "a cut without a feed"
        assert control.modes.get("feed mode") == 94, "the feed is no length a minute"
        assert None not in start, "a cut from nowhere"
    turning = control.modes.get("spindle") == 1003
    control.moves.append(Move(motion == 0, start, tuple(control.at.values()), control.feed, turning))
