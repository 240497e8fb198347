"""Cautions: each once where it belongs, complete by hazard, their numbers from the safety facts, deferring."""

from __future__ import annotations

import re
import tomllib
from itertools import chain

import pytest

from carvegen.base.errors import RefusedError
from carvegen.blocks.job import setups_for
from carvegen.facts.cautions import PRINTING, caution, cautions, deference, facts
from carvegen.facts.profiles import Library, shipped
from carvegen.facts.sources import sources
from carvegen.writers.note.block_note import machine_note
from carvegen.writers.proof.proof_pages import block_sheet
from tests import cases

TABLE = tomllib.loads((shipped() / "cautions.toml").read_text(encoding="utf-8"))
CUTTERS = {"laser": "laser-fine", "router": "flat-3", "hand": "v-60"}
MATERIALS = Library().keys("materials")
BY_HAZARD = {
    # what burns, by its class; what carbon dioxide does and doesn't; where embers go
    ("linoleum", "laser"): [
        "water cools", "fire blanket", "metal bin with a lid", "look again", "doesn't cool", "extractor", "asbestos",
        "200 ppm", "interlock", "EN 207", "ISO 19818-1", "Never leave|Someone trained stays",
    ],
    ("cherry", "laser"): ["smoulder", "water cools", "doesn't cool", "35 ppm", "extraction|Extraction"],
    ("birch-plywood", "laser"): ["smoulder", "formaldehyde|Formaldehyde", "0.3 ppm", "0.75 ppm", "carcinogen"],
    ("embossing-acrylic", "laser"): ["drips", "methyl methacrylate", "PVC or styrene"],
    ("cherry", "router"): ["dust class M", "compressed air", "explosible", "85 dBA", "carcinogen", "no gloves"],
    ("mdf", "router"): ["dust class M", "explosible", "0.3 ppm", "hardwood dust"],
    ("linoleum", "router"): ["asbestos", "explosible", "dust class M"],
    ("linoleum", "hand"): ["never with a flame", "asbestos", "20 °C to 25 °C", "behind the edge"],
    ("vinyl-soft", "hand"): ["hydrogen chloride", "benzene", "never warm it with a flame"],
}  # fmt: skip


def test_no_number_and_no_class_is_written_in_a_caution() -> None:
    """They stand in braces; what a citation holds comes from the register."""
    for key, entry in TABLE.items():
        plain = re.sub(r"\{[a-z0-9-]+\}", "", f"{entry['says']} {entry.get('behind', '')}")
        assert not re.search(r"\d", plain), key
        assert not re.search(r"\b(class|group) [A-Z0-9]\b", plain), key
    for path in (*shipped().glob("materials/*.toml"), *shipped().glob("machines/*.toml")):
        profile = tomllib.loads(path.read_text(encoding="utf-8"))
        lists = [profile.get("cautions", []), *(profile.get(kind, {}).get("cautions", []) for kind in CUTTERS)]
        assert not re.search(r"\d", " ".join(text for text in chain(*lists) if " " in text)), path


def test_every_fact_is_told_with_its_unit_and_its_source() -> None:
    named = {
        key: re.findall(r"\{([a-z0-9-]+)\}", entry["says"] + entry.get("behind", "")) for key, entry in TABLE.items()
    }
    assert set(chain(*named.values())) == facts().keys()
    for key, names in named.items():
        for name in names:
            fact = facts()[name]
            assert fact.text in cautions()[key]
            assert sources()[fact.source].text in cautions()[key]


def test_what_is_from_memory_says_so_where_it_is_told() -> None:
    assert "(from memory)" in caution("laser-eyewear")  # the American standard
    assert "from memory" not in caution("laser-fire")
    assert caution("My own words, with {braces}.") == "My own words, with {braces}."


def test_no_caution_is_dead() -> None:
    text = " ".join(path.read_text(encoding="utf-8") for path in shipped().glob("ma*/*.toml"))
    for key in TABLE:
        assert f'"{key}"' in text or key in PRINTING or key.startswith("defer-"), key


def jobs():
    for material in MATERIALS:
        for kind, cutter in CUTTERS.items():
            try:
                (setup_,) = setups_for(cases.SHELF, material=material, cutter=cutter, kinds=[kind])
            except RefusedError:
                continue
            yield material, kind, setup_.on(cases.block(cases.box(10, 10, 20, 20)))


JOBS = list(jobs())


def sentences(text: str) -> list[str]:
    """The sentences of six words or more, without the sources in brackets, in small letters."""
    plain = re.sub(r"\[[^\]]*\]", "", text).lower()
    return [word for word in re.split(r"[.!?;:]\s+|\n", plain) if len(word.split()) > 5 and not word.startswith("|")]


@pytest.mark.parametrize(("material", "kind", "job"), JOBS, ids=[f"{material}-{kind}" for material, kind, _ in JOBS])
def test_a_note_doubles_nothing_and_defers_once(material, kind, job) -> None:
    note = machine_note(job, None, {})
    said = sentences(note)
    assert sorted({each for each in said if said.count(each) > 1}) == []
    assert note.count(deference(kind)) == 1
    assert note.count("local codes and a trained") == 1
    report = note.split("## Cautions")[1]
    assert report.split("\n- ")[1].startswith(deference(kind))  # before all others
    for words in BY_HAZARD.get((material, kind), []):
        assert re.search(words, report), words


def test_every_laser_and_router_note_covers_its_hazards() -> None:
    for material, kind, job in JOBS:
        report = machine_note(job, None, {}).split("## Cautions")[1]
        hazards = {
            "laser": ("Beam:", "Eyes:", "Fire:", "Fume:", "Settings:", "Material:"),
            "router": ("Eyes and ears:", "Turning cutter:", "Hold-down:", "Dust and chips:"),
            "hand": ("Edge:",),
        }[kind]
        assert all(f"- {hazard}" in report for hazard in hazards), (material, kind)
        if kind == "laser":
            of_fire = [line for line in report.partition("## Details")[0].splitlines() if line.startswith("- Fire:")]
            assert len(of_fire) == 2, material  # the machine's, and what this material does


def test_the_proof_page_adds_what_printing_asks() -> None:
    job = next(job for material, kind, job in JOBS if (material, kind) == ("cherry", "hand"))
    page = block_sheet([job], {}, {}, []).cautions
    assert len(set(page)) == len(page)
    assert page[0] == deference("hand")
    page = " ".join(page)
    for words in ("heat themselves", "metal can with a lid", "no flame near", "Fingers off", "sleeves", "local codes"):
        assert words in page


def test_what_is_to_be_done_never_stands_behind() -> None:
    """A first page, and the page in the browser, show only what is to be done: an order behind it would be lost."""
    orders = (
        r"(?:Don't|Do not|Never|Always|No|Check|Keep|Wear|Use|Take|Stop|Ask|Wait|Test|Let|Put|Clean|Open|Make sure)\b"
    )
    sentences = [
        (key, sentence)
        for key, entry in TABLE.items()
        for sentence in re.split(r"(?<=[.:;]) ", entry.get("behind", ""))
        if re.match(orders, sentence)
    ]
    assert sentences == []
