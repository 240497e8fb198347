"""Words under a picture made of dots."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from PIL.ImageFont import FreeTypeFont, ImageFont

__all__ = ["rows_of_words"]


def rows_of_words(text: str, font: FreeTypeFont | ImageFont, room: float) -> list[str]:
    """A text as rows that are at most so many pixels long; all but the first are indented.

    A word longer than the room has a row of its own.
    """
    rows = [""]
    for word in text.split():
        longer = f"{rows[-1]} {word}" if rows[-1] else word
        if rows[-1] and font.getlength(longer) > room:
            rows.append(f"   {word}")
        else:
            rows[-1] = longer
    return rows
