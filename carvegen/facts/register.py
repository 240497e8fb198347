"""Register: its methods, how far each is usually off, and the arithmetic of errors, paper and wood."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from carvegen.base.parameters import angle, choice, length, number, span, whole

__all__ = [
    "APART", "BOARDS", "CLEAR_MM", "METHODS", "PINS_AT", "SEEN_FROM_MM", "SEEN_MM", "WOODS", "Method", "RegisterPlan",
    "moisture_percent", "pair_rms_mm", "pair_worst_mm", "skew_deg", "wood_of",
]  # fmt: skip


APART = 0.75  #: share of the long side between two stops or two pins: far apart, so that play turns the sheet little
PINS_AT = (0.1, 0.85)  #: where pins stand along the long side: not alike from both ends, so that no sheet fits turned
CLEAR_MM = 2.0  #: what stays between a stop or a pin and what it must not touch


SEEN_FROM_MM = 300.0  #: from which a print in the hand is looked at; common practice, no source
_MINUTE_DEG = 1 / 60  #: what an eye of 20/20 tells apart, which is what
#: the average eye does (Merriam-Webster's medical dictionary, "visual acuity": "an angle of one minute")
#: What is wide enough to be seen from there, 0.087 mm.
SEEN_MM = SEEN_FROM_MM * math.tan(math.radians(_MINUTE_DEG))


@dataclass(frozen=True, kw_only=True)
class Method:
    """A way to lay sheet and block in register."""

    name: str
    about: str
    tolerance_mm: float  #: how far an impression may lie from its place
    play_mm: float  #: how far one end of the sheet may lie off while the other is right: what turns it
    waste_mm: float  #: strip of board that it needs outside the picture, on every side


#: Repeat of each: common practice, no source (notches in the block 0.2-0.5 mm, pins and tabs 0.1-0.25 mm, marks
#: lined up by eye 0.5-1.0 mm). Waste: design + 25 mm the long way (source: fletcher-1916).
METHODS: Mapping[str, Method] = MappingProxyType({
    "crosses": Method(
        name="crosses", tolerance_mm=0.5, play_mm=0.5, waste_mm=0.0,
        about="crosses outside the picture, laid over one another by eye",
    ),
    "stops": Method(
        name="stops", tolerance_mm=0.3, play_mm=0.1, waste_mm=18.0,
        about="a corner stop and an edge stop along one long side, cut into the board; the sheet lies against both",
    ),
    "pins": Method(
        name="pins", tolerance_mm=0.15, play_mm=0.05, waste_mm=22.0,
        about="two pins in the board, and tabs on the sheet with holes that sit on them",
    ),
})  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class RegisterPlan:
    """How a print is kept in register, and how far all may be off: the table [register] of a print file."""

    method: str = choice(
        "crosses", among=tuple(METHODS),
        help="how sheet and block are laid in register: crosses by eye, a corner stop and an edge stop cut into the "
        "board, or pins and tabs",
    )  # fmt: skip
    waste_mm: float | None = length(
        None, at_least=0, at_most=200,
        help="strip of board outside the picture, on every side, that carries stops or pins; what the method needs, by "
        "default",
    )  # fmt: skip
    moat_mm: float | None = length(
        None, at_least=0, at_most=50,
        help="groove round the picture on blocks that are inked, so that the roller leaves the waste clean; what a "
        "usual roller asks for, by default; 0: none",
    )  # fmt: skip
    paper_margin_mm: float = length(
        8.0, at_least=4, at_most=150,
        help="how far the sheet reaches beyond the picture where it lies against the stops",
    )  # fmt: skip
    pin_mm: float = length(6.0, at_least=2, at_most=20, help="how thick the pins are")
    tolerance_mm: float | None = length(
        None, at_least=0, at_most=5,
        help="how far each impression may lie from its place; the method's usual, by default",
    )  # fmt: skip
    turn_deg: float | None = angle(
        None, at_least=0, at_most=5,
        help="how far each impression may be turned; what the method's play makes of the long side, by default",
    )  # fmt: skip
    spread: str = choice(
        "even", among=("even", "normal"),
        help="how errors are spread: evenly up to the tolerance, or normally, 95 of 100 within it",
    )  # fmt: skip
    paper_stretch_along_percent: float = number(
        0.0, at_least=0, at_most=5,
        help="by how much the sheet's size may differ between two impressions, along the paper's grain",
    )  # fmt: skip
    paper_stretch_across_percent: float = number(
        0.0, at_least=0, at_most=5, help="the same across the paper's grain, where it is several times as much"
    )
    paper_grain_deg: float = angle(0.0, help="direction of the paper's grain; 0 runs along the picture's width")
    humidity_percent: tuple[float, float] = span(
        (50.0, 50.0), at_least=5, at_most=95, remedy="humidity_percent = [45, 60]",
        help="lowest and highest humidity of the air while blocks lie and are printed; solid wood moves with it",
    )  # fmt: skip
    moisture_change_percent: float | None = number(
        None, at_least=0, at_most=30,
        help="by how much the moisture content of two blocks may differ when they are printed; what the humidity "
        "makes, by default",
    )  # fmt: skip
    visible_mm: float = length(
        math.ceil(10 * SEEN_MM) / 10, at_least=0, at_most=2, help="a gap narrower than this is not counted"
    )
    prints: int = whole(500, at_least=20, at_most=20_000, help="how many prints are tried out")

    @property
    def method_facts(self) -> Method:
        """The method, with what is known about it."""
        return METHODS[self.method]

    @property
    def moisture_off_percent(self) -> float:
        """By how much the moisture content of two blocks may differ: as given, or what the air's humidity makes."""
        if self.moisture_change_percent is not None:
            return self.moisture_change_percent
        dry, damp = (moisture_percent(humidity / 100) for humidity in self.humidity_percent)
        return abs(damp - dry)

    @property
    def off_mm(self) -> float:
        """How far each impression may lie from its place: as given, or the method's usual."""
        return self.method_facts.tolerance_mm if self.tolerance_mm is None else self.tolerance_mm

    @property
    def board_mm(self) -> float:
        """Strip of board outside the picture on every side: as given, or what the method needs."""
        return self.method_facts.waste_mm if self.waste_mm is None else self.waste_mm

    @property
    def pin_out_mm(self) -> float:
        """From the picture to the middle of a pin: beyond the sheet, which its tabs hold."""
        return self.paper_margin_mm + CLEAR_MM + self.pin_mm / 2

    def datum_mm(self, size: tuple[float, float]) -> tuple[float, float]:
        """The place that stays while sheet or board grow: the corner stop, the first pin, or the middle."""
        if self.method == "crosses":
            return size[0] / 2, size[1] / 2
        if self.method == "stops":
            return -self.paper_margin_mm, -self.paper_margin_mm
        along, out = PINS_AT[0] * max(size), -self.pin_out_mm
        return (along, out) if size[0] >= size[1] else (out, along)

    def off_deg(self, long_side_mm: float) -> float:
        """How far each impression may be turned: as given, or what the method's play makes of the long side."""
        apart = APART * long_side_mm
        return skew_deg(self.method_facts.play_mm, apart) if self.turn_deg is None else self.turn_deg


def pair_worst_mm(off_mm: float) -> float:
    """How far two blocks can be out of register, each within `off_mm` of its place: ``2 e``."""
    return 2 * off_mm


def pair_rms_mm(off_mm: float) -> float:
    """The root mean square of that for independent errors of this root mean square: ``sqrt(2) e``."""
    return math.sqrt(2) * off_mm


def skew_deg(play_mm: float, apart_mm: float) -> float:
    """By how much a sheet turns that has this play at one of two stops so far apart."""
    return math.degrees(math.atan2(play_mm, apart_mm))


#: Change of a board's size per size and per 1 % of moisture content, between 6 and 14 %, the tangential way: a side
#: grows by ``D C (M2 - M1)``. Table 13-5 and ch. 13 (source: wood-handbook).
WOODS: Mapping[str, float] = MappingProxyType({
    "cherry": 0.00248,
    "basswood": 0.00330,
    "maple": 0.00353,
    "birch": 0.00304,
    "beech": 0.00431,
})  # fmt: skip

_UNKNOWN = 0.00462  #: overcup oak, the largest of table 13-5 (source: wood-handbook)
#: Along the grain 0.1-0.2 % from green (30 %) to dry, ch. 4 (source: wood-handbook).
_LENGTHWISE = 0.0015 / 30
#: Boards, in both directions per 1 % of moisture. MDF 0.05 % (source: mdf-makers; a third less: mdf-australia). Plywood
#: 0.0002 per 10 % of the air's humidity (source: plywood-trade), which from 35 to 65 % is 5.02 % of moisture. Linoleum
#: moves too, but no figure was found: MDF's is taken, our own choice.
BOARDS: Mapping[str, float] = MappingProxyType({
    "mdf": 0.0005,
    "plywood": 0.0006 / 5.02,
    "linoleum": 0.0005,
})  # fmt: skip


def wood_of(material: str, grain: str) -> tuple[float, float]:
    """How a block's face moves per 1 % of moisture, along its grain and across it; 0 for plastics.

    Plain-sawn boards are meant: across the grain they move as the tangential coefficient says, the larger one. A wood
    that is not in the table is taken for the one that moves most. End grain moves across the grain both ways. That
    plastics keep their size is our own choice: they take up little water.

    Parameters
    ----------
    material
        The key of its profile.
    grain
        "side" or "none", as its profile says.
    """
    board = next((moves for name, moves in BOARDS.items() if name in material), None)
    if board is not None:
        return board, board
    across = next((moves for name, moves in WOODS.items() if name in material), None)
    if across and grain != "side":
        return (across, across) if "end-grain" in material else (0.0, 0.0)
    if grain == "side":
        return _LENGTHWISE, across or _UNKNOWN
    return 0.0, 0.0


def moisture_percent(humidity: float, celsius: float = 21.0) -> float:
    """The moisture content that wood settles to in air of this relative humidity (0…1).

    Hailwood and Horrobin's equation with the Wood Handbook's coefficients (from memory; checked against published
    examples, source: emc-tables), temperature in °F.
    """
    t = celsius * 9 / 5 + 32
    w = 330 + 0.452 * t + 0.00415 * t**2
    k = 0.791 + 0.000463 * t - 0.000000844 * t**2
    k1 = 6.34 + 0.000775 * t - 0.0000935 * t**2
    k2 = 1.09 + 0.0284 * t - 0.0000904 * t**2
    kh = k * humidity
    return 1800 / w * (kh / (1 - kh) + (k1 * kh + 2 * k1 * k2 * kh**2) / (1 + k1 * kh + k1 * k2 * kh**2))
