"""What a block is said to be made of, however it is spelt: what a laser may work, and what is banned.

Both are data: ``substances.toml`` and ``bans.toml`` among the profiles.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, cached_property
from typing import TypeVar

from carvegen.facts.profile_reader import read_toml, shipped

__all__ = [
    "Ban", "Statement", "Substance", "ban", "bans", "plain_words", "squeezed", "statement", "substances", "workable",
]  # fmt: skip

_SHOWN = 6  #: words of a language that are told of a substance
_MOST_JOINED = 24  #: words, or spaced letters, that are read as one
_MOST_MISSPELT = 3  #: words read as one in which a slip of spelling is looked for


@dataclass(frozen=True, kw_only=True, eq=False)
class Substance:
    """Something that a laser may work, and what it is called."""

    name: str
    words: Mapping[str, tuple[str, ...]]  #: by language; each alone says that it is this
    parts: tuple[str, ...]  #: what may stand beside such a word

    def called(self, language: str) -> tuple[str, ...]:
        """The first few words of a language; none if it isn't known."""
        return self.words.get(language, ())[:_SHOWN]


@dataclass(frozen=True, kw_only=True, eq=False)
class Ban:
    """Words that a machine's material must not be called by, and why."""

    words: tuple[str, ...]
    why: str
    sources: tuple[str, ...]  #: keys of the register, or how it is known
    machines: tuple[str, ...]  #: kinds of machine that it is refused for
    word: str = ""  #: the word that was met, as it was read

    @cached_property
    def exact(self) -> frozenset[str]:
        """The whole words, squeezed."""
        return frozenset(squeezed(word.strip("*")) for word in self.words)

    @cached_property
    def heard(self) -> dict[str, list[str]]:
        """The same, and as they sound, by the first letter: for slips of spelling."""
        heard: dict[str, list[str]] = {}
        for word in sorted(self.exact | set(map(as_heard, self.exact))):
            heard.setdefault(word[0], []).append(word)
        return heard

    @cached_property
    def cores(self) -> tuple[str, ...]:
        """The squeezed words that any letters may stand around."""
        return tuple(squeezed(word.strip("*")) for word in self.words if word.startswith("*"))


@dataclass(frozen=True, kw_only=True)
class Statement:
    """What was understood of the words that say what something is made of."""

    text: str
    substances: tuple[Substance, ...]  #: what they name
    strange: tuple[str, ...]  #: words that say something else
    language: str  #: the language, besides English, that most of them are known in; may be ""

    @property
    def accepted(self) -> bool:
        """Whether they name a substance and say nothing else."""
        return bool(self.substances) and not self.strange


def statement(text: str, among: Sequence[Substance]) -> Statement:
    """What a text says of the substances `among`."""
    phrases = _phrases(tuple(among))
    named: dict[str, Substance] = {}
    strange: list[str] = []
    words = plain_words(text)
    for begin, end, meant in covered(words, phrases):
        if meant is None:
            strange += words[begin:end]
        elif isinstance(meant, Substance):
            named[meant.name] = meant
    return Statement(
        text=text, substances=tuple(named.values()), strange=tuple(strange), language=_language(words, among)
    )


@cache
def workable(composition: str) -> tuple[Substance, ...]:
    """The substances that a material's composition names; none if it says anything else besides."""
    named = statement(composition, tuple(substances().values())).substances
    return named if statement(composition, named).accepted else ()


@cache
def ban(text: str, machine: str = "laser") -> Ban | None:
    """Why something that is called so is refused for a kind of machine; None if no word in it is banned.

    It looks for words and doesn't understand sentences: "free of PVC" is banned as well. A word within a longer phrase
    that names a substance, or a part of one, is none. Nothing found doesn't mean that it is safe.
    """
    readings = sorted({plain_words(text), plain_words(text, by_shape=True)})
    joins = [list(_joins(words)) for words in readings]
    for meets in (_is, _is_nearly):
        met = [hit for some in joins for hit in _outermost(some, meets, machine)]
        if met:
            number, word = min(met)
            return replace(bans()[number], word=word)
    return None


@dataclass(frozen=True)
class _Join:
    """A few neighbouring words read as one."""

    begin: int
    end: int
    text: str
    strange: bool  #: one of the words names nothing that a laser may work

    @cached_property
    def heard(self) -> str:
        """The text as it sounds."""
        return as_heard(self.text)

    def within(self, other: _Join) -> bool:
        """Whether it is a part of another."""
        inside = other.begin <= self.begin and self.end <= other.end
        return inside and self.end - self.begin < other.end - other.begin


def _joins(words: Sequence[str]) -> Iterator[_Join]:
    """Every few neighbouring words as one; none that lie within what a substance is called."""
    spans = list(covered(words, _phrases(tuple(substances().values()))))
    span_of = [n for n, (begin, end, _) in enumerate(spans) for _ in range(begin, end)]
    known = [spans[n][2] is not None for n in span_of]
    for begin in range(len(words)):
        for end in range(begin + 1, min(len(words), begin + _MOST_JOINED) + 1):
            if not (known[begin] and span_of[begin] == span_of[end - 1]):
                yield _Join(begin, end, "".join(words[begin:end]), not all(known[begin:end]))


def _outermost(joins: Sequence[_Join], meets: Callable[[Ban, _Join], bool], machine: str) -> Iterator[tuple[int, str]]:
    """The bans that a text meets, as their number and the word; none within a longer phrase that is banned, too."""
    all_bans = list(enumerate(bans()))
    met = [(join, number) for join in joins for number, one in all_bans if meets(one, join)]
    for join, number in met:
        if machine in bans()[number].machines and not any(join.within(other) for other, _ in met):
            yield number, join.text


def _is(one: Ban, join: _Join) -> bool:
    """Whether the words are the ban's as they stand."""
    return join.text in one.exact or (join.end - join.begin == 1 and any(core in join.text for core in one.cores))


def _is_nearly(one: Ban, join: _Join) -> bool:
    """Whether the words are the ban's but for a slip of spelling."""
    if not join.strange or join.end - join.begin > _MOST_MISSPELT:
        return False
    return any(nearly(as_read, word) for as_read in (join.text, join.heard) for word in one.heard.get(as_read[0], ()))


@cache
def bans() -> tuple[Ban, ...]:
    """Every ban, in the order of its file."""
    return tuple(
        Ban(
            words=tuple(one["words"]), why=one["why"], sources=tuple(one["sources"]), machines=tuple(one["machines"])
        )
        for one in read_toml(shipped() / "bans.toml")["bans"]
    )  # fmt: skip


@cache
def substances() -> dict[str, Substance]:
    """Every substance that a laser may work, by key."""
    return {
        key: Substance(
            name=one["name"], parts=tuple(one["parts"]),
            words={language: tuple(words) for language, words in one["words"].items()},
        )
        for key, one in read_toml(shipped() / "substances.toml")["substances"].items()
    }  # fmt: skip


@cache
def _harmless() -> dict[str, tuple[str, ...]]:
    """Words that may stand beside any substance, by language."""
    return {
        language: tuple(words) for language, words in read_toml(shipped() / "substances.toml")["harmless"].items()
    }  # fmt: skip


@cache
def _phrases(among: tuple[Substance, ...]) -> dict[str, Substance | str]:
    """What each squeezed phrase stands for: a substance; or "" for a part of one, or for no harm."""
    harmless: dict[str, Substance | str] = {squeezed(word): "" for words in _harmless().values() for word in words}
    parts: dict[str, Substance | str] = {squeezed(part): "" for one in among for part in one.parts}
    named = {squeezed(word): one for one in among for words in one.words.values() for word in words}
    return harmless | parts | named


def _language(words: Sequence[str], among: Sequence[Substance]) -> str:
    """The language, besides English, that knows most of the words; "" if none knows more than English."""
    known = _known_words(tuple(among))
    counts = {language: len(set(words) & some) for language, some in known.items()}
    best = max(counts, key=lambda language: (counts[language], language == "en"), default="en")
    return "" if best == "en" or not counts[best] else best


@cache
def _known_words(among: tuple[Substance, ...]) -> dict[str, set[str]]:
    """The words that each language has for these substances, and for what may stand beside any."""
    known: dict[str, set[str]] = {language: set(map(squeezed, some)) for language, some in _harmless().items()}
    for one in among:
        for language, some in one.words.items():
            known.setdefault(language, set()).update(word for phrase in some for word in plain_words(phrase))
    return known


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
    plain = text.lower() if text.isascii() else _in_latin(text, by_shape=by_shape)
    return tuple(_WORD.findall(_SIZE.sub(" ", plain.replace("_", " "))))


def _in_latin(text: str, *, by_shape: bool) -> str:
    text = "".join(sign for sign in unicodedata.normalize("NFKC", text) if unicodedata.category(sign) != "Cf")
    text = (text.translate(_TABLE) if by_shape else text).casefold()
    text = unicodedata.normalize("NFKD", text)
    return "".join(sign for sign in text if unicodedata.category(sign)[0] != "M").translate(_TABLE)


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
