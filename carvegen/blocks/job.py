"""A job: one block, in one material, cut by one cutter on one machine; refused where that is dangerous."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import TYPE_CHECKING

from carvegen.base.errors import InputError, RefusedError
from carvegen.base.limits import Limits
from carvegen.blocks.block import check_words
from carvegen.facts import cutting
from carvegen.facts.composition import ban, statement, substances, workable
from carvegen.facts.printing import USUAL, Printing
from carvegen.facts.profiles import KINDS, Verdict

if TYPE_CHECKING:
    from carvegen.blocks.block import Block
    from carvegen.facts.composition import Statement, Substance
    from carvegen.facts.cutting import Wall
    from carvegen.facts.profiles import Cutter, Library, Machine, Material, Permit

__all__ = ["USUAL_MACHINES", "Job", "Setup", "permit", "setups_for"]

#: The machine of each kind that is meant when none is named.
USUAL_MACHINES = {"laser": "laser-bed", "router": "router-bed", "hand": "hand"}


@dataclass(frozen=True, kw_only=True)
class Setup:
    """A material, a cutter and a machine (or the hand) that may be put together.

    Raises
    ------
    RefusedError
        If the material's verdict for the machine's kind is `never`, if what is declared is banned for it, or, for a
        laser, if it is anything but the material's own substance.
    InputError
        If the cutter does not go into the machine, or a measure is out of range.
    """

    material: Material
    cutter: Cutter
    machine: Machine
    thickness_mm: float
    depth_mm: float
    grain_deg: float = 0.0  #: direction of the grain from the x axis, print view
    lean_deg: float = 0.0  #: how far the tool is leaned sideways
    declared: str = ""  #: the composition as the user declares it
    printing: Printing = USUAL  #: how it is inked and printed
    through: Cutter | None = None  #: of a router: cuts through if `cutter` can't and none is chosen besides

    def __post_init__(self) -> None:
        check_words(self.declared, field="declared")
        permit(self.material, self.machine.kind)
        if self.declared:
            _check_declared(self.declared, self.material, self.machine.kind)
        if self.machine.kind not in self.cutter.machines:
            raise InputError(
                f"goes into: {', '.join(self.cutter.machines)}; not into {self.machine.key}",
                value=self.cutter.key,
                field="cutter",
                hint="choose a cutter for this machine (carvegen profiles list), or leave the machine out",
            )
        if not 0 < self.thickness_mm <= _THICKEST_MM:
            raise InputError(
                f"must lie above 0 and up to {_THICKEST_MM:g} mm", value=self.thickness_mm, field="thickness_mm"
            )
        if not 0 < self.depth_mm < self.thickness_mm:
            raise InputError(
                f"must lie between 0 and the thickness of {self.thickness_mm:g} mm",
                value=self.depth_mm,
                field="depth_mm",
            )
        for name, most in (("lean_deg", _LEANS_DEG), ("grain_deg", _TURNS_DEG)):
            if not -most <= getattr(self, name) <= most:
                raise InputError(f"must lie in {-most:g}…{most:g} deg", value=getattr(self, name), field=name)

    @property
    def permit(self) -> Permit:
        """The material's verdict, reasons and cautions for this kind of machine."""
        return self.material.permits[self.machine.kind]

    @cached_property
    def wall(self) -> Wall:
        """The wall that the cutter leaves at this depth."""
        return cutting.wall(self.cutter, self.depth_mm, lean_deg=self.lean_deg)

    @cached_property
    def face_limits(self) -> Limits:
        """What holds at the face, whatever the foot.

        The material's minimum times the cutter's factor, plus what burns or tears off both sides.
        """
        material, cutter = self.material, self.cutter
        loss = 2 * cutter.edge_loss_mm
        return Limits(
            land_along_mm=material.land_along_mm * cutter.land_factor + loss,
            land_across_mm=material.land_across_mm * cutter.land_factor + loss,
            cut_mm=max(material.cut_mm, cutter.smallest_cut_mm),
            dot_mm=material.dot_mm * cutter.land_factor + loss,
            grain_deg=self.grain_deg,
        )

    @cached_property
    def lasting_limits(self) -> Limits:
        """What must be kept at the face so that it holds, and the foot at this depth too."""
        face, foot, gain = self.face_limits, self.foot_limits, 2 * self.wall.foot_gain_mm
        return replace(
            face,
            land_along_mm=max(face.land_along_mm, foot.land_along_mm - gain),
            land_across_mm=max(face.land_across_mm, foot.land_across_mm - gain),
            dot_mm=max(face.dot_mm, foot.dot_mm - gain),
        )

    @cached_property
    def stout_limits(self) -> Limits:
        """What is stout enough at the face for this depth; no land is too slender where the material says nothing.

        Depth over mean width, between face and foot, is no more than the material's ratio s: the face is at least
        ``d / s - g`` wide, with g what the foot gains on one side (plane geometry, straight walls).
        """
        material, gain = self.material, self.wall.foot_gain_mm
        along, across = (
            0.0 if most is None else max(0.0, self.depth_mm / most - gain)
            for most in (material.slender_along, material.slender_across)
        )
        return replace(self.face_limits, land_along_mm=along, land_across_mm=across, dot_mm=max(along, across))

    @cached_property
    def limits(self) -> Limits:
        """What a texture keeps as it grows, and mending goes by: land that lasts and is stout, so nothing is found."""
        lasting, stout = self.lasting_limits, self.stout_limits
        return replace(
            lasting,
            land_along_mm=max(lasting.land_along_mm, stout.land_along_mm),
            land_across_mm=max(lasting.land_across_mm, stout.land_across_mm),
            dot_mm=max(lasting.dot_mm, stout.dot_mm),
        )

    @cached_property
    def foot_limits(self) -> Limits:
        """What holds at the foot: the material's, and across the grain as much more as its land is (our own choice)."""
        material = self.material
        across = material.foot_mm * material.land_across_mm / material.land_along_mm
        return replace(self.face_limits, land_along_mm=material.foot_mm, land_across_mm=across, dot_mm=material.foot_mm)

    def on(self, block: Block) -> Job:
        """The job that cuts `block` with this setup."""
        return Job(block=block, **{spec.name: getattr(self, spec.name) for spec in fields(self)})


@dataclass(frozen=True, kw_only=True, eq=False)
class Job(Setup):
    """What is handed to one machine, or to the hand.

    A job that would be dangerous can't be made, and every writer of machine files takes a job: no such file
    can be written.
    """

    block: Block


def setups_for(
    shelf: Library,
    *,
    material: str,
    cutter: str,
    machines: Sequence[str] = (),
    kinds: Sequence[str] = (),
    thickness_mm: float | None = None,
    depth_mm: float | None = None,
    grain_deg: float = 0.0,
    lean_deg: float = 0.0,
    declared: str = "",
    printing: Printing = USUAL,
    own_kind_only: bool = False,
) -> tuple[Setup, ...]:
    """One setup for each kind of machine that is wanted and allowed; the named cutter's own kind first.

    Parameters
    ----------
    machines
        Keys of machines to use instead of the usual ones of their kinds.
    kinds
        Kinds of machine that are wanted; none: all that the material allows.
    own_kind_only
        Only the setup of the named cutter's own kind, whatever else is allowed.

    Raises
    ------
    RefusedError
        If the cutter's kind of machine, or a kind or machine that was asked for, must never meet the material.
    InputError
        For an unknown profile, or a cutter that goes into none of the kinds asked for.
    """
    stuff, tool = shelf.material(material), shelf.cutter(cutter)
    by_kind = {kind: shelf.machine(key) for kind, key in USUAL_MACHINES.items()}
    named = {chosen.kind: chosen for chosen in map(shelf.machine, machines)}
    if len(named) < len(set(machines)):
        raise InputError(
            "names two machines of one kind", value=", ".join(machines), field="machines", hint="run once for each"
        )
    for kind in kinds:
        permit(stuff, kind, tool, asked=kinds)
    for kind in named:
        permit(stuff, kind)
    by_kind |= named
    order = _in_order(stuff, tool, kinds)
    return tuple(
        Setup(
            material=stuff,
            cutter=tool if kind in tool.machines else shelf.cutter(by_kind[kind].usual_cutter),
            machine=by_kind[kind],
            thickness_mm=stuff.thickness_mm if thickness_mm is None else thickness_mm,
            depth_mm=stuff.depth_usual_mm if depth_mm is None else depth_mm,
            grain_deg=grain_deg,
            lean_deg=lean_deg if kind == "hand" else 0.0,
            declared=declared,
            printing=printing,
            through=_straight(shelf, by_kind[kind]) if kind not in tool.machines else None,
        )
        for kind in order[: 1 if own_kind_only else None]
    )


def permit(material: Material, kind: str, cutter: Cutter | None = None, asked: Sequence[str] = ()) -> Permit:
    """The material's permit for a kind of machine; refused where the verdict is `never`.

    Parameters
    ----------
    cutter, asked
        What is chosen, if it is known, and the kinds of machine asked for: the remedy is told by them.
    """
    result = material.permits[kind]
    if result.verdict is Verdict.NEVER:
        others = [other for other in KINDS if material.permits[other].verdict is not Verdict.NEVER]
        raise RefusedError(
            f"no {kind} file is written for {material.name}: {result.why}",
            hint=f"this material may be worked by: {', '.join(others)}; {_instead(kind, others, cutter, asked)}"
            if others else "",
            names=("cutter", "kinds"),
        )  # fmt: skip
    return result


def _instead(kind: str, others: Sequence[str], cutter: Cutter | None, asked: Sequence[str]) -> str:
    """What to do where a kind of machine is refused: the cutter is right if it goes into another that may be used."""
    fits = [other for other in others if cutter and other in cutter.machines]
    if not fits:
        return "choose a {cutter} for that"
    if any(other in asked for other in fits):
        return f'take "{kind}" out of {{kinds}}'
    return f'write "{fits[0]}" in {{kinds}}, not "{kind}"'


def _straight(shelf: Library, machine: Machine) -> Cutter | None:
    """The machine's usual straight cutter."""
    return shelf.cutter(machine.usual_straight_cutter) if machine.usual_straight_cutter else None


_THICKEST_MM = 100.0
_LEANS_DEG = 60.0  #: beyond it a tool lies on the block; our own choice
_TURNS_DEG = 360.0


def _in_order(material: Material, cutter: Cutter, kinds: Sequence[str]) -> list[str]:
    allowed = [kind for kind in KINDS if material.permits[kind].verdict is not Verdict.NEVER]
    wanted = list(dict.fromkeys(kinds)) or allowed
    own = [kind for kind in cutter.machines if kind in wanted]
    if not own:
        permit(material, cutter.machines[0])
        raise InputError(
            f"goes into: {', '.join(cutter.machines)}; none of these is asked for",
            value=cutter.key,
            field="cutter",
            hint="add its kind of machine with {kinds}, or choose another cutter",
            names=("kinds",),
        )
    return [own[0], *(kind for kind in wanted if kind != own[0])]


def _check_declared(text: str, material: Material, kind: str) -> None:
    """Refuse what is banned for a kind of machine, and for a laser all that is not the material's own substance."""
    banned = ban(text, kind)
    if banned is not None:
        raise RefusedError(
            f'no {kind} file is written for what is declared, "{text}" ({banned.word}): {banned.why}',
            field="declared",
            hint="say what it is made of, not what it is free of" + ("" if kind == "hand" else f"; {_BY_HAND}"),
            names=_BY_HAND_NAMES,
        )
    own = workable(material.composition)
    stated = statement(text, own)
    if kind == "laser" and not stated.accepted:
        why, remedy = _unaccepted(stated, own, material)
        raise RefusedError(
            f'no laser file is written for what is declared, "{text}": {why}',
            field="declared",
            hint=f"{remedy}; {_BY_HAND}",
            names=("material", *_BY_HAND_NAMES),
        )


_BY_HAND = "or cut it by hand: choose a hand tool as {cutter}, and {kinds} hand alone"
_BY_HAND_NAMES = ("cutter", "kinds")


def _unaccepted(stated: Statement, own: Sequence[Substance], material: Material) -> tuple[str, str]:
    """Why a declaration is not the material's substance, and what to do."""
    other = statement(stated.text, tuple(substances().values()))
    if other.accepted and not stated.substances:
        names = " and ".join(one.name for one in other.substances)
        return (
            f"that is {names}, and the profile is of {material.name}",
            "choose the profile of what it is as {material}",
        )
    why = "it doesn't say which substance it is"
    if stated.strange:
        why = f'"{" ".join(stated.strange)}" is not among the words known of {material.name}'
    words = dict.fromkeys(word for one in own for code in ("en", stated.language) for word in one.called(code))
    return why, (
        f"accepted, with plain words such as new, dry or 3 mm: {', '.join(words)}; if it is one of these by its "
        "maker's statement, declare just that"
    )
