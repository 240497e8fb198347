"""Words of others, as they may be shown: no sign in them moves a cursor, hides a letter or turns a line about."""

from __future__ import annotations

import re

__all__ = ["plain", "shortened"]

#: Control signs (Unicode Cc, without tab and line feed), and those that reorder, hide or break lines (Cf, Zl, Zp)
#: without the joiners that names in some scripts need (U+200C, U+200D).
_SIGNS = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\xad\u061c\u180e\u200b\u200e\u200f\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb"
    "\U000e0000-\U000e007f\ud800-\udfff]"
)
_CONTROLS = bytes([*range(9), *range(0x0B, 0x20), 0x7F])
_MOST = 300


def plain(text: str) -> str:
    """The text with such signs as their escapes, so that they are seen and do nothing; tab and line feed stay."""
    if text.isascii():  # long files of numbers are looked through faster like this
        raw = text.encode()
        if len(raw.translate(None, _CONTROLS)) == len(raw):
            return text
    return _SIGNS.sub(lambda found: found[0].encode("unicode_escape").decode("ascii"), text)


def shortened(text: str, most: int = _MOST) -> str:
    """Foreign words on one line, no longer than `most` letters: of longer ones both ends are shown."""
    line = plain(text).replace("\n", "\\n").replace("\t", " ")
    if len(line) <= most:
        return line
    end = most // 3
    return f"{line[: most - end - 1]}…{line[-end:]}"
