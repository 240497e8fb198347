"""What a declared composition forbids: the words that mean never under a laser."""

from __future__ import annotations

import re
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
    (r"pvc|vinyls?|polyvinyl chloride|chlor\w*|halogen\w*|imitation leather|leatherette",
     "it gives off hydrogen chloride or its like, which poisons people and eats the machine",
     f"{_TEXAS}; {_CHICAGO}"),
    (r"rubber|elastomers?|neoprene|nitrile|latex", "its formula may hold chlorine", _TEXAS),
    (r"fluor\w*|ptfe", "it gives off carbonyl fluoride", _TEXAS),
    (r"abs|acrylonitrile\w*|epoxy|epoxies|fib(?:re|er)glass|glass fib(?:re|er)|carbon fib(?:re|er)",
     "it gives off hydrogen cyanide or resin fume", _TEXAS),
    (r"polystyrene|polypropylene", "it melts and catches fire", _CHICAGO),
    (r"polycarbonate", "it browns, melts and flames", f"{_CHICAGO}; {_TEXAS}"),
    (r"polyethylene|hdpe|ldpe", "it melts and catches fire", f"{_CHICAGO}; {_TEXAS}"),
    (r"(?:adhesive|self)[- ]?(?:backed|adhesive)", "its glue fouls the lens and burns", _TEXAS),
    (r"pressure[- ]treated|preservatives?", "its preservative gives off poisonous fume", _WORKSHOP),
    (r"unknown|not known|undeclared|unsure|undisclosed|unnamed", "nobody can say what it gives off",
     "common practice, no source"),
)  # fmt: skip


def ban(composition: str) -> Ban | None:
    """Why something of this composition never meets a laser; None if no word in it forbids it.

    It looks for whole words and doesn't understand sentences: "free of PVC" is banned as well, so a
    composition says what a thing is made of. Nothing found doesn't mean that it is safe. No composition
    at all is banned.
    """
    for pattern, why, source in _BANS:
        found = re.search(rf"\b(?:{pattern})\b", composition, re.IGNORECASE)
        if found:
            return Ban(word=found[0], why=why, source=source)
    if not re.search(r"[^\W\d_]", composition):
        return Ban(word="", why="nobody says what it is made of", source="common practice, no source")
    return None
