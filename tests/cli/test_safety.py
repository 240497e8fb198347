"""What must never meet a laser doesn't, whatever is asked; what must be asked, is."""

from __future__ import annotations

import itertools
import json
import re
import shutil

import pytest

from carvegen.facts import feeds
from carvegen.facts.cautions import parted
from carvegen.facts.profiles import Library, Verdict, shipped
from tests.cli.running import SMALL, TINY, run, small, tree
from tests.strategies import MANY, few

NEVER = ("vinyl-soft", "rubber-soft", "embossing-polycarbonate")
SQUARE = '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm"><rect width="40" height="30"/></svg>'
#: Everything that might be thought to change a verdict.
ASIDES = {
    "machine": ("--machine", "laser-bed"),
    "declare": ("--declare", "maple, no PVC in it, I have asked"),
    "safe": ("--declare", "cherry"),
    "thin": ("--thickness", "3", "--depth", "0.5"),
    "json": ("--json",),
    "laser": ("--for", "laser"),
    "hand too": ("--for", "laser", "--for", "hand"),
    "preset": ("--weather", "sparse", "--dxf", "R12"),
}
ASKED = [some for n in ((0, 1, 2) if MANY else (0, 1, len(ASIDES))) for some in itertools.combinations(ASIDES, n)]


def test_the_shipped_profiles_say_never():
    shelf = Library()
    assert all(shelf.material(key).permits["laser"].verdict is Verdict.NEVER for key in NEVER)


@pytest.mark.parametrize("material", NEVER)
@pytest.mark.parametrize("asked", ASKED, ids="+".join)
def test_no_option_makes_a_laser_file_of_it(own_folder, capsys, material, asked):
    words = [word for name in asked for word in ASIDES[name]]
    ran = run(capsys, *small(material=material), "--out", "sky", *words)
    assert ran.code == 3
    assert Library().material(material).permits["laser"].why in ran.err
    assert "what to do" in ran.err
    assert tree(own_folder) == {}


@pytest.mark.parametrize("material", NEVER)
@pytest.mark.parametrize("cutter", ["v-60", "u-1"])
@pytest.mark.parametrize("asked", ["--for laser", "--for hand --for laser", "--machine laser-bed"])
def test_asking_for_the_laser_beside_a_hand_tool_is_refused_too(own_folder, capsys, material, cutter, asked):
    ran = run(capsys, *small(material=material, cutter=cutter), "--out", "sky", *asked.split())
    assert ran.code == 3, ran
    assert tree(own_folder) == {}


@pytest.mark.parametrize("material", NEVER)
def test_check_refuses_a_laser_cutter(own_folder, capsys, material):
    (own_folder / "a.svg").write_text(SQUARE)
    ran = run(capsys, "check", "a.svg", "--material", material, "--cutter", "laser-fine", "-o", "a.png")
    assert ran.code == 3
    assert not (own_folder / "a.png").exists()
    ran = run(capsys, "check", "a.svg", "--material", material, "--cutter", "v-60", "--machine", "laser-bed")
    assert ran.code in (2, 3)


@pytest.mark.parametrize("whence", ["--profiles", "configuration"])
def test_a_profile_of_the_users_own_cannot_say_yes(own_folder, capsys, tmp_path, whence):
    folder = tmp_path / ("mine" if whence == "--profiles" else "config/carvegen/profiles")
    (folder / "materials").mkdir(parents=True)
    text = (shipped() / "materials" / "vinyl-soft.toml").read_text(encoding="utf-8")
    yes = text.replace('[laser]\nverdict = "never"', '[laser]\nverdict = "yes"')
    assert yes != text
    more = ("--profiles", folder) if whence == "--profiles" else ()
    lime = yes.replace("plasticised PVC", "lime wood")
    for name, words in {
        "vinyl-soft": yes,
        "soft-block": yes,
        "no-pvc": yes.replace("plasticised PVC", ""),
        "limes": lime,  # its name is still soft carving vinyl
        "foams": lime.replace("soft carving vinyl", "EVA foam"),
        "boards": lime.replace("soft carving vinyl", "my boards").replace("lime wood", "something new"),
    }.items():
        path = folder / "materials" / f"{name}.toml"
        path.write_text(words, encoding="utf-8")
        ran = run(capsys, *small(material=name), "--out", "sky", *more)
        assert ran.code in (2, 3), (name, ran)
        assert "never" in ran.err or "composition" in ran.err
        assert tree(own_folder) == {}


@pytest.mark.parametrize("material", few(["vinyl-soft", "rubber-soft"], 1))
def test_by_hand_it_is_written_and_only_by_hand(own_folder, capsys, material):
    ran = run(capsys, *small(size="20x15mm", material=material, cutter="v-60"), "--out", "sky")
    assert ran.code in (0, 1)
    whole = {"proof.png", "proof.html", "proof.svg", "report.json", "hand"}
    assert {path.name for path in (own_folder / "sky").iterdir() if not path.name.startswith(".")} == whole
    assert {path.name for path in (own_folder / "sky/hand").iterdir()} == {"note.md", "guide.pdf", "guide.svg"}


def test_stale_machine_files_go_and_the_users_own_stay(own_folder, capsys, made):
    """A laser folder of an earlier run beside a hand guide of this one could be taken for this block's."""
    shutil.copytree(made("sky", *small(size="20x15mm")), own_folder / "sky")
    (own_folder / "sky/mine.txt").write_text("ferry at nine")
    (own_folder / "sky/router/mine.txt").write_text("keep")
    assert (own_folder / "sky/laser/block.svg").exists()
    by_hand = small(size="20x15mm", material="vinyl-soft", cutter="v-60")
    assert run(capsys, *by_hand, "--out", "sky").code in (0, 1)
    left = tree(own_folder / "sky")
    assert not any(name.startswith("laser") for name in left)
    assert [name for name in left if name.startswith("router/")] == ["router/mine.txt"]
    assert left["mine.txt"] == b"ferry at nine"


def _asked_alike() -> list[str]:
    """A material for each set of verdicts; every one where there is time for many."""
    shelf, first = Library(), dict[tuple[str, ...], str]()
    for key in shelf.keys("materials"):
        permits = shelf.material(key).permits
        first.setdefault(tuple(f"{kind} {each.verdict.value}" for kind, each in permits.items()), key)
    return list(shelf.keys("materials")) if MANY else list(first.values())


@pytest.mark.parametrize("material", _asked_alike())
def test_an_open_question_is_asked_everywhere(own_folder, capsys, material):
    """Where the verdict is `ask`: on the terminal, in the report and before all else in the note."""
    permits = Library().material(material).permits
    asked = [kind for kind, permit in permits.items() if permit.verdict is Verdict.ASK]
    cutter = "laser-fine" if permits["laser"].verdict is not Verdict.NEVER else "v-60"
    declared = f"as the maker says: {Library().material(material).composition}"
    ran = run(
        capsys,
        *small(material=material, cutter=cutter, size="20x15"),
        "--snow",
        "0",
        "--no-paths",
        "--out",
        "sky",
        "--declare",
        declared,
    )
    report = json.loads((own_folder / "sky" / "report.json").read_text(encoding="utf-8"))
    assert len(report["open_questions"]) == len(asked)
    for kind in asked:
        assert permits[kind].why in ran.out[ran.out.index("ASK FIRST") :]
        assert any(question.startswith(kind) for question in report["open_questions"])
        note = (own_folder / "sky" / kind / "note.md").read_text(encoding="utf-8")
        assert note.index("Open question") < note.index("## What this is")
        assert note.split("\n\n")[1].startswith("## Open question")
        assert declared in note
    if not asked:
        assert "ASK FIRST" not in ran.out


def test_what_is_declared_is_shown(own_folder, capsys):
    ran = run(capsys, *TINY, "--out", "sky", "--declare", "linseed oil, cork dust, jute")
    assert "linseed oil, cork dust, jute" in ran.out
    assert "linseed oil, cork dust, jute" in (own_folder / "sky/laser/note.md").read_text(encoding="utf-8")
    undeclared = run(capsys, *TINY, "--out", "sky")
    assert "NOT DECLARED" in undeclared.out


@pytest.mark.parametrize(
    "declared",
    ["PVC", "lino, or vinyl", "unknown", "free of chlorine", "?", "P V C", "EPS foam board", "EVA foam", "LVT",
     "Vynil flooring", "пвх", "moist lino", "wet, damp block", "recycled plastic", "polyurethane foam", "nylon",
     "CCA-treated pine", "sticky-back lino", "soft-cut lino", "something new", "cherry", "solid wood"],
)  # fmt: skip
def test_what_is_declared_may_forbid_the_laser(own_folder, capsys, declared):
    for asked in few([(), ("--json",), ("--for", "laser"), ("--for", "laser", "--for", "hand")], 2):
        ran = run(capsys, *SMALL, "--out", "sky", "--declare", declared, *asked)
        assert ran.code == 3
        assert "--declare" in ran.err
        assert "what to do" in ran.err
        assert tree(own_folder) == {}


@pytest.mark.parametrize("declared", ["something new", "EVA foam"])
def test_by_hand_it_may_still_be_cut(own_folder, capsys, declared):
    ran = run(capsys, *small(size="20x15mm", cutter="v-60"), "--out", "sky", "--for", "hand", "--declare", declared)
    assert ran.code in (0, 1)
    assert {path.name for path in (own_folder / "sky").iterdir() if path.is_dir()} == {"hand"}
    assert declared in (own_folder / "sky/hand/note.md").read_text(encoding="utf-8")
    (own_folder / "a.svg").write_text(SQUARE)
    words = ("check", "a.svg", "--material", "linoleum", "--declare", declared)
    assert run(capsys, *words, "--cutter", "v-60").code in (0, 1)
    assert run(capsys, *words, "--cutter", "laser-fine").code == 3


@pytest.mark.parametrize("material", few(["linoleum", "embossing-acrylic", "cherry"], 2))
def test_nothing_says_power_or_speed(made, material):
    """No setting of a machine is given anywhere; the words stand only where they are left to the shop.

    But a router's note says with which feeds to begin trying, one line for each cutter, with the caution.
    """
    sky = made("sky", *small(material=material, size="20x15mm"))
    settings = re.compile(
        r"\d\s*(%\s*(of\s*)?(power|speed)|w\b|watt|mm\s*/\s*(s|min)|m\s*/\s*min|in\s*/\s*min|rpm|ipm|ppi|hz|khz|dpi)",
        re.IGNORECASE,
    )
    shelf = Library()
    # they say from how many watts a beam is a danger, and to keep to the maker's largest speed
    cautions = [caution for key in shelf.keys("machines") for caution in shelf.machine(key).cautions]
    for name, data in tree(sky).items():
        if name.endswith((".md", ".json", ".svg", ".dxf")) and data != b"folder":
            text = data.decode("utf-8")
            for part in (part for caution in cautions for part in (caution, *parted(caution)) if part):
                text = text.replace(re.sub(r" \[[^\]]*\]$", "", part), "")  # its sources are numbers in a note
            if name == "router/note.md":
                assert feeds.CAUTION in text
                text = re.sub(r"(?m)^- \S+: try \d+ rpm.*$", "", text)
            assert not settings.search(text), (name, settings.search(text))
            for said in text.split("."):
                if re.search(r"\b(?:power|speed|feed rate)\b", said, re.IGNORECASE):
                    assert "no power" in said or "the shop's" in said, (name, said)
