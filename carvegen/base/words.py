"""Words in messages: shortened, made plain, and what was meant by a misspelt one."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["lasted", "listed", "meant", "meant_file", "nearest", "percent", "plain", "shortened"]

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
    return _SIGNS.sub(lambda sign: sign[0].encode("unicode_escape").decode("ascii"), text)


def shortened(text: str, most: int = _MOST) -> str:
    """Foreign words on one line, no longer than `most` letters: of longer ones both ends are shown."""
    line = plain(text).replace("\n", "\\n").replace("\t", " ")
    if len(line) <= most:
        return line
    end = most // 3
    return f"{line[: most - end - 1]}…{line[-end:]}"


def lasted(seconds: float) -> str:
    """How long something has lasted, as one says it: ``"40 s"``, ``"9 min"``, ``"1 h 5 min"``."""
    if seconds < 60:
        return f"{int(seconds)} s"
    hours, minutes = divmod(int(seconds // 60), 60)
    return f"{hours} h {minutes} min" if hours else f"{minutes} min"


def listed(names: Sequence[str]) -> str:
    """One name or several as one says them: ``"sky, hill and key"``."""
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last


_SHOWN = 80  #: letters of a name that somebody else has given


def nearest(name: str, known: Iterable[str]) -> str:
    """A hint that holds the nearest known name, if one is near, and all of them, sorted."""
    names = sorted(known)
    words = f"known: {', '.join(shortened(known_name, _SHOWN) for known_name in names)}"
    return " ".join(filter(None, [meant(name, names), words]))


def meant(name: str, known: Iterable[str]) -> str:
    """``"did you mean NAME?"`` for the nearest known name; nothing if none is near."""
    import difflib  # late: only mistakes need it

    same = {key.lower(): key for key in sorted(known, reverse=True)}
    close = difflib.get_close_matches(name.lower().replace(" ", "-"), sorted(same), n=1)
    return f"did you mean {shortened(same[close[0]], _SHOWN)}?" if close else ""


def meant_file(path: Path, endings: Iterable[str]) -> str:
    """What to do about a file that is not there: the nearest in its folder with one of these endings, if there is one.

    Parameters
    ----------
    endings
        In small letters, with the dot.
    """
    wanted = tuple(endings)
    try:
        names = [entry.name for entry in path.parent.iterdir() if entry.name.lower().endswith(wanted)]
    except (OSError, ValueError):
        return "check the folder's name"
    return meant(path.name, names) or "check the name and the folder"


def percent(value: object, most: float) -> str:
    """A hint for a share that was written in percent; nothing where it can't be that."""
    if not isinstance(value, (int, float)) or isinstance(value, bool) or not (most <= 1 < value <= 100 * most):
        return ""
    return f"{value:g} % is {value / 100:g}"
