"""Profiles: what is shipped is whole and sourced; what a user writes is read, or refused with its place."""

from __future__ import annotations

import json
import math
import re
import subprocess
import sys
import tomllib
from copy import copy
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from carvegen.base.errors import InputError, RefusedError
from carvegen.blocks.job import permit
from carvegen.facts import cutting
from carvegen.facts.composition import ban, substances, workable
from carvegen.facts.profiles import (
    FOLDERS,
    KINDS,
    Library,
    Verdict,
    figures,
    shipped,
)
from carvegen.facts.profiles.own_profile import started_from
from carvegen.facts.profiles.profile_values import (
    BEAM_RANGES,
    BED_RANGES,
    CUTTER_RANGES,
    FORM_RANGES,
    KERF_RANGES,
    MATERIAL_RANGES,
    PACE_RANGES,
)
from carvegen.facts.sources import MARKS, cited, parts, sources
from carvegen.interfaces.cli.setup.profiles import command
from tests.strategies import MANY, few

FILES = sorted(shipped().glob("*/*.toml"))
SHIPPED = [(kind, key) for kind in FOLDERS for key in sorted(f.stem for f in FILES if f.parent.name == kind)]
MATERIALS = [key for kind, key in SHIPPED if kind == "materials"]

# Ranges of a file of our own writing, in which every declared value stands alone.
CASES = [
    *(("materials", "", name, allowed) for name, allowed in MATERIAL_RANGES.items()),
    *(("cutters", "v", name, allowed) for name, allowed in CUTTER_RANGES.items()),
    *(("cutters", form, name, allowed) for form, own in FORM_RANGES.items() for name, allowed in own.items()),
    *(("machines", "", name, allowed) for name, allowed in BED_RANGES.items()),
    *(("machines", "", name, allowed) for name, allowed in PACE_RANGES["router"].items()),
]


def middle(ranges):
    return {name: (allowed.at_least + allowed.at_most) / 2 for name, allowed in ranges.items()}


def lines(values):
    return "[values]\n" + "".join(
        f'{name} = {{ value = {value!r}, source = "from memory" }}\n' for name, value in values.items()
    )


def material_text(values=None, *, grain="side", composition="lime wood", laser="yes", router="yes", extra=""):
    plain = {
        "thickness_mm": 100.0, "land_along_mm": 0.5, "land_across_mm": 0.5, "dot_mm": 0.8, "cut_mm": 0.4,
        "foot_mm": 0.6, "wall_deg": 20.0, "depth_usual_mm": 0.1, "depth_largest_mm": 0.1, "floor_mm": 0.1,
    }  # fmt: skip
    text = f'name = "a"\nabout = "b"\ngrain = "{grain}"\ncomposition = "{composition}"\n{extra}'
    text += lines(plain | (values or {}))
    for kind, verdict in (("laser", laser), ("router", router), ("hand", "yes")):
        text += f'[{kind}]\nverdict = "{verdict}"\nwhy = "c"\nsource = "from memory"\ncautions = ["d"]\n'
    return text


def cutter_text(form, values=None):
    machines = '"laser"' if form == "laser" else '"router", "hand"'
    text = f'name = "a"\nabout = "b"\nform = "{form}"\nmachines = [{machines}]\n'
    return text + lines(middle(CUTTER_RANGES) | middle(FORM_RANGES[form]) | (values or {}))


def machine_text(values=None, *, cutter="taper-0.5", extra=""):
    text = 'name = "a"\nabout = "b"\nkind = "router"\nunits = "mm"\ncurves = true\ncautions = ["c"]\n'
    return text + f'usual_cutter = "{cutter}"\n' + lines(middle(BED_RANGES) | (values or {})) + extra


def put(folder, kind, key, text):
    path = folder / kind / f"{key}.toml"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


def read(library, kind, key):
    return getattr(library, kind.removesuffix("s"))(key)


def only_fault(folder, kind, key):
    """The one fault that reading finds; the same one that `check` finds."""
    library = Library([folder])
    with pytest.raises(InputError) as caught:
        read(library, kind, key)
    (fault,) = library.check()
    assert str(fault) == str(caught.value)
    return fault


@pytest.fixture(autouse=True, scope="module")
def shipped_read_once():
    """Two hundred libraries are checked here: each reads its user's files, but the shipped ones are the same in all."""
    with pytest.MonkeyPatch.context() as patched:
        for kind in ("material", "cutter"):
            patched.setattr(Library, f"_{kind}", shipped_once(f"{kind}s", getattr(Library, f"_{kind}")))
        yield


def shipped_once(kind, read):
    first = {}

    def reading(library, key):
        path = library.path(kind, key)
        if not path.is_relative_to(shipped()):
            return read(library, key)
        if path not in first:
            first[path] = read(library, key)
        profile, faults = first[path]
        return copy(profile), list(faults)

    return reading


# ---- what is shipped --------------------------------------------------------------------------------


def test_every_file_has_its_key_and_no_fault():
    library = Library()
    assert library.check() == ()
    assert [(kind, key) for kind in FOLDERS for key in library.keys(kind)] == SHIPPED
    assert len(SHIPPED) == len(FILES)


@pytest.mark.parametrize(("kind", "key"), SHIPPED)
def test_every_number_in_the_file_comes_back_with_its_source(kind, key):
    written = tomllib.loads((shipped() / kind / f"{key}.toml").read_text(encoding="utf-8")).get("values", {})
    back = {figure.name: (figure.value, figure.source) for figure in figures(read(Library(), kind, key))}
    assert back == {name: (entry["value"], cited(entry["source"])) for name, entry in written.items()}
    assert all(source.strip() for _, source in back.values())


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_source_is_a_key_of_the_register_or_a_mark(path):
    text = path.read_text(encoding="utf-8")
    for source in re.findall(r'source = "(.*?)"', text):
        assert all(part in MARKS or part in sources() for part in parts(source)), source


@pytest.mark.parametrize("key", MATERIALS)
def test_a_material_has_a_verdict_with_reason_and_caution_for_every_machine(key):
    material = Library().material(key)
    assert tuple(material.permits) == KINDS
    for kind, each in material.permits.items():
        assert each.why and each.cautions
        assert material.sources[kind] == each.source
    assert material.foot_mm >= min(material.land_along_mm, material.land_across_mm)
    assert material.land_across_mm >= material.land_along_mm  # wood is weaker across its grain


@pytest.mark.parametrize("key", Library().keys("machines"))
def test_a_machine_defers_to_manual_shop_codes_and_operator_and_names_no_power_or_speed(key):
    text = " ".join(Library().machine(key).cautions)
    for words in ("the machine's manual", "the shop's rules", "local codes", "a trained operator"):
        assert words in text
    assert not re.search(r"\d\s*(rpm|mm/s|mm/min|%)", text)


PUBLISHED = [
    # source: fletcher-1916. Planks of 5/8 to 3/4 in
    ("cherry", "thickness_mm", 5 / 8 * 25.4, 3 / 4 * 25.4 + 0.05),
    # source: type-height. 0.918 in
    ("maple-end-grain", "thickness_mm", 0.918 * 25.4 - 0.05, 0.918 * 25.4 + 0.05),
    # source: emboss-guide, emboss-guide-2. A raised line is a land of the die: lines under 1.5 pt are to be avoided,
    # and another printer's finest is 1 pt
    ("embossing-acrylic", "land_along_mm", 1.5 / 72 * 25.4, 1.5 / 72 * 25.4 + 0.005),
    ("embossing-hdpe", "land_along_mm", 1.5 / 72 * 25.4, 9),
    ("embossing-polycarbonate", "land_along_mm", 1.5 / 72 * 25.4, 9),
]


@pytest.mark.parametrize(("key", "name", "low", "high"), PUBLISHED)
def test_published_numbers(key, name, low, high):
    slack = 0.005
    assert low - slack <= getattr(Library().material(key), name) <= high + slack


def test_the_fine_lasers_kerf_is_the_published_eight_thousandths_of_an_inch():
    """Kerf 0.008 in in 1/16 in sheet (source: kerf-service), by another 0.006 to 0.007 (source: kerf-service-2)."""
    values = Library().cutter("laser-fine").values
    assert values["kerf_top_mm"] <= 1.2 * 0.007 * 25.4
    assert values["kerf_top_mm"] == pytest.approx(0.008 * 25.4, abs=0.005)
    assert values["kerf_thickness_mm"] == pytest.approx(25.4 / 16, abs=0.02)


def test_the_wide_lasers_smallest_cut_is_twice_its_waist():
    """Common practice: the practical smallest line is 1.5 to 2 waists (waist by ISO 11146-1)."""
    cutter = Library().cutter("laser-wide")
    values = {name: value for name, value in cutter.values.items() if name != "focus_below_mm"}
    assert cutter.smallest_cut_mm == pytest.approx(2 * cutting.beam_waist_mm(**values), rel=0.02)


@pytest.mark.parametrize("key", Library().keys("cutters"))
def test_every_cutter_leaves_no_undercut_at_a_usual_depth(key):
    cutter = Library().cutter(key)
    assert cutting.wall(cutter, 1.5).steepest_deg >= -1e-9


@pytest.mark.parametrize(
    ("key", "machine"),
    [
        # source: ut-austin-laser, uic-laser
        ("vinyl-soft", "laser"), ("rubber-soft", "laser"), ("embossing-hdpe", "laser"),
        ("embossing-polycarbonate", "laser"),
        # common practice, no source
        ("vinyl-soft", "router"), ("rubber-soft", "router"),
    ],
)  # fmt: skip
def test_what_must_never_meet_is_refused(key, machine):
    with pytest.raises(RefusedError):
        permit(Library().material(key), machine)


@pytest.mark.parametrize("key", MATERIALS)
def test_the_composition_alone_says_never_where_the_file_does_for_the_laser(key):
    material = Library().material(key)
    never = material.permits["laser"].verdict is Verdict.NEVER
    assert (ban(material.composition) is not None) == never
    assert (workable(material.composition) == ()) == never
    for kind, each in material.permits.items():
        for text in (material.key, material.name, material.composition):
            assert each.verdict is Verdict.NEVER or ban(text, kind) is None


# ---- ranges -----------------------------------------------------------------------------------------


def written(kind, form, values):
    if kind == "materials":
        return material_text(values)
    return machine_text(values) if kind == "machines" else cutter_text(form, values)


@pytest.mark.parametrize(("kind", "form", "name", "allowed"), CASES)
def test_outside_its_range_a_value_is_refused(kind, form, name, allowed, tmp_path):
    """By the least that a number can be too small or too large."""
    low, high = allowed.at_least, allowed.at_most
    units = {"mm": " mm", "deg": " deg", "um": " µm", "mm_s": " mm/s", "mm_s2": " mm/s²", "s": " s", "rpm": " rpm"}
    units["mm_min"] = " mm/min"
    ending = units.get(name.partition("_mm_")[1][1:] + name.split("_")[-1], units.get(name.split("_")[-1], ""))
    for value in (math.nextafter(low, -math.inf), math.nextafter(high, math.inf), *([-1e300, 1e300] if MANY else [])):
        path = put(tmp_path, kind, "mine", written(kind, form, {name: value}))
        with pytest.raises(InputError) as caught:
            read(Library([tmp_path]), kind, "mine")
        fault = caught.value
        assert fault.where == f"{path}: values.{name}"
        assert fault.value == value
        assert "more in this file" not in fault.hint
        assert str(fault) == f"{path}: values.{name}: must lie in {low:g}…{high:g}{ending}, got {value!r}"


@pytest.mark.parametrize(("kind", "form", "name", "allowed"), CASES)
def test_inside_its_range_a_value_is_taken_as_it_is(kind, form, name, allowed, tmp_path):
    """The least and the largest."""
    for value in (float(allowed.at_least), float(allowed.at_most)):
        values = {name: value}
        if name == "depth_largest_mm":
            values["depth_usual_mm"] = min(value, 0.1)
        if name == "depth_usual_mm":
            values["depth_largest_mm"] = value
        if name == "thickness_mm":
            values |= {"depth_largest_mm": 0.1, "floor_mm": 0.1}
        put(tmp_path, kind, "mine", written(kind, form, values))
        back = {figure.name: figure.value for figure in figures(read(Library([tmp_path]), kind, "mine"))}
        assert back[name] == value


NO_NUMBERS = ["nan", "inf", "-inf", "true", '"3.2"', "[3.2]", "0x" + "f" * 9000, "1979-05-27"]


@pytest.mark.parametrize("value", NO_NUMBERS)
def test_what_is_no_number_is_no_value(value, tmp_path):
    text = material_text().replace("thickness_mm = { value = 100.0", f"thickness_mm = {{ value = {value}")
    put(tmp_path, "materials", "mine", text)
    fault = only_fault(tmp_path, "materials", "mine")
    assert fault.message == "must lie in 0.5…100 mm"
    assert len(str(fault)) < 300 + len(str(tmp_path))
    assert fault.value is not None
    json.dumps(fault.value, allow_nan=False)


# ---- what values say about one another ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("values", "grain", "key", "rule"),
    [
        ({"thickness_mm": 3.2, "depth_largest_mm": 2.5, "floor_mm": 0.8}, "side", "depth_largest_mm", "2.4"),
        ({"depth_usual_mm": 2.0, "depth_largest_mm": 1.5}, "side", "depth_usual_mm", "0.1…1.5 mm"),
        ({"land_along_mm": 0.5, "land_across_mm": 0.8}, "none", "land_across_mm", "0.5 mm"),
    ],
)
def test_values_that_contradict_one_another(values, grain, key, rule, tmp_path):
    put(tmp_path, "materials", "mine", material_text(values, grain=grain))
    fault = only_fault(tmp_path, "materials", "mine")
    assert fault.where.endswith(f"mine.toml: values.{key}")
    assert rule in fault.message
    assert fault.value == values[key]


def test_decimal_fractions_that_just_fit_are_taken(tmp_path):
    """1.2 - 1.0 is less than 0.2 in binary fractions."""
    values = {"thickness_mm": 1.2, "floor_mm": 1.0, "depth_largest_mm": 0.2}
    put(tmp_path, "materials", "mine", material_text(values))
    assert Library([tmp_path]).material("mine").depth_largest_mm == 0.2


@pytest.mark.parametrize("group", [KERF_RANGES, BEAM_RANGES])
def test_a_laser_is_whole_with_its_kerf_or_with_its_beam_alone(group, tmp_path):
    base = cutter_text("laser").split("[values]")[0]
    put(tmp_path, "cutters", "mine", base + lines(middle(CUTTER_RANGES) | middle(group)))
    assert Library([tmp_path]).cutter("mine").values == middle(group)


def test_a_laser_needs_the_whole_of_the_group_it_begins(tmp_path):
    text = "\n".join(line for line in cutter_text("laser").splitlines() if not line.startswith("quality"))
    put(tmp_path, "cutters", "mine", text)
    assert only_fault(tmp_path, "cutters", "mine").where.endswith("values.quality")


def test_a_laser_with_neither_is_refused(tmp_path):
    base = cutter_text("laser").split("[values]")[0]
    put(tmp_path, "cutters", "mine", base + lines(middle(CUTTER_RANGES)))
    places = {fault.where.split(": ")[-1] for fault in Library([tmp_path]).check()}
    assert places == {f"values.{name}" for name in KERF_RANGES}


@pytest.mark.parametrize(("cutter", "rule"), [("taper-05", "known cutter"), ("u-1", "it goes into: hand")])
def test_a_machines_usual_cutter_is_known_and_fits(cutter, rule, tmp_path):
    put(tmp_path, "machines", "mine", machine_text(cutter=cutter))
    fault = only_fault(tmp_path, "machines", "mine")
    assert rule in fault.message
    assert (fault.value, fault.where.split(": ")[-1]) == (cutter, "usual_cutter")


def test_layer_colours_are_the_shops_own(tmp_path):
    extra = '[layer_colours]\n"CUT AREA" = 8\nREGISTER = 1\n'
    put(tmp_path, "machines", "mine", machine_text(extra=extra))
    assert Library([tmp_path]).machine("mine").layer_colours == {"CUT AREA": 8, "REGISTER": 1}


@pytest.mark.parametrize("colour", ["0", "256", "8.0", '"red"', "true"])
def test_a_layer_colour_is_a_colour_index(colour, tmp_path):
    put(tmp_path, "machines", "mine", machine_text(extra=f'[layer_colours]\n"CUT AREA" = {colour}\n'))
    fault = only_fault(tmp_path, "machines", "mine")
    assert fault.where.endswith("layer_colours.CUT AREA")
    assert fault.message == "must be a whole number in 1…255"


# ---- safety -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "composition",
    ["PVC", "plasticised pvc", "soft Vinyl", "polyvinyl chloride", "free of PVC", "ABS", "polystyrene foam",
     "epoxy and glass fibre", "unknown", "chlorinated polymer", "natural rubber", "PTFE",
     "pine, pressure-treated", "???", "uPVC", "PVC_foam", "P.V.C.", "ＰＶＣ", "polyvinylchloride", "polychloroprene",
     "rubbers", "polytetrafluoroethylene", "glassfibre", "fibre-glass", "PC", "I don't know", "n/a", "None.",
     "solid wood", "lime wood and something else", "lime wood?", "free of everything"],
)  # fmt: skip
@pytest.mark.parametrize("verdict", ["ask", "yes"])
def test_no_file_lets_a_banned_composition_meet_a_laser(composition, verdict, tmp_path):
    put(tmp_path, "materials", "mine", material_text(composition=composition, laser=verdict))
    fault = only_fault(tmp_path, "materials", "mine")
    assert fault.where.endswith("laser.verdict")
    assert fault.message.startswith("must be never")
    router = "never" if ban(composition, "router") else "yes"
    put(tmp_path, "materials", "mine", material_text(composition=composition, laser="never", router=router))
    assert Library([tmp_path]).material("mine").permits["laser"].verdict is Verdict.NEVER


@pytest.mark.parametrize(
    "name",
    ["Soft carve vinyl", "p v c sheet", "PTFE", "EVA foam", "p-o-l-y-u-r-e-t-h-a-n-e", "Vynil", "ＰＶＣ", "РVС", "пвх",
     "green wood", "old floor", "unknown"],
)  # fmt: skip
@pytest.mark.parametrize("verdict", ["ask", "yes"])
def test_a_name_is_read_like_a_composition(name, verdict, tmp_path):
    text = material_text(laser=verdict).replace('name = "a"', f'name = "{name}"')
    router = "never" if ban(name, "router") else "yes"
    put(tmp_path, "materials", "mine", text)
    assert "mine.toml: laser.verdict" in Library([tmp_path]).check()[0].where
    put(tmp_path, "materials", "mine", material_text(laser="never", router=router).replace('"a"', f'"{name}"', 1))
    assert Library([tmp_path]).check() == ()


def test_a_files_name_is_read_like_a_composition(tmp_path):
    put(tmp_path, "materials", "p-v-c", material_text())
    assert only_fault(tmp_path, "materials", "p-v-c").message.startswith('must be never for a file\'s name with "pvc"')


@pytest.mark.parametrize(
    ("composition", "named"),
    [("pear wood", "pear"), ("Birnbaum, massiv", "pear"), ("cherry and walnut, solid", "cherry walnut"),
     ("oxidised linseed oil, cork, jute", "linoleum"), ("birch plywood, interior glue", "plywood"), ("липа", "lime"),
     ("PMMA", "acrylic"), ("3.2 mm lino", "linoleum")],
)  # fmt: skip
def test_a_file_of_a_workable_substance_is_taken(composition, named, tmp_path):
    put(tmp_path, "materials", "mine", material_text(composition=composition))
    mine = Library([tmp_path]).material("mine")
    assert mine.permits["laser"].verdict is Verdict.YES
    assert workable(mine.composition) == tuple(substances()[key] for key in named.split())


@pytest.mark.parametrize(
    "composition",
    [
        "lime wood",
        "tabs of birch",
        "cast acrylic",
        "linseed oil, cork",
        "a box of ash",
        "rosin",
        "heart wood",
        "wood fibre",
        "green lino",
        "formaldehyde resin",
        "untreated pine",
        "dewaxed",
    ],
)
def test_no_word_is_banned_for_its_parts(composition):
    assert ban(composition) is None


@pytest.mark.parametrize("key", ["vinyl-soft", "embossing-hdpe"])
def test_a_users_file_can_not_loosen_a_shipped_never(key, tmp_path):
    put(tmp_path, "materials", key, material_text(composition="lime wood", laser="yes"))
    faults = Library([tmp_path]).check()
    assert f"{tmp_path}/materials/{key}.toml: laser.verdict" in [fault.where for fault in faults]
    assert all(fault.message.startswith(("must stay never", "must be never")) for fault in faults)
    with pytest.raises(InputError):
        Library([tmp_path]).material(key)


NEVERS = [
    (key, kind)
    for key in MATERIALS
    for kind, each in Library().material(key).permits.items()
    if each.verdict is Verdict.NEVER
]


@pytest.mark.parametrize(("key", "kind"), NEVERS)
@pytest.mark.parametrize("what", ["file", "name", "composition"])
@pytest.mark.parametrize("verdict", ["ask", "yes"])
def test_nor_under_another_name(key, kind, what, verdict, tmp_path):
    """What a shipped file says is never stays so for whatever is called like it, by file, name or composition."""
    stuff = Library().material(key)
    text = material_text(
        composition=stuff.composition if what == "composition" else "lime wood",
        laser=verdict if kind == "laser" else "never", router=verdict if kind == "router" else "never",
    )  # fmt: skip
    text = text.replace('name = "a"', f'name = "{stuff.name}"') if what == "name" else text
    name = f"my-{key}" if what == "file" else "mine"
    put(tmp_path, "materials", name, text)
    assert only_fault(tmp_path, "materials", name).where.endswith(f"{kind}.verdict")


@pytest.mark.parametrize(("form", "machines"), [("laser", '"router"'), ("laser", '"laser", "hand"'), ("v", '"laser"')])
def test_a_beam_goes_into_lasers_and_nothing_else_does(form, machines, tmp_path):
    """Otherwise a laser's file could be written as a router's, past the laser's verdict."""
    text = re.sub(r"machines = .*", f"machines = [{machines}]", cutter_text(form))
    put(tmp_path, "cutters", "mine", text)
    assert only_fault(tmp_path, "cutters", "mine").where.endswith("machines")


@pytest.mark.parametrize(
    ("kind", "key", "where"), [("machines", "laser-bed", "kind"), ("cutters", "laser-fine", "form")]
)
def test_a_users_file_can_not_call_a_shipped_laser_something_else(kind, key, where, tmp_path):
    put(tmp_path, kind, key, machine_text() if kind == "machines" else cutter_text("flat"))
    fault = only_fault(tmp_path, kind, key)
    assert fault.where.endswith(where)
    assert fault.message.startswith("must stay laser")


@pytest.mark.parametrize("kind", KINDS)
def test_a_missing_verdict_table_is_an_error_and_no_default(kind, tmp_path):
    text = re.sub(rf"\[{kind}\](\n[^\[].*)+\n", "", material_text())
    put(tmp_path, "materials", "mine", text)
    faults = Library([tmp_path]).check()
    assert (faults[0].where, faults[0].message) == (f"{tmp_path}/materials/mine.toml: {kind}", "is missing")


# ---- broken files ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "place", "said", "hint"),
    [
        ("dot_mm = ", "dott_mm = ", "values.dot_mm", "is missing", "0.05…20 mm"),
        ("[values]", "[values]\ndott_mm = 3\n", "values.dott_mm", "is not known here", "you mean dot_mm?"),
        ('name = "a"', 'name = "a"\nabuot = "x"', "abuot", "is not known here", "did you mean about?"),
        ('name = "a"', "name = 3", "name", "must be text in quotes", ""),
        ('name = "a"', 'name = "a\\u001b[2J"', "name", "must be one line of text", ""),
        ('name = "a"', 'name = " "', "name", "must be one line of text", ""),
        ('name = "a"\n', "", "name", "is missing", "text"),
        ('grain = "side"', 'grain = "sdie"', "grain", "must be a known word", "did you mean side?"),
        ('grain = "side"', 'grain = "side"\nserves = "plate"', "serves", "must be a known word", "block, "),
        ('verdict = "yes"', 'verdict = "maybe"', "laser.verdict", "must be a known word", "ask, never, yes"),
        ('why = "c"\n', "", "laser.why", "is missing", ""),
        ('["d"]', '"d"', "laser.cautions", "must be a list in [ ]", ""),
        ('["d"]', '["fire-smoulder"]', "laser.cautions", "must be a known caution, or a sentence", "fire-smoulders"),
        ('["d"]', "[3]", "laser.cautions[0]", "must be text in quotes", ""),
        ('value = 100.0, source = "from memory"', "value = 100.0", "values.thickness_mm.source", "is missing",
         "common practice"),
        ('value = 100.0, source = "from memory"', 'value = 100.0, source = ""', "values.thickness_mm.source",
         "must be one line of text", "common practice"),
        ('value = 100.0, source', "source", "values.thickness_mm", "has no value", "0.5…100 mm"),
        ('{ value = 100.0, source = "from memory" }', "100.0", "values.thickness_mm", "must be a table",
         "write thickness_mm = { value = …"),
        ('value = 100.0, source', "vaule = 1, value = 100.0, source", "values.thickness_mm.vaule",
         "is not known here", "did you mean value?"),
    ],
)  # fmt: skip
def test_each_fault_names_its_place_and_remedy(old, new, place, said, hint, tmp_path):
    text = material_text()
    assert old in text
    path = put(tmp_path, "materials", "mine", text.replace(old, new, 1))
    fault = Library([tmp_path]).check()[0]
    assert (fault.where, fault.message) == (f"{path}: {place}", said)
    assert hint in fault.hint


@pytest.mark.parametrize(("wrong", "shown"), [("{ a = 1 }", "a table"), ("[1, 2]", "a list"), ("7", 7)])
def test_a_wrong_value_is_told_as_what_it_is(wrong, shown, tmp_path):
    put(tmp_path, "materials", "mine", material_text().replace('name = "a"', f"name = {wrong}", 1))
    fault = Library([tmp_path]).check()[0]
    assert (fault.message, fault.value) == ("must be text in quotes", shown)


@pytest.mark.parametrize(
    ("about", "key"),
    [("Started from v-60; measured by the user.", "v-60"), ("Measured by the user.", ""), ("", "")],
)
def test_a_profile_says_what_it_was_started_from(about, key):
    assert started_from(about) == key


def test_all_faults_of_all_files_are_found_at_once(tmp_path):
    put(tmp_path, "materials", "mine", material_text({"dot_mm": 0.0, "cut_mm": -1.0}, laser="perhaps"))
    put(tmp_path, "cutters", "mine", cutter_text("v", {"tip_mm": 9.0}))
    put(tmp_path, "machines", "mine", "curves = 1\nkind = ")
    places = [fault.where.split("mine.toml: ")[1] for fault in Library([tmp_path]).check()]
    assert places == ["values.dot_mm", "values.cut_mm", "laser.verdict", "values.tip_mm", "line 2"]
    with pytest.raises(InputError) as caught:
        Library([tmp_path]).material("mine")
    assert "2 more in this file" in caught.value.hint


@pytest.mark.parametrize(
    ("raw", "place", "said"),
    [
        (b"a = 1\nb = \xff\n", "line 2", "must be UTF-8 text"),
        (b"a = 1\n\nb = = 2\n", "line 3", "must be valid TOML"),
        (b'a = "x\n', "line 1", "must be valid TOML"),
        (b"a = 1\na = 2\n", "line 2", "must be valid TOML"),
        (b"a = " + b"[" * 20000, "line", "must be valid TOML"),
        (b"a = " + b"9" * 5000, "line", "must be valid TOML"),
        (b"\x00\x01", "line 1", "must be valid TOML"),
    ],
    ids=["latin", "two signs", "open text", "twice", "deep", "long", "binary"],
)
@pytest.mark.parametrize("kind", few(FOLDERS, 1))  # all are read by one reader
def test_a_file_that_is_no_toml(kind, raw, place, said, tmp_path):
    put(tmp_path, kind, "mine", "").write_bytes(raw)
    fault = only_fault(tmp_path, kind, "mine")
    assert fault.message == said
    assert fault.where.startswith(f"{tmp_path}/{kind}/mine.toml: {place}")


@pytest.mark.parametrize(
    ("line", "asked"),
    [
        ('name = ""jetty"', True), ('name = ""jetty""', True), ('name = "jetty', True), ("name = 'jetty", True),
        ('on = ["POST", "BOAT]', True), ("b = = 2 # the boat's", False), ('a = "x"', False), ('b = ["x" "y"]', False),
    ],
)  # fmt: skip
def test_a_stray_quotation_mark_is_asked_about_and_no_other_fault_is_taken_for_one(line, asked, tmp_path):
    put(tmp_path, "materials", "mine", "").write_text(f"a = 1\n{line}\n", encoding="utf-8")
    fault = only_fault(tmp_path, "materials", "mine")
    assert fault.hint.startswith("a quotation mark too many or too few?") == asked


def test_a_byte_order_mark_and_windows_line_ends_do_no_harm(tmp_path):
    raw = b"\xef\xbb\xbf" + material_text().replace("\n", "\r\n").encode()
    put(tmp_path, "materials", "mine", "").write_bytes(raw)
    assert Library([tmp_path]).material("mine").name == "a"


#: What TOML is written with, and a little that it is not.
SIGNS = "[]{}=#\"'\\ \n\t\0.,-_az09é\u202e\ud800"


@given(raw=st.binary(max_size=300) | st.text(SIGNS, max_size=300).map(lambda text: text.encode("utf-8", "replace")))
@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_bytes_at_all_make_another_error(raw, tmp_path):
    for kind in FOLDERS:
        put(tmp_path, kind, "mine", "").write_bytes(raw)
        with pytest.raises(InputError):
            read(Library([tmp_path]), kind, "mine")


# ---- folders --------------------------------------------------------------------------------------------


def test_a_users_file_overrides_the_shipped_one_wholly_and_later_folders_win(tmp_path):
    first, second = tmp_path / "1", tmp_path / "2"
    put(first, "materials", "linoleum", material_text({"dot_mm": 1.5}))
    put(second, "materials", "linoleum", material_text({"dot_mm": 2.5}))
    put(first, "materials", "pear", material_text({"dot_mm": 0.3}))
    library = Library([first, second])
    assert library.material("linoleum").dot_mm == 2.5
    assert library.material("linoleum").about == "b"
    assert library.path("materials", "linoleum") == second / "materials" / "linoleum.toml"
    assert library.material("pear").dot_mm == 0.3
    assert library.keys("materials") == tuple(sorted([*MATERIALS, "pear"]))
    assert Library().material("linoleum").dot_mm == 0.8


NEAR = [("chery", "cherry"), ("Linoleum", "linoleum"), ("vinyl soft", "vinyl-soft")]


@pytest.mark.parametrize(("given_key", "near"), NEAR)
def test_an_unknown_key_names_the_nearest_and_lists_all(given_key, near):
    with pytest.raises(InputError) as caught:
        Library().material(given_key)
    assert caught.value.value == given_key
    never = "embossing-hdpe, embossing-polycarbonate, rubber-soft, vinyl-soft"
    assert caught.value.hint == f"did you mean {near}? known: {', '.join(MATERIALS)}; never for a laser: {never}"


@pytest.mark.parametrize("key", ["../machines/hand", "", "/etc/passwd", "cherry.toml"])
def test_a_key_is_no_path(key):
    with pytest.raises(InputError):
        Library().material(key)


def test_a_folder_that_is_missing_or_holds_no_profiles(tmp_path):
    for folder in (tmp_path / "none", tmp_path):
        with pytest.raises(InputError) as caught:
            Library([folder])
        assert caught.value.value == str(folder)


def test_files_and_folders_that_no_name_reaches_are_told(tmp_path):
    put(tmp_path, "materials", "My Lino", material_text())
    put(tmp_path, "materials", ".hidden", "")
    put(tmp_path, "cuters", "mine", "")
    assert [fault.value for fault in Library([tmp_path]).check()] == ["cuters", "My Lino.toml"]


# ---- the command ----------------------------------------------------------------------------------------


@pytest.fixture
def run(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))

    def run(*words):
        return CliRunner().invoke(command, [str(word) for word in words])

    return run


def test_list_shows_every_key_and_the_verdicts(run):
    result = run("list")
    assert result.exit_code == 0
    for _, key in SHIPPED:
        assert re.search(rf"^  {re.escape(key)} ", result.output, re.MULTILINE)
    assert re.search(r"^  vinyl-soft .* never +never$", result.output, re.MULTILINE)


def test_list_as_json_is_the_same_list(run):
    report = json.loads(run("list", "--json").output)
    assert [(kind, each["key"]) for kind in FOLDERS for each in report[kind]] == SHIPPED


@pytest.mark.parametrize(("kind", "key"), SHIPPED)
def test_show_tells_every_value_source_and_caution(kind, key, run):
    text = run("show", key).output
    profile = read(Library(), kind, key)
    for figure in figures(profile):
        assert re.search(rf"{figure.name} +{figure.value:g} ?{figure.unit} +{re.escape(figure.source)}", text)
    permits = getattr(profile, "permits", {}).values()
    for caution in [*getattr(profile, "cautions", ()), *(line for each in permits for line in each.cautions)]:
        assert caution in text
    assert str(shipped() / kind / f"{key}.toml") in text


@pytest.mark.parametrize("key", MATERIALS)
def test_show_tells_by_which_words_a_laser_takes_a_material(key, run):
    report = "declare for a laser: " in run("show", key).output
    assert report == (Library().material(key).permits["laser"].verdict is not Verdict.NEVER)


def test_show_a_kind_shows_all_of_it(run):
    assert [page["key"] for page in json.loads(run("show", "cutters", "--json").output)] == [
        key for kind, key in SHIPPED if kind == "cutters"
    ]


def test_show_an_unknown_name(run):
    error = run("show", "linolium").exception
    assert isinstance(error, InputError)
    assert error.hint.startswith("did you mean linoleum?")


def test_check_is_content_with_what_is_shipped(run):
    result = run("check")
    assert (result.exit_code, result.output) == (0, f"{len(SHIPPED)} profiles, no fault\n")


def test_check_prints_every_fault_and_fails(run, tmp_path):
    path = put(tmp_path, "materials", "mine", material_text({"dot_mm": 0.01}, laser="maybe"))
    result = run("check", "--profiles", tmp_path)
    assert f"{path}: values.dot_mm: must lie in 0.05…20 mm, got 0.01\n" in result.output
    assert f"{path}: laser.verdict: must be a known word, got 'maybe'\n" in result.output
    assert isinstance(result.exception, InputError)
    assert result.exception.exit_code == 2
    faults = json.loads(run("check", "--profiles", tmp_path, "--json").output)["faults"]
    assert [fault["value"] for fault in faults] == [0.01, "maybe"]


def test_the_users_own_folder_is_looked_at_and_the_option_wins(run, tmp_path):
    own, other = tmp_path / "config" / "carvegen" / "profiles", tmp_path / "other"
    put(own, "materials", "pear", material_text({"dot_mm": 0.3}))
    assert json.loads(run("show", "pear", "--json").output)[0]["values"]["dot_mm"]["value"] == 0.3
    put(other, "materials", "pear", material_text({"dot_mm": 0.4}))
    shown = json.loads(run("show", "pear", "--json", "--profiles", other).output)
    assert shown[0]["values"]["dot_mm"]["value"] == 0.4
    assert shown[0]["file"] == str(other / "materials" / "pear.toml")


def test_profiles_are_a_light_import():
    code = "import sys, carvegen.facts.profiles; print(sorted({'numpy', 'shapely', 'scipy'} & set(sys.modules)))"
    root = Path(__file__).parents[2]
    done = subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


# ---- what a machine's profile says of its pace ------------------------------------------------------


def test_a_machine_without_paces_is_read_and_has_none(tmp_path):
    put(tmp_path, "machines", "mine", machine_text())
    mine = Library([tmp_path]).machine("mine")
    assert (mine.origin, mine.travel_mm_s, mine.safe_height_mm) == ("lower-left", None, None)


def test_a_machine_takes_its_origin_and_paces(tmp_path):
    put(tmp_path, "machines", "mine", 'origin = "upper-left"\n' + machine_text({"safe_height_mm": 7.5}))
    mine = Library([tmp_path]).machine("mine")
    assert (mine.origin, mine.safe_height_mm) == ("upper-left", 7.5)


@pytest.mark.parametrize(
    ("values", "where", "said"),
    [
        ({"turn_s": 0.2}, "values.turn_s", "is not known here"),  # a router has no scan lines
        ({"travel_mm_s": 0}, "values.travel_mm_s", "must lie in 0.1…5000 mm/s"),
        ({"spindle_least_rpm": 9000, "spindle_most_rpm": 800}, "values.spindle_least_rpm", "must not be above"),
    ],
)
def test_a_wrong_pace_is_told(values, where, said, tmp_path):
    put(tmp_path, "machines", "mine", machine_text(values))
    fault = only_fault(tmp_path, "machines", "mine")
    assert where in fault.where
    assert said in str(fault)


def test_a_sound_file_is_read_once_and_a_faulty_one_tells_the_same_fault_again(tmp_path, monkeypatch):
    (tmp_path / "materials").mkdir()
    (tmp_path / "materials/faulty.toml").write_text("name = 3", encoding="utf-8")
    shelf, read = Library([tmp_path]), []
    plain = Library._material
    monkeypatch.setattr(Library, "_material", lambda each, key: (read.append(key), plain(each, key))[1])
    assert shelf.material("cherry") is shelf.material("cherry")
    assert read == ["cherry"]
    report = []
    for _ in range(2):
        with pytest.raises(InputError) as fault:
            shelf.material("faulty")
        report.append(str(fault.value))
    assert report[0] == report[1]
    assert Library().material("cherry") is not shelf.material("cherry")
