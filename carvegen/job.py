"""A job: one block, in one material, cut by one cutter on one machine; refused where that is dangerous."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from carvegen import cutting
from carvegen.errors import InputError, RefusedError
from carvegen.limits import Limits
from carvegen.profiles import Verdict

if TYPE_CHECKING:
    from carvegen.block import Block
    from carvegen.profiles import Cutter, Machine, Material, Permit

__all__ = ["Job", "limits_for", "permit"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Job:
    """What is handed to one machine, or to the hand.

    A job whose material must not meet its machine can't be made: every writer of machine files takes a
    job, so no such file can be written.

    Raises
    ------
    RefusedError
        If the material's verdict for the machine's kind is `never`.
    InputError
        If the cutter does not go into the machine.
    """

    block: Block
    material: Material
    cutter: Cutter
    machine: Machine
    thickness_mm: float
    depth_mm: float
    grain_deg: float = 0.0  #: direction of the grain from the x axis, print view
    declared: str = ""  #: the composition as the user declares it

    def __post_init__(self) -> None:
        permit(self.material, self.machine.kind)
        if self.machine.kind not in self.cutter.machines:
            fits = ", ".join(self.cutter.machines)
            raise InputError(
                f"goes into: {fits}; not into {self.machine.key}", value=self.cutter.key, where="cutter",
                hint="choose a cutter for this machine: carvegen profiles list",
            )

    @property
    def permit(self) -> Permit:
        """The material's verdict, reasons and cautions for this kind of machine."""
        return self.material.permits[self.machine.kind]

    @property
    def limits(self) -> Limits:
        """What the material and the cutter allow at the face."""
        return limits_for(self.material, self.cutter, depth_mm=self.depth_mm, grain_deg=self.grain_deg)


def permit(material: Material, kind: str) -> Permit:
    """The material's permit for a kind of machine; refused where the verdict is `never`."""
    found = material.permits[kind]
    if found.verdict is Verdict.NEVER:
        others = [other for other, its in sorted(material.permits.items()) if its.verdict is not Verdict.NEVER]
        raise RefusedError(
            f"no {kind} file is written for {material.name}: {found.why}",
            hint=f"this material may be worked by: {', '.join(others)}" if others else "",
        )
    return found


def limits_for(material: Material, cutter: Cutter, *, depth_mm: float, grain_deg: float = 0.0) -> Limits:
    """The narrowest land and the smallest cut at the face.

    The material's minimum times the cutter's factor, plus what burns or tears off both sides; and never so
    narrow that the foot at `depth_mm` would be narrower than the material's minimum foot.
    """
    loss = 2 * cutter.edge_loss_mm
    foot = material.foot_mm - 2 * cutting.wall(cutter, depth_mm).foot_gain_mm
    return Limits(
        land_along_mm=max(material.land_along_mm * cutter.land_factor + loss, foot),
        land_across_mm=max(material.land_across_mm * cutter.land_factor + loss, foot),
        cut_mm=max(material.cut_mm, cutter.smallest_cut_mm),
        dot_mm=max(material.dot_mm * cutter.land_factor + loss, foot),
        grain_deg=grain_deg,
    )
