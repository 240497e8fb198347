"""What a declared composition forbids: the words that mean never under a laser."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

__all__ = ["Ban", "ban"]

_TEXAS = "Univ. of Texas at Austin, School of Architecture, Prohibited Laser Cutter Materials"
_CHICAGO = "Univ. of Illinois Chicago, fabrication lab, Approved Materials"
_WORKSHOP = "community workshop material list"


@dataclass(frozen=True, kw_only=True)
class Ban:
    """A word found in a composition and the reason why it is never put under a laser."""

    word: str
    why: str
    source: str


#: pattern, reason, source; the first that fits is reported.
_BANS = (
    (r"\w*pvc\w*|vinyl\w*|polyvinyl[- ]?chloride|\w*chlor\w*|\w*halogen\w*|imitation leather|leatherette",
     "it gives off hydrogen chloride or its like, which poisons people and eats the machine",
     f"{_TEXAS}; {_CHICAGO}"),
    (r"rubber(?:s|y|i[sz]ed)?|elastomer\w*|neoprene|nitrile|latex", "its formula may hold chlorine", _TEXAS),
    (r"\w*fluor\w*|ptfe", "it gives off carbonyl fluoride", _TEXAS),
    (r"abs|acrylonitrile\w*|epoxy|epoxies|fib(?:re|er)[- ]?glass|(?:glass|carbon)[- ]?fib(?:re|er)s?",
     "it gives off hydrogen cyanide or resin fume", _TEXAS),
    (r"(?:poly)?styrenes?|polypropylenes?|(?-i:PS|PP)", "it melts and catches fire", _CHICAGO),
    (r"polycarbonates?|(?-i:PC)", "it browns, melts and flames", f"{_CHICAGO}; {_TEXAS}"),
    (r"polyethylenes?|polythene|hdpe|ldpe|(?-i:PE)", "it melts and catches fire", f"{_CHICAGO}; {_TEXAS}"),
    (r"(?:adhesive|self)[- ]?(?:backed|adhesive)", "its glue fouls the lens and burns", _TEXAS),
    (r"pressure[- ]?treated|preservatives?", "its preservative gives off poisonous fume", _WORKSHOP),
    (r"unknown|not known|undeclared|unsure|not sure|undisclosed|unnamed|don['’]?t know|do not know|no idea",
     "nobody can say what it gives off", "common practice, no source"),
)  # fmt: skip
_NOTHING = r"[\W\d_]*(?:n/?a|none|nothing|no)?[\W\d_]*"  #: what says nothing


def ban(composition: str) -> Ban | None:
    """Why something of this composition never meets a laser; None if no word in it forbids it.

    It looks for words, however they are joined or spaced, and doesn't understand sentences: "free of PVC" is
    banned as well, so a composition says what a thing is made of. Nothing found doesn't mean that it is safe.
    No composition at all is banned.
    """
    composition = _plain(composition)
    for pattern, why, source in _BANS:
        found = re.search(rf"\b(?:{pattern})\b", composition, re.IGNORECASE)
        if found:
            return Ban(word=found[0], why=why, source=source)
    if re.fullmatch(_NOTHING, composition, re.IGNORECASE):
        return Ban(word="", why="nobody says what it is made of", source="common practice, no source")
    return None


def _plain(text: str) -> str:
    """The text in plain letters, one blank between words and no dots in abbreviations: "P.V.C." is "PVC."."""
    words = " ".join(unicodedata.normalize("NFKC", text).replace("_", " ").split())
    return re.sub(r"(?<=\b\w)\.(?=\w\b)", "", words)
