"""Words of others: none of their signs reaches a terminal or a text file, and none is longer than a line.

Control signs: ECMA-48 (C0, C1, from memory); signs that reorder text: Unicode Standard Annex 9, table 4 (from memory).
"""

from __future__ import annotations

import json
import re

import pytest

from carvegen.base.words import plain, shortened
from tests.cli.running import SMALL, run, tree

SIGNS = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]")
EVIL = "ab\x1b[2J\x9b31m\u202ecd\u2066e"
#: The same without what XML 1.0 does not allow.
DRAWN = EVIL.replace("\x1b", "\x85")
SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30">'
    '<g id="{}"><rect x="5" y="5" width="9" height="9"/><path d="M1 1L4 4"/></g></svg>'
)
HAND = (*SMALL[:5], "--cutter", "v-60", "--for", "hand", "--seed", "3", "--snow", "0")


def assert_plain(*texts: str) -> None:
    for text in texts:
        assert not SIGNS.search(text), ascii(SIGNS.search(text))
        assert max(map(len, text.splitlines()), default=0) < 2500


@pytest.mark.parametrize("name", [EVIL, "n" * 20_000, "one\nASK FIRST: forged"], ids=["signs", "long", "lines"])
def test_keys_and_tables_of_a_print_file(own_folder, capsys, name):
    quoted = json.dumps(name)
    (own_folder / "print.toml").write_text(
        f"[print]\nname = {quoted}\nsize_mm = [40, 30]\n{quoted} = 1\n[{quoted}]\n[[blocks]]\nname = {quoted}\n"
        f"role = {quoted}\nmaterial = {quoted}\n{quoted} = {quoted}\n",
        encoding="utf-8",
    )
    ran = run(capsys, "build", "print.toml", "--out", "built")
    assert ran.code == 2
    assert_plain(ran.out, ran.err)
    assert not [line for line in ran.err.splitlines() if line.startswith("ASK FIRST")]


@pytest.mark.parametrize("name", [EVIL, "f" * 150, "one\nASK FIRST: forged"], ids=["signs", "long", "lines"])
def test_names_of_files_and_options(own_folder, capsys, name):
    for words in (
        ("check", f"{name}.svg", *SMALL[3:7]), ("read", f"{name}.svg"),
        (*HAND, "--out", f"{name}/x", "--machine", name),
        (*HAND, "--out", "sky", f"--{name}"), (name,), ("profiles", "show", name), ("build", name, "--out", "x"),
    ):  # fmt: skip
        ran = run(capsys, *words)
        assert ran.code == 2, words
        assert_plain(ran.out, ran.err)
    (own_folder / f"{name}.svg").write_text(SVG.format("A"), encoding="utf-8")
    for words in (
        ("check", f"{name}.svg", *SMALL[3:7]), ("read", f"{name}.svg"),
        ("mend", f"{name}.svg", *HAND[3:9], "--out", "mended"), (*HAND, "--out", "sky", "--keep-clear", f"{name}.svg"),
    ):  # fmt: skip
        ran = run(capsys, *words)
        assert ran.code in (0, 1, 2), ran.err
        assert_plain(ran.out, ran.err)
        assert not [line for line in (ran.out + ran.err).splitlines() if line.startswith("ASK FIRST: forged")]


@pytest.mark.parametrize("name", [DRAWN, "l" * 20_000, "one&#10;# forged"], ids=["signs", "long", "lines"])
def test_names_of_layers_on_the_terminal_and_in_every_text_that_is_written(own_folder, capsys, name):
    (own_folder / "a.svg").write_text(SVG.format(name), encoding="utf-8")
    for words in (
        ("read", "a.svg", "-o", "clean.svg"), ("check", "a.svg", *SMALL[3:7]),
        ("mend", "a.svg", *HAND[3:9], "--out", "mended"), (*HAND, "--out", "sky", "--keep-clear", "a.svg"),
        (*HAND, "--out", "sky2", "--keep-clear", "a.svg#B"),
    ):  # fmt: skip
        ran = run(capsys, *words)
        assert ran.code in (0, 1, 2), ran.err
        assert_plain(ran.out, ran.err)
    written = {path: data for path, data in tree(own_folder).items() if path.startswith(("mended", "sky"))}
    notes = [data.decode() for path, data in written.items() if path.endswith(".md")]
    assert notes
    for text in notes:
        assert_plain(text)
        assert not [line for line in text.splitlines() if line.startswith("# forged")]
    for path, data in written.items():
        if path.endswith((".svg", ".html", ".json")):
            assert not SIGNS.search(data.decode()), path


def test_plain_words_stay_as_they_are():
    for text in ("Fähre ½ × …\n\tпаром フェリー", "\u0646\u200c\u0645", "👩\u200d🎨", ""):
        assert plain(text) == text
    assert plain("a\x1b\u202e\udcff\x85") == r"a\x1b\u202e\udcff\x85"
    assert shortened("a\nb") == r"a\nb"
    assert shortened("x" * 100, 30) == "x" * 19 + "…" + "x" * 10
    assert len(shortened("y" * 1000, 50)) == 50
