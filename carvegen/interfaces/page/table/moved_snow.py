"""Which snow grew otherwise by a change that was not of it, told right after the change, as a build would."""

from __future__ import annotations

from typing import TYPE_CHECKING

from carvegen.delivery.print_steps import cut_inputs, grown_by, moved
from carvegen.delivery.step_keys import digests

if TYPE_CHECKING:
    from carvegen.interfaces.page.table.desk import Desk
    from carvegen.prints.file.print_file import Print

__all__ = ["KEPT_FIRST", "moved_lines"]

KEPT_FIRST = "Snow that is to stay as it lies is locked first, on the slip Weather."
_BACK = "For the snow of before: Take back, lock it on the slip Weather, then make the change again."


def moved_lines(was: Print, before: Desk, now: Desk) -> list[str]:
    """What moved, why, and how it comes back; in sentences, none if nothing did.

    Parameters
    ----------
    was
        The print as it was on the desk before: by now that one knows it as it is to be.
    """
    grown = grown_by(before.bare, before.setups), grown_by(now.bare, now.setups)
    then, since = cut_inputs(was, before.setups, {}), cut_inputs(now.print_, now.setups, {})
    lines = moved(now.print_, grown, (digests(then), digests(since)))
    return [*lines, _BACK] if lines else []
