"""The examples of the gallery: a folder each, with its print file or command, its artwork, and small pictures."""

from __future__ import annotations

import contextlib
import io
import shlex
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import pypdfium2
from PIL import Image

from carvegen.interfaces.cli import main

__all__ = ["EXAMPLES", "SMALLEST", "Shot", "build", "rebuilt"]

HERE = Path(__file__).parent
COMMAND = "command.txt"
_GAP = 12
_CHROMIUM = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update", "--hide-scrollbars", "--window-size=1400,1000",
    "--timeout=8000",  # real time: the page draws when its picture has been read
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Shot:
    """One picture: which of the files that were written, and how it is made small."""

    file: str
    given: str = "print.toml"  #: the print file or the command that writes it
    width: int = 900
    colours: int = 32
    corner: tuple[float, float, float, float] = (0, 0, 1, 1)  #: left, top, right, bottom, as shares of the whole
    legend: bool = False  #: colours are explained in it: small patches keep theirs


#: By folder: its pictures by name.
EXAMPLES: Mapping[str, Mapping[str, Shot]] = {
    "ferry-landing": {
        "winter": Shot(file="print.png", width=1000),
        "autumn": Shot(given="autumn.toml", file="print.png", width=1000),
        "embossed": Shot(given="embossed.toml", file="print.png", width=1000),
        "embossed-die": Shot(given="embossed.toml", file="inks/die.png", corner=(0.62, 0.08, 1, 1), width=600),
        "winter-sky": Shot(file="inks/sky.png", width=1000),
        "winter-tone": Shot(file="inks/tone.png", width=1000),
        "winter-key": Shot(file="inks/key.png", width=1000),
        "register": Shot(file="register/register.png", width=1000, legend=True),
    },
    "falling-snow": {
        "proof": Shot(given=COMMAND, file="proof.png"),
        "paths": Shot(given=COMMAND, file="laser/paths.png", legend=True),
        "sheet": Shot(given=COMMAND, file="proof.html", width=1000, colours=64),
    },
    "frosted-window": {
        "print": Shot(file="print.png", width=700),
        "simulated": Shot(file="night/router/simulated.png", width=700, colours=24),
        "simulated-corner": Shot(file="night/router/simulated.png", colours=24, corner=(0.52, 0.06, 0.94, 0.44)),
    },
    "jetty-boards": {
        "print": Shot(file="print.png"),
        "grain": Shot(file="boards/proof.png"),
        "paths": Shot(file="boards/router/paths.png", legend=True),
    },
    "lamplight": {
        "print": Shot(file="print.png", width=1000),
        "light": Shot(file="inks/light.png", width=500),
        "sky": Shot(file="inks/sky.png", width=500),
        "tone": Shot(file="inks/tone.png", width=500),
        "key": Shot(file="inks/key.png", width=500),
        "guide": Shot(file="key/hand/guide.pdf", width=1400, colours=16),
    },
}

#: What the tests build again.
SMALLEST = ("falling-snow", "proof")


def build(folder: str, *, say: Callable[[str], None]) -> None:
    """Build an example anew and put its pictures into its folder."""
    with tempfile.TemporaryDirectory() as work:
        made = {given: _made(folder, given, Path(work)) for given in {its.given for its in EXAMPLES[folder].values()}}
        for name, shot in EXAMPLES[folder].items():
            picture = _picture(shot, made[shot.given])
            if picture is None:
                say(f"{folder}/{name}.png is left as it was: there is no chromium here")
            else:
                picture.save(HERE / folder / f"{name}.png", optimize=True)


def rebuilt(folder: str, name: str) -> Image.Image | None:
    """One picture of an example, built anew; None if the program that draws it is not there."""
    with tempfile.TemporaryDirectory() as work:
        shot = EXAMPLES[folder][name]
        return _picture(shot, _made(folder, shot.given, Path(work)))


def _made(folder: str, given: str, work: Path) -> Path:
    """What a print file or a command writes; it is run in the example's folder, as its reader would."""
    out = work / Path(given).stem
    words = ["build", given, "--out", "built"]
    if given == COMMAND:
        words = shlex.split((HERE / folder / given).read_text(encoding="utf-8"))[1:]
    words = [str(out) if word == "built" else word for word in words]
    with contextlib.chdir(HERE / folder):
        code = _run([*words, "--quiet"])
    if code > 1:  # 1: findings, which a picture may have
        raise SystemExit(code)
    return out


def _run(words: list[str]) -> int:
    with contextlib.redirect_stdout(io.StringIO()):
        try:
            main(words)
        except SystemExit as done:
            return int(done.code or 0)
    return 0


def _picture(shot: Shot, made: Path) -> Image.Image | None:
    file = made / shot.file
    drawn = {".pdf": _pages, ".html": _page}.get(file.suffix, Image.open)(file)
    return None if drawn is None else _small(drawn.convert("RGB"), shot)


def _small(picture: Image.Image, shot: Shot) -> Image.Image:
    """A piece of a picture at a given width and in few colours, for the repository's sake."""
    left, top, right, bottom = shot.corner
    wide, high = picture.size
    piece = picture.crop((round(left * wide), round(top * high), round(right * wide), round(bottom * high)))
    height = round(piece.height * shot.width / piece.width)
    small = piece.resize((shot.width, height), Image.Resampling.LANCZOS)
    return small.quantize(256, Image.Quantize.FASTOCTREE) if shot.legend else small.quantize(shot.colours)


def _pages(file: Path) -> Image.Image:
    """All pages of a PDF side by side, three in a row, on grey."""
    pages = [page.render(scale=1.5).to_pil() for page in pypdfium2.PdfDocument(file)]
    wide, high = (max(page.size[k] for page in pages) for k in (0, 1))
    columns = min(3, len(pages))
    rows = -(-len(pages) // columns)
    whole = Image.new("RGB", (columns * (wide + _GAP) + _GAP, rows * (high + _GAP) + _GAP), "#b9bcc0")
    for k, page in enumerate(pages):
        whole.paste(page, (_GAP + k % columns * (wide + _GAP), _GAP + k // columns * (high + _GAP)))
    return whole


def _page(file: Path) -> Image.Image | None:
    """A page as a browser shows it."""
    browser = shutil.which("chromium")
    if browser is None:
        return None
    shot = file.with_name("page.png")
    where = (f"--user-data-dir={file.parent / 'browser'}", f"--screenshot={shot}", file.resolve().as_uri())
    subprocess.run([browser, *_CHROMIUM, *where], check=True, capture_output=True, timeout=120)
    return Image.open(shot)
