"""What is declared: a laser gets a file only for the material's own substance; what is dangerous is named."""

from __future__ import annotations

import functools
import itertools
import tomllib

import pytest

from carvegen.base.errors import RefusedError
from carvegen.blocks.job import Setup
from carvegen.facts.composition import (
    ban,
    bans,
    plain_words,
    squeezed,
    statement,
    substances,
    workable,
)
from carvegen.facts.profiles import (
    KINDS,
    Library,
    Verdict,
    shipped,
)
from tests.strategies import MANY

SHELF = Library()
TOOLS = {"laser": ("laser-fine", "laser-bed"), "router": ("taper-0.5", "router-bed"), "hand": ("v-60", "hand")}
LASERED = [key for key in SHELF.keys("materials") if SHELF.material(key).permits["laser"].verdict is not Verdict.NEVER]
SOURCES = tomllib.loads((shipped() / "sources.toml").read_text(encoding="utf-8"))
MARKS = ("common practice, no source", "from memory")


@functools.cache
def tools(material: str, kind: str) -> dict[str, object]:
    cutter, machine = TOOLS[kind]
    return {"material": SHELF.material(material), "cutter": SHELF.cutter(cutter), "machine": SHELF.machine(machine)}


def setup(declared: str, *, material: str = "linoleum", kind: str = "laser") -> Setup:
    return Setup(declared=declared, thickness_mm=10, depth_mm=1, **tools(material, kind))


def refusal(declared: str, **how: str) -> RefusedError:
    with pytest.raises(RefusedError) as caught:
        setup(declared, **how)
    assert caught.value.fields == ("declared",)
    assert caught.value.hint
    return caught.value


# ---- the table: what must not be lasered, by what the refusal has to speak of -------------------------------------

# Abbreviations of ISO 1043-1 (plastics) and ISO 1629 (rubbers): from memory, those from ABS to EPN seen in an
# encyclopaedia of plastics testing that cites both standards. All other words: from memory.
TABLE = {
    "hydrogen chloride": """
        PVC | uPVC | PVC-U | PVC-P | CPVC | PVDC | LVT | LVP | vinyl | polyvinyl chloride | polyvinylchlorid
        vinylidene | vinyl film | vinyl record | chlorinated | chlorobutyl | halogenated | leatherette
        faux leather | imitation leather | pleather | Kunstleder | simili cuir | P V C | p.v.c. | P-V-C
        p_v_c | ＰＶＣ | РVС | ΡVC | pVc | no PVC-like | Vynil | vinil | vinyll | polivinilcloruro | vinilo
        vinile | winyl | vinylboden | пвх | ПВХ | винил | виниловый | βινύλιο | 聚氯乙烯 | 塩ビ | ビニール | 염화비닐
        فينيل | ויניל | विनाइल | ไวนิล
    """,
    "turning cutter": """
        rubber | natural rubber | soft rubber | elastomer | thermoplastic elastomer | neoprene | nitrile
        latex | silicone | silicone rubber | EVA | EVAC | TPE | TPU | TPV | NBR | HNBR | XNBR | SBR | EPDM
        EPM | IIR | CIIR | BIIR | FKM | FFKM | CSM | ACM | AEM | VMQ | FVMQ | MVQ | eraser | ebonite | Gummi
        Kautschuk | caoutchouc | caucho | goma | gomma | guma | резина | каучук | λάστιχο | ゴム | 橡胶 | 고무
        مطاط | גומי | ruber | rubbber | neoprine | soft-cut lino | softcut | easy-carve | easy carve lino
        soft lino | soft vinyl | plasticised PVC | carving vinyl | rubberised cork
    """,
    "carbonyl fluoride": """
        PTFE | FEP | PFA | ETFE | PVDF | PCTFE | fluoropolymer | polytetrafluoroethylene | p t f e
        фторопласт
    """,
    "hydrogen cyanide": """
        ABS | a.b.s. | acrylonitrile | SAN | ASA | polyurethane | polyurethan | poliuretano | PUR | PU | PIR
        nylon | nilon | polyamide | poliamida | PA | PA6 | PA 66 | PA12 | melamine | felt | epoxy | epoxi
        epoxy resin | epossidica | resin | resins | fibreglass | fiberglass | glass fibre | GRP
        carbon fibre | CFRP | phenolic | Kunstharz | résine | resina | żywica | нейлон | эпоксидка | 树脂
        ナイロン | polyurethene | carbon-fiber
    """,
    "catches fire": """
        polystyrene | polystyrol | styrene | PS | EPS | XPS | HIPS | foam | foam board | foamcore
        Schaumstoff | Hartschaum | mousse | polypropylene | PP | EPP | polyethylene | polythene | HDPE
        PE-HD | LDPE | UHMWPE | PE | PET | PETG | PET-G | PBT | polyester | POM | acetal | PLA
        polyéthylène | polietileno | пенопласт | полиэтилен | 泡沫 | ポリエチレン | polystirene | polypropilene
        poliester
    """,
    "flames": "polycarbonate | polycarbonat | policarbonato | PC | поликарбонат | 聚碳酸酯 | polycarbonite",
    "bromine": "flame retardant | fire-retardant MDF | brominated | flammhemmend",
    "fouls the lens": """
        self-adhesive | sticky-back lino | adhesive backed | peel and stick | glue backed | selbstklebend
        autocollant | tape
    """,
    "preservative": """
        CCA-treated pine | CCA | pressure treated | pressure-treated pine | treated timber | tanalised
        tanalized | creosoted | creosote | ACQ | copper azole | impregnated | kesseldruckimprägniert
        traité | tratada | railway sleeper | tanalized oak | креозот
    """,
    "wet stuff": """
        moist lino | wet, damp block | damp | green wood | green oak | unseasoned | feucht | nass | humide
        húmedo | bagnato | mokre | влажный
    """,
    "asbestos": """
        asbestos | Asbest | amiante | amianto | azbest | асбест | 石棉 | floor | old lino | reclaimed linoleum
        lino tiles | felt-backed | bitumen | Bodenbelag | suelo | vintage linoleum | salvaged | reclaimed
        old | 1960s
    """,
    "tropical": "teak | mahogany | tropical hardwood | ebony | rubberwood",
    "nobody can say": """
        plastic | plastics | recycled plastic | recycled | Kunststoff | plastique | plástico | plastica
        plastik | tworzywo | пластик | 塑料 | プラスチック | بلاستيك | polymer | composite | laminate | PEEK | PPS
        AMMA | PSU | unknown | unbekannt | inconnu | неизвестно | ? | don't know | not sure | mystery sheet
        未知
    """,
    # no ban knows these, and they are stopped all the same
    "": """
        CA | CAP | CN | CP | EC | EP | MF | PB | PF | PI | PIB | PVAL | PVAC | UF | UP | SI | NR | CR | CM
        BR | AU | EU | CO | ECO | DAP | EPN | cardboard | glass | brass | leather | slate | soap | potato
        wax | lead | bone | cheese | ¿ | lino, or cork | not lino | lino but softer | 1965 | 12 | lino 40
        sol | fancy stuff | chipbord | ламинат | 竹
    """,
}  # fmt: skip
ROWS = [
    (word.strip(), why)
    for why, words in TABLE.items()
    for line in words.strip("\n").split("\n")
    for word in line.split("|")
    if word.strip()
]


def test_the_table_has_250_rows_and_no_row_twice():
    words = [word for word, _ in ROWS]
    assert len(words) >= 250
    assert len(set(words)) == len(words)


@pytest.mark.parametrize("why", list(TABLE), ids=lambda why: why or "stopped")
def test_no_laser_file_for_it_alone_or_beside_the_right_word(why):
    for word in (word for word, each in ROWS if each == why):
        assert (ban(word) is not None) == bool(why), word
        for declared in (
            word,
            f"lino, {word}",
            f"{word} lino",
            f"linoleum on jute with {word}",
            word.upper(),
            f"cast acrylic {word}",
        ):
            material = "embossing-acrylic" if "acrylic" in declared else "linoleum"
            report = refusal(declared, material=material)
            assert report.exit_code == 3, declared
            assert declared != word or why in report.message, word


@pytest.mark.parametrize(
    "declared", ["n/a", "none", "nothing", "-", "…", ".", "3.2 mm", "new, dry", "solid wood", "sheet", "jute"]
)
def test_what_names_no_substance_gets_no_laser_file(declared):
    assert refusal(declared).exit_code == 3


def test_and_the_router_is_not_asked():
    words = [word for word, _ in ROWS if ban(word, "router") is None]
    assert len(words) > len(ROWS) / 2
    for word in words:
        assert setup(word, kind="router").declared == word


# ---- what is accepted ---------------------------------------------------------------------------------------------

ACCEPTED = [
    ("linoleum", "lino"), ("linoleum", "Linoleum"), ("linoleum", "LINOLEUM, unmounted, grey, 3.2 mm"), ("linoleum",
    "lino leum"),
    ("linoleum", "artist's linoleum on jute, 3,2mm"), ("linoleum", "linseed oil, cork dust, jute"), ("linoleum",
    "Linoleum auf Jute, grau"),
    ("linoleum", "linóleo marrón, nuevo"), ("linoleum", "plaque de lino neuve, sèche"), ("linoleum",
    "linoleum su iuta"), ("linoleum", "grijs linoleum op jute"),
    ("linoleum", "szare linoleum, nowe"), ("linoleum", "green lino"), ("linoleum",
    "lino 200 x 300 mm, 1/8 in thick"), ("linoleum", "ｌｉｎｏ"), ("linoleum", "linоleum"),
    ("linoleum-mounted", "lino, mounted on wood, type high"), ("linoleum-mounted", "lino on MDF"), ("cherry",
    "cherry"), ("cherry", "solid cherry wood, dry, untreated"),
    ("cherry", "Kirschholz, massiv"), ("cherry", "bois massif de merisier"), ("cherry", "вишня"), ("cherry", "山桜"),
    ("basswood", "lime"), ("basswood", "Lindenholz"),
    ("basswood", "drewno lipowe"), ("maple-end-grain", "hard maple, end grain, glued"), ("birch-plywood",
    "birch ply, interior glue, 6 mm"), ("birch-plywood", "Birkensperrholz"),
    ("mdf", "MDF 6 mm"), ("mdf", "medium-density fibreboard"), ("embossing-acrylic", "PMMA"), ("embossing-acrylic",
    "cast acrylic, clear, 3 mm"), ("embossing-acrylic", "Acrylglas GS"),
]  # fmt: skip


@pytest.mark.parametrize(("material", "declared"), ACCEPTED)
def test_the_materials_own_substance_gets_its_laser_file(material, declared):
    assert setup(declared, material=material).declared == declared


def test_nothing_declared_leaves_the_materials_own_substance():
    assert setup("").permit.verdict is Verdict.ASK


@pytest.mark.parametrize("key", substances())
def test_every_word_of_a_substance_is_accepted_for_it_and_for_no_other_material(key):
    mine = [each for each in LASERED if substances()[key] in workable(SHELF.material(each).composition)]
    other = next(item for item in LASERED if item not in mine)
    for k, word in enumerate(itertools.chain.from_iterable(substances()[key].words.values())):
        for material in mine if MANY else mine[k % max(len(mine), 1) :][:1]:  # they take turns
            setup(word, material=material)
        refusal(word, material=other)


def test_a_refusal_says_what_would_be_accepted_in_the_language_of_the_declaration():
    assert "accepted, with plain words such as new, dry or 3 mm: linoleum, lino, " in refusal("fancy lino").hint
    german, french = refusal("trockenes Linoleum mit Muster").hint, refusal("linoléum neuf, décoré").hint
    assert "Linolplatte" in german
    assert "plaque de lino" in french
    assert "Linolplatte" not in french
    assert '"mit muster"' not in refusal("trockenes Linoleum mit Muster").message
    assert '"muster"' in refusal("trockenes Linoleum mit Muster").message


@pytest.mark.parametrize(
    ("text", "language"), [("Birnbaum", "de"), ("cerisier massif", "fr"), ("липа", "ru"), ("pear", "")]
)
def test_a_substances_own_words_tell_the_language(text, language):
    assert statement(text, tuple(substances().values())).language == language


def test_another_substance_is_named_with_the_remedy():
    report = refusal("walnut, solid")
    assert "that is walnut, and the profile is of linoleum" in report.message
    assert "as material;" in report.hint


# ---- the bans are data ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("one", bans(), ids=lambda one: one.words[0])
def test_each_banned_word_is_refused_with_its_reason_for_its_machines_alone(one):
    for word, kind in itertools.product(one.words, KINDS):
        plain = word.replace("*", "")
        banned = ban(plain, kind)
        if kind in one.machines:
            assert banned is not None, word
            assert banned.why == one.why, word
            assert one.why in refusal(f"lino, {plain}", kind=kind).message, word
        else:
            assert banned is None or banned.why != one.why, word


@pytest.mark.parametrize("one", bans(), ids=lambda one: one.words[0])
def test_each_ban_has_a_reason_sources_and_machines(one):
    assert one.why
    assert one.sources
    assert set(one.sources) <= {*SOURCES, *MARKS}
    assert set(one.machines) <= set(KINDS)
    assert len(set(one.words)) == len(one.words)


def test_each_source_says_where_it_is_and_whether_it_was_seen():
    for entry in SOURCES.values():
        assert set(entry) >= {"citation", "edition", "where", "says", "seen"}
        assert type(entry["seen"]) is bool


#: What the two university lists name (read as stored pages), written out anew.
LISTED = {
    "ut-austin-laser": [
        "ABS", "carbon fiber", "epoxy", "resin", "fiberglass", "ecoresin", "polycarbonate", "polyethylene", "HDPE",
        "PETG", "polyester", "fleece",
        "polytetrafluoroethylene", "polyoxymethylene", "polyurethane", "PVC", "vinyl", "pleather", "faux leather",
        "PVB", "polyvinyl butyrale", "halogens",
        "self-adhesive", "sticky backing", "glue backing", "rubber", "elastomer", "styrene", "polystyrene",
        "foamboard", "foam core", "felt", "nylon", "acetate",
        "cellophane", "viscose", "rayon", "spandex",
    ],
    "uic-laser": ["PVC", "vinyl", "pleather", "artificial leather", "polycarbonate", "HDPE",
        "polystyrene foam", "polypropylene foam", "tropical woods"],
    "laser-list-iowa": ["PVC", "polycarbonate", "styrene", "vinyl", "rubber"],
    "laser-list-purdue": ["unknown material", "bromine", "flame retardant", "PVC", "PET", "vinyl", "fiberglass",
        "polystyrene foam", "polypropylene foam"],
    "laser-list-cmu": ["ABS", "polyethylene terephthalate glycol", "PETG", "foam", "chloride", "vinyl", "PVC",
        "neoprene"],
}  # fmt: skip


@pytest.mark.parametrize("key", LISTED)
def test_the_lists_that_are_cited_are_there_whole(key):
    assert key in SOURCES
    for word in LISTED[key]:
        assert ban(word) is not None, word


def test_asbestos_is_refused_for_every_machine_and_an_old_floor_for_all_that_turn_or_burn():
    for kind in KINDS:
        assert "cancer" in refusal("lino with asbestos felt", kind=kind).message
    for kind in ("laser", "router"):
        assert "laboratory" in refusal("lino from an old floor", kind=kind).message
    assert setup("lino from an old floor", kind="hand")


@pytest.mark.parametrize("material", ["linoleum", "linoleum-mounted"])
def test_linoleum_of_unknown_age_is_told_and_asked(material):
    permits = SHELF.material(material).permits
    for kind in KINDS:
        assert any("asbestos" in caution and "laboratory" in caution for caution in permits[kind].cautions)
    for kind in ("laser", "router"):
        assert permits[kind].verdict is Verdict.ASK
        assert "How old is it?" in permits[kind].why


# ---- how words are read ---------------------------------------------------------------------------------------------

LATIN = sorted({word for one in bans() for word in one.exact if word.isascii() and word.isalpha()})


WRITTEN = [
    " ".join,
    ".".join,
    "-".join,
    "\u200b".join,
    "\u00ad".join,
    "_".join,
    lambda word: word.upper(),
    lambda word: word.title(),
    lambda word: "".join(chr(ord(sign) + 0xFEE0) for sign in word),  # full width
    lambda word: "".join(chr(0x1D400 + ord(sign) - ord("a")) for sign in word),  # mathematical bold
    lambda word: word.translate(str.maketrans("aceopxyi", "асеорхуі")),  # Cyrillic
    lambda word: word.upper().translate(str.maketrans("ABEHIKMNOPTXYZ", "ΑΒΕΗΙΚΜΝΟΡΤΧΥΖ")),  # Greek
    "\u0301".join,
]


@pytest.mark.parametrize("nth", range(len(WRITTEN)))
def test_a_banned_word_is_known_however_it_is_written(nth):
    """Words take turns: each is written in one manner, and all in every one where there is time for many."""
    for word in LATIN if MANY else LATIN[nth :: len(WRITTEN)]:
        assert ban(f"thing of {WRITTEN[nth](word)}") is not None, word


def test_a_slip_of_spelling_is_noticed_in_every_longer_word():
    """Changed round, doubled, left out and put wrong; behind the first letter, one slip a word."""
    for word in (word for word in LATIN if len(word) >= 8):
        k = len(word) // 2
        for slip in (
            word[:k] + word[k + 1] + word[k] + word[k + 2 :],
            word[:k] + word[k] + word[k:],
            word[:k] + word[k + 1 :],
            word[:k] + "q" + word[k + 1 :],
        ):
            assert ban(slip) is not None, (word, slip)


def test_look_alikes_are_those_of_the_unicode_standard():
    """Unicode Technical Standard 39, confusables.txt, some of its lines (seen as a package's data)."""
    for sign, letter in zip("аесорхуѕіјһԁԛԝАВЕКМНОРСТХ", "aecopxysijhdqwabekmhopctx", strict=True):
        assert plain_words(sign, by_shape=True) == (letter,)
    for sign, letter in zip("ΑΒΕΖΗΙΚΜΝΟΡΤΥΧ", "abezhikmnoptyx", strict=True):
        assert plain_words(sign, by_shape=True) == (letter,)


def test_words_in_their_own_script_are_the_same_in_capitals():
    for word in ("винил", "резина", "пвх", "βινυλ", "асбест", "weißbuche", "kühl"):
        assert plain_words(word) == plain_words(word.upper())


def test_usual_names_of_an_own_block_are_not_banned():
    """Words of everyday near a banned one: later and latex, rosin and resin, start and stare (old, in Polish)."""
    for name in (
        "my lino", "lino 2", "for later", "rosin", "start", "my states", "share", "names", "pale lime",
        "jetty boards, pear", "the pear from the garden", "shelf 3, left", "spring block", "wood of 2026",
        "spacing test", "cherry for the ferry",
    ):  # fmt: skip
        assert ban(name) is None, name


# ---- the two lists beside each other -------------------------------------------------------------------------------

ALLOWED = [
    *(word for one in substances().values() for words in one.words.values() for word in words),
    *(part for one in substances().values() for part in one.parts),
    *(
        word
        for words in tomllib.loads((shipped() / "substances.toml").read_text("utf-8"))["harmless"].values()
        for word in words
    ),
]


def test_no_word_is_allowed_and_banned():
    exact = {word for one in bans() for word in one.exact}
    assert {squeezed(word) for word in ALLOWED} & exact == set()
    assert [word for word in ALLOWED if ban(word) is not None] == []


def test_no_two_allowed_words_make_a_banned_one_unless_it_is_meant():
    """Green is a colour of lino and a state of wood; soft is a wood's name and no lino's."""
    meant = {"greenwood", "greentimber", "greenoak", "redmdf", "unseasoned"}
    exact = {word for one in bans() for word in one.exact}
    words = {squeezed(word) for word in ALLOWED}
    assert {a + b for a in words for b in words if a + b in exact} <= meant


def test_no_word_names_two_substances():
    keys = [
        (squeezed(word), one.name) for one in substances().values() for words in one.words.values() for word in words
    ]
    assert len({word for word, _ in keys}) == len(set(keys))


@pytest.mark.parametrize("word", ["no", "not", "non", "free", "without", "or", "ohne", "kein", "nicht", "oder",
    "sans", "pas", "ou", "sin", "sino", "o", "senza",
                                  "zonder", "geen", "niet", "of not", "bez", "nie", "lub", "maybe", "like",
                                  "similar", "type", "style", "look", "effect"])  # fmt: skip
def test_what_denies_or_doubts_is_never_harmless(word):
    everything = tuple(substances().values())
    assert not statement(f"lino {word}", everything).accepted
    assert statement(f"lino {word}", everything).strange
