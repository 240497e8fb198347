"""A text's words as they are read: without case, accents, spacing, hidden signs and look-alike letters."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from typing import TypeVar

__all__ = ["as_heard", "covered", "nearly", "plain_words", "squeezed"]

T = TypeVar("T")

#: Letters that look like a Latin one: a selection of Unicode Technical Standard 39, ``confusables.txt`` (seen as data
#: of a package that carries it). Our own choice: whatever looks like a capital I is an i, where the standard says l.
_LOOK_ALIKE = {
    "a": "ɑΑαАаᎪꓮ", "b": "ƄΒВЬᏏᏴꓐ", "c": "ᴄϲϹСсᏟꮯꓚⲤⲥ", "d": "ԁᎠᏧꓒꓓ", "e": "ꬲΕЕеҽᎬꓰ", "f": "ẝꞘꞙꬵϜքꓝ", "g": "ƍɡᶃԌցᏀᏳꓖ",
    "h": "ΗНһհᎻᏂꓧⲎ", "i": "ıƖɩɪΙιІіӀӏꙇᎥꭵⲒ", "j": "ꞲͿϳЈјᎫꓙ", "k": "ΚКᏦꓗⲔ", "l": "ǀᏞꓡ", "m": "ΜϺМᎷꓟⲘ", "n": "ΝոռꓠⲚ",
    "o": "ᴏᴑꬽΟοσОоՕօꓳⲞⲟ", "p": "ΡρРрᏢꓑⲢⲣ", "q": "ԛգզ", "r": "ƦꭇꭈᴦгⲅᎡᏒꓣ", "s": "ƽꜱЅѕՏᏕᏚꮪꓢ", "t": "ΤТᎢꓔⲦ",
    "u": "ʋᴜꞟꭎꭒυՍսꓴ", "v": "ᴠνѴѵᏙꮩꓦ", "w": "ɯᴡѡԜԝաᎳᏔꮃꓪ", "x": "ꞳΧХхꓫⲬ", "y": "ɣʏᶌỿꭚΥγУуҮүᎩᎽꓬⲨ", "z": "ᴢΖᏃꮓꓜ",
}  # fmt: skip
#: Letters that no decomposition takes apart.
_PLAIN = {"ł": "l", "ø": "o", "đ": "d", "ð": "d", "æ": "ae", "œ": "oe", "þ": "th"}
_TABLE = str.maketrans({sign: letter for letter, signs in _LOOK_ALIKE.items() for sign in signs} | _PLAIN)
_WORD = re.compile(r"\w+|[^\w\s,;.:/+&()\[\]{}'’‘\"“”„|·‐‑‒–—−-]")
_NUMBER = r"\d+(?:[.,]\d+|\s*[/⁄]\s*\d+)?"
_SIZE = re.compile(rf"(?<![\w.,/⁄])(?:{_NUMBER}\s*[x×*]\s*)*{_NUMBER}\s*(?:mm|cm|inch(?:es)?|in|\")(?!\w)")
_MOST = 8  #: words of the longest phrase that is looked for
_SOUND_FROM = 4  #: letters from which on a word is known by its sound
_SLIP_FROM = 6  #: and from which on with a slip of spelling


def plain_words(text: str, *, by_shape: bool = False) -> tuple[str, ...]:
    """The words of a text, each sign that is neither letter nor separator a word of its own; sizes are left out.

    Parameters
    ----------
    by_shape
        Read each letter by the shape it is written in: a Cyrillic capital that looks like H is an h. Otherwise words
        are read as in their own script, capitals as small letters, and only then by their looks.
    """
    text = "".join(sign for sign in unicodedata.normalize("NFKC", text) if unicodedata.category(sign) != "Cf")
    text = (text.translate(_TABLE) if by_shape else text).casefold()
    text = unicodedata.normalize("NFKD", text)
    text = "".join(sign for sign in text if unicodedata.category(sign)[0] != "M").translate(_TABLE)
    return tuple(_WORD.findall(_SIZE.sub(" ", text.replace("_", " "))))


def squeezed(text: str) -> str:
    """A text's words without the blanks between them: ``"P. V. C."`` is ``"pvc"``."""
    return "".join(plain_words(text))


def covered(words: Sequence[str], phrases: Mapping[str, T]) -> Iterator[tuple[int, int, T | None]]:
    """The words from left to right in the longest phrases that fit, as begin, end and what the phrase stands for.

    Parameters
    ----------
    phrases
        What each phrase stands for, by the phrase squeezed. A word that begins none comes alone, with None.
    """
    at = 0
    while at < len(words):
        ends = range(min(len(words), at + _MOST), at, -1)
        end = next((end for end in ends if "".join(words[at:end]) in phrases), None)
        yield (at, at + 1, None) if end is None else (at, end, phrases["".join(words[at:end])])
        at = end or at + 1


def as_heard(word: str) -> str:
    """A word as it sounds: i for y, f for ph, t for th, c for k, and one letter for two of a kind."""
    for spelt, heard in (("ph", "f"), ("th", "t"), ("y", "i"), ("k", "c")):
        word = word.replace(spelt, heard)
    return re.sub(r"(.)\1", r"\1", word)


def nearly(heard: str, known: str) -> bool:
    """Whether a word is a known one, both as they sound, with at most one slip of spelling.

    A slip is a letter too many, missing or wrong behind the first one, or two changed round. Short words have none.
    """
    if heard == known:
        return len(heard) >= _SOUND_FROM
    if min(len(heard), len(known)) < _SLIP_FROM or abs(len(heard) - len(known)) > 1 or heard[0] != known[0]:
        return False
    return _one_slip(heard, known)


def _one_slip(a: str, b: str) -> bool:
    while a and b and a[0] == b[0]:
        a, b = a[1:], b[1:]
    while a and b and a[-1] == b[-1]:
        a, b = a[:-1], b[:-1]
    return max(len(a), len(b)) <= 1 or (len(a) == 2 and a == b[::-1])
