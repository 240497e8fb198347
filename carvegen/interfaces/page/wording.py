"""What the page calls things: marks, motifs, files of a build, faults of our own."""

from __future__ import annotations

import math
import os
import re
import shlex
import subprocess
from collections.abc import Iterable, Sequence
from pathlib import Path, PurePosixPath

from carvegen.base.errors import CarvegenError
from carvegen.base.progress import GUESSED
from carvegen.base.words import lasted, shortened
from carvegen.marking.marks import Meaning

__all__ = [
    "IN_SHORT", "MEANINGS", "before_mending_words", "beside_words", "clearing_words", "command_for", "explained",
    "more_words", "moved_words", "name_words", "noun", "own_fault", "print_words", "recut_words", "so_far",
    "strip_words", "to_go", "uncleared_words", "understood_lines", "unread_words", "unsure_lines",
]  # fmt: skip

#: What the page says of each meaning; it is called there as on papers and in files.
MEANINGS = {
    Meaning.COMES_OUT: "bare paper on every block that would print here, whatever has grown",
    Meaning.STAYS: "prints; snow keeps out of it",
    Meaning.CARVER_DECIDES: "what is bare here may be taken or left, gouge in hand",
    Meaning.MORE: "snow lies denser, more where the pencil is heavier",
    Meaning.LESS: "snow lies thinner, more so where the pencil is heavier",
    Meaning.GROW_AGAIN: "what has grown here goes, and grows anew",
}
#: The same on the pencils themselves.
IN_SHORT = {
    Meaning.COMES_OUT: "bare paper",
    Meaning.STAYS: "prints, no snow",
    Meaning.CARVER_DECIDES: "gouge in hand",
    Meaning.MORE: "denser snow",
    Meaning.LESS: "thinner snow",
    Meaning.GROW_AGAIN: "another try",
}
#: More snow than that, mm² and as a share of what was painted, is told if it goes beside it; our own choice
_BESIDE_MM2, _BESIDE = 1.0, 0.5
_INSTEAD = "draw own snow here, or mark it comes out"
#: So much of a mark that asks for more, times its strength, turns white at least; of less it is said why.
_SEEN = 0.04
#: Words of the shop, told where they are met first.
_EXPLAINED = (
    (re.compile(r"\bkerf\b"), "the width that the beam or cutter takes away"),
    (re.compile(r"\bundercuts?\b"), "a wall that leans in under what is to print"),
    (re.compile(r"\binterlocks?\b"), "the switch that stops the beam when the lid is opened"),
)

#: Files of the whole print and of a block, by their names; of a block's ink alone by its folder.
_NOUNS = {
    "print.png": "the print, as a picture",
    "proof.html": "the proof, to look into: every block, what was found, the cautions",
    "print.svg": "the print, as shapes",
    "rubbing.png": "a rubbing of all blocks",
    "rubbing.svg": "the outlines of all blocks",
    "changed.png": "what the new drawing has changed",
    "report.json": "all that was found, for other programs",
    "register/register.png": "what shows when the blocks do not quite meet",
    "register/register.json": "the same in figures",
    "register/boards.pdf": "the template for laying the blocks",
    "register/boards.svg": "the template for laying the blocks, on one sheet",
    "register/sheets.pdf": "the template for laying the paper",
    "register/sheets.svg": "the template for laying the paper, on one sheet",
}
_OF_A_BLOCK = {
    "proof.png": "a proof of it",
    "proof.html": "its proof, to look into",
    "proof.svg": "its proof, as shapes",
    "changes.png": "what was mended on it",
    "land-width.png": "how wide its land is",
    "land-width.svg": "how wide its land is, as shapes",
    "report.json": "what was found on it, for other programs",
    "guide.pdf": "the carving guide",
    "guide.svg": "the carving guide, on one sheet",
    "note.md": "the note with its cautions",
    "paths.png": "what the machine follows, as a picture",
}

#: A shape of a drawing as its file has it; she knows only the name that she may have given it.
_ELEMENT = re.compile(r" \(<\w+(?: id='([^']*)')?> in line \d+\)")

#: What is said beside what was understood of a picture whose inks were told apart.
_TOLD_APART = (
    "Look closely at thin pale lines beside dark ones: a blurred edge can look like an ink.",
    "Light is taken as even: a scan, or a photograph without shadows, is told apart best.",
)
_FULL = 0.25  #: of a mark that is white to so much it is said how much; our own choice
_SOON_S = 5.0  #: for so long nobody asks how long it takes


def noun(name: str) -> str:
    """What a file of a build is, by its name in the build's folder; its own name where it is no file of ours."""
    if name in _NOUNS:
        return _NOUNS[name]
    path = PurePosixPath(name)
    if path.suffix == ".zip":
        return f"the files for the {path.stem.rpartition('-')[2]}, with their note"
    if path.parts[0] == "inks":
        lies = path.stem.endswith("-block")
        return f"the {path.stem.removesuffix('-block')} block alone, {'as it lies' if lies else 'as it prints'}"
    return _OF_A_BLOCK.get(path.name, path.name)


def command_for(path: Path | None, options: Sequence[str] = ()) -> str:
    """What is typed into the terminal to open a print on the page, from the folder where the program was started.

    Parameters
    ----------
    options
        With which it was started, each as it was typed.
    """
    here, words = Path.cwd(), ["carvegen", "mark"]
    if path is not None:
        words.append(str(path.relative_to(here) if path.is_relative_to(here) else path))
    words += options
    return subprocess.list2cmdline(words) if os.name == "nt" else shlex.join(words)


def explained(*texts: str) -> list[str]:
    """Texts with each word of the shop told where it stands first."""
    lines, met = list[str](), set[str]()
    for text in texts:
        for word, meaning in _EXPLAINED:
            result = None if meaning in met else word.search(text)
            if result is not None:
                met.add(meaning)
                text = f"{text[: result.end()]} ({meaning}){text[result.end() :]}"  # noqa: PLW2901
        lines.append(text)
    return lines


def understood_lines(notes: Iterable[str], *, why: Iterable[str], several: bool) -> list[str]:
    """What was understood of a drawing or a picture, a sentence a line: how its blocks came about, and notes.

    Of a picture whose inks were told apart (`several`) also what is to be looked at.
    """
    plain = [_ELEMENT.sub(lambda part: f" ({part[1]})" if part[1] else "", note).removesuffix(".") for note in notes]
    return [*why, *(f"{note[:1].upper()}{note[1:]}." for note in plain), *_TOLD_APART * several]


def name_words(fault: str) -> str:
    """What the page says of a block's name that can't be, at its field; "" of one that can."""
    if fault == "is empty":
        return "A name needs a letter from a to z, or a digit."
    return fault and f"This name {fault}: choose another."


def print_words(name: str, blocks: Sequence[str]) -> str:
    """What a print is that lies there already, and that it is opened, not begun: its name and its blocks, if known."""
    count = f"{len(blocks)} block{'s' * (len(blocks) != 1)}: {', '.join(blocks)}" if blocks else ""
    return f"Open this print, already begun. {'; '.join(filter(None, [name, count]))}".strip()


def unsure_lines(places: int, area_mm2: float, *, several: bool, picked: bool) -> list[str]:
    """What is said of places of a picture that are not sure, and what to do.

    `several` inks were told apart, by colours that were `picked` by hand or not.
    """
    where = f"Not sure at {places} place{'s' * (places > 1)}, {max(area_mm2, 1):.0f} mm² together"
    lines = [f"{where}: hatched and ringed on your photograph."]
    if several and picked:
        lines.append(
            "What helps: one more ink if one is missing. If an ink pales in a corner, that is the light or thin ink."
        )
    elif several:
        lines.append("What helps: count the inks again, or pick their colours by hand.")
    else:
        lines.append("What helps: if it is a print in several inks, count them.")
    return [
        *lines,
        "Or take another photograph: in even light, as by a window on a dull day, without shadow or glare. "
        "Else put it right in the drawing.",
    ]


def so_far(passed_s: float, before_s: float) -> str:
    """How long work has gone on, and how long it took the time before, unless it was soon done; nothing is guessed."""
    here = f"{lasted(passed_s)} so far, slower while other programs work" if passed_s >= _SOON_S else ""
    before = f"this print took {lasted(before_s)} last time" if before_s >= _SOON_S else ""
    return "; ".join(filter(None, [here, before]))


def to_go(passed_s: float, part: float | None) -> str:
    """About how much longer work goes on if it goes on as it has; "" where too little of it is done to tell."""
    if part is None or passed_s < _SOON_S or not GUESSED <= part < 1:
        return ""
    left = passed_s / part - passed_s
    return f"about {10 * math.ceil(left / 10)} s to go" if left <= 50 else f"about {math.ceil(left / 60)} min to go"


def more_words(before: float, after: float, strength: float, *, lies: bool, none: Sequence[str] = ()) -> str:
    """Why hardly any snow came where more was asked, and what to do instead; "" where it can be seen.

    Parameters
    ----------
    before, after
        How much of the mark is white, 0…1.
    lies
        Only snow that lies on things was meant.
    none
        What was meant too and does not grow.
    """
    if after - before >= _SEEN * strength:
        return ""
    came = "no snow came" if after - before < _SEEN * strength / 4 else "hardly any snow came"
    other = "mean falling snow"
    if none:
        plural = len(none) > 1
        grow, their = ("do", "their") if plural else ("does", "its")
        came = f"{' and '.join(none)} {grow} not grow: {their} weather is none. Of all else {came}"
        other = f"have {'those' if plural else 'that'} grow on the slip Weather"
    if lies:
        return f"{came}: this kind lies along upper edges alone. Draw over such an edge, {other}, or {_INSTEAD}"
    room = "what is drawn and what lies here already leave no room for one more flake"
    white = f"{100 * after:.0f} % is white here already" if after >= _FULL else room
    return f"{came}: {white}. Other flakes need land between them: {_INSTEAD}"


def before_mending_words(*, since: bool, stopped: bool, failed: bool) -> str:
    """What stands on the picture until blocks that the build mends are shown mended; whether nobody works that out.

    `since` they were shown mended something was changed.
    """
    what = "Mended by the last look, but what you changed since is not" if since else "Before mending: as drawn"
    if stopped:
        return f"{what}. You stopped the look at the whole print; nobody looks until you begin it again."
    if failed:
        return f"{what}. The whole print could not be looked at, and nobody is looking now."
    return f"{what}, until the whole print has been looked at or its files are made."


def clearing_words(block: str, *, snow: bool) -> list[dict[str, str]]:
    """What clears a place that would break by a mark: its meaning, the words of its button, and what it does.

    Without `snow` beside it, or on a block that is cut already, keeping snow off helps nothing; what is too thin can
    still come out.
    """
    stays = {
        "meaning": Meaning.STAYS,
        "button": "No snow here",
        "help": "The snow beside it goes; what is drawn stands.",
    }
    comes_out = {
        "meaning": Meaning.COMES_OUT, "button": f"Take it out of {block}",
        "help": f"What is too thin goes from the {block} block; other inks stay.",
    }  # fmt: skip
    return [stays, comes_out] if snow else [comes_out]


def uncleared_words(*, other: bool) -> str:
    """What is left to do where a mark clears nothing; `other` if the place has another button for a mark."""
    return "try the other button, " * other + "draw it thicker there, print it larger, or leave it to your knife"


def strip_words(block: str, places: int, *, snow: bool) -> dict[str, str]:
    """What clears all places of one land that would break: the words of its button, and what it does."""
    out = f"what is too thin along it goes from the {block} block"
    first = f"The snow along it goes; if that does not help, {out}." if snow else f"{out.capitalize()}."
    return {"button": f"Clear the whole strip, {places} places", "help": first}


def beside_words(painted: float, gone: float) -> str:
    """That more snow went than was painted over, and why; "" where it is hardly more.

    Parameters
    ----------
    painted, gone
        Snow under the mark before it, and snow that is gone, mm².
    """
    if gone < painted + max(_BESIDE_MM2, _BESIDE * painted):
        return ""
    return (
        f"{gone:.0f} mm² of snow went, {painted:.0f} of it painted: what is left ends as snow does. "
        "While you draw, a dashed line shows what goes"
    )


def moved_words(gone: float) -> str:
    """That snow beside a mark that asks for more has moved or gone, mm²; "" where it is hardly any."""
    if gone < _BESIDE_MM2:
        return ""
    return f"beside the mark {gone:.0f} mm² of snow moved or went, to leave land between; Take back undoes that"


def own_fault(error: BaseException) -> CarvegenError:
    """A fault of ours in words, or the error itself if it is one that can be shown."""
    if isinstance(error, CarvegenError):
        return error
    fault = shortened(f"{type(error).__name__}: {error}")
    hint = "nothing was changed by this; open the print again, and send us this line"
    return CarvegenError(f"a fault of its own, not yours: {fault}", hint=hint)


def recut_words(kept: int, mended: int, gone: int, new: int) -> str:
    """What became of the shapes of locked snow when others came to cut it."""
    return f"Locked snow: {kept} kept as they were, {mended} mended where they lie, {gone} gone, {new} new."


def unread_words(motif: str) -> str:
    """Of locked snow whose shapes can't be changed one by one, when others come to cut it."""
    return (
        f"{motif} was not looked at: its file or its drawing was changed elsewhere; take this back, lock {motif} anew, "
        "then choose again"
    )
