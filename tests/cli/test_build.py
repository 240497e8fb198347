"""A whole print from the command line: register, mirror, what is built again and what is not."""

from __future__ import annotations

import json
import shutil

import ezdxf
import numpy as np
import pytest
import shapely
import svgelements
from lxml import etree
from PIL import Image

from carvegen.delivery import side_by_side
from carvegen.facts.profiles import shipped
from carvegen.prints.file.new_folder import FILES
from carvegen.prints.file.schema import schema
from tests.cases import layer, small_print
from tests.cli.running import built_once, run, tree
from tests.strategies import few, takes_long

#: Small and quick to build, unlike its mirror image, with a shape of each kind; machine paths are tried on `CLAMPED`.
PRINT = small_print(
    "[register]\nprints = 20",
    '[artwork]\nin_front = ["LIT", "POST"]',
    layer("POST", "box 12 0 10 30"),
    layer("LIT", "box 18 2 2 24"),
    blocks={"sky": ["*"], "tone": ["LIT", "POST"], "key": ["POST"]},
    name="mooring post",
    machine="router",
    seed=4,  # no flake that is behind meets the edge of the post
    trap_mm=0.5,
    register_error_mm=0.4,
    after="""
[[highlights]]
shape = "circle 48 30 4"
[[openings]]
shape = "circle 40 10 2"
[[motifs]]
motif = "snowload"
on = ["POST"]
[[motifs]]
motif = "snowfall"
front = false
settings = { snow = 0.06, largest_mm = 2.5 }
[files]
paths = false
""",
)
BLOCKS = ("sky", "tone", "key")

#: Two blocks without snow, for what does not ask what is on them.
PLAIN = small_print(
    layer("POST", "box 5 0 6 10"),
    blocks={"sky": ["*"], "key": ["POST"]},
    size=(20, 15),
    after='[[highlights]]\nshape = "circle 15 10 2"',
)
#: The same for the router.
CLAMPED = PLAIN.replace('for = ["hand"]', 'for = ["router"]')
NS = {"s": "http://www.w3.org/2000/svg"}


@pytest.fixture
def built():
    return built_once(PRINT)


@pytest.fixture
def copy(tmp_path):
    """A built print of one's own."""
    return shutil.copytree(built_once(PRINT), tmp_path / "print")


@pytest.fixture
def plain(tmp_path):
    """A built print without snow of one's own."""
    return shutil.copytree(built_once(PLAIN), tmp_path / "print")


def test_a_build_ends_in_few_words_and_names_each_folder_once(copy, capsys):
    ran = run(capsys, "build", copy / "print.toml", "--out", copy / "built")
    assert f"As before: {', '.join(json.loads((copy / 'built' / 'report.json').read_text())['blocks'])}" in ran.out
    written = ran.out[ran.out.index("\nIn ") :].splitlines()
    assert sum(line.startswith("  register/ ") for line in written) == 1
    assert sum(line.startswith("  inks/ ") for line in written) == 1
    assert not any(line.startswith(("  register/boards", "  inks/sky")) for line in written)
    assert len(ran.out.split()) <= 940
    assert "Places are x and y from the lower left corner of the print." in ran.out


def again(capsys, folder, *changes: tuple[str, str]):
    text = (folder / "print.toml").read_text()
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (folder / "print.toml").write_text(text)
    ran = run(capsys, "build", folder / "print.toml", "--out", folder / "built", "--json")
    assert ran.code in (0, 1), ran.err
    return json.loads(ran.out)


def changed(before: dict, folder) -> set[str]:
    after = tree(folder)
    return {name for name in before.keys() | after.keys() if before.get(name) != after.get(name)}


def land(folder, name: str):
    return shapely.from_wkb((folder / "built" / "lands" / f"{name}.wkb").read_bytes())


def shown(folder) -> Image.Image:
    with Image.open(folder / "built" / "print.png") as picture:
        return picture.convert("RGB")


def lowered(folder, block: str, layer: str = "CUT-AREA"):
    """What a machine file lowers, by a path parser that isn't ours, in mm, y up, from the block's corner."""
    root = etree.parse(folder / "built" / block / "router" / "block.svg").getroot()
    edge = _rings(root, "BLOCK-EDGE")[0]
    left, bottom = edge.min(axis=0)
    rings = [ring - (left, bottom) for ring in _rings(root, layer)]
    return shapely.build_area(shapely.multilinestrings([shapely.linestrings(ring) for ring in rings]))


def _rings(root, layer: str) -> list[np.ndarray]:
    result = []
    for shape in root.xpath(f'//s:g[@id="{layer}"]/s:path | //s:g[@id="{layer}"]/s:polygon', namespaces=NS):
        if shape.tag.endswith("polygon"):
            points = np.array([pair.split(",") for pair in shape.get("points").split()], dtype=float)
            result.append(np.vstack([points, points[:1]]))
            continue
        rings = svgelements.Path(shape.get("d")).as_subpaths()
        result += [np.array([(part.end.x, part.end.y) for part in ring]) for ring in rings]
    return [ring * (1, -1) for ring in result]


# ── what is built ────────────────────────────────────────────────────────────────────────────────────────────────


def test_every_block_and_every_proof_is_there(built):
    names = {name for name, data in tree(built / "built").items() if data != b"folder"}
    for block in BLOCKS:
        assert {f"{block}/proof.png", f"{block}/router/block.svg", f"{block}/router/block.dxf", f"inks/{block}.png",
                f"{block}/router/note.md", f"lands/{block}.wkb"} <= names  # fmt: skip
    assert {"print.png", "rubbing.png", "report.json", "build.json"} <= names
    assert {f"register/{name}" for name in ("register.png", "register.json", "boards.pdf", "boards.svg", "sheets.pdf",
                                            "sheets.svg")} <= names  # fmt: skip


def test_no_ink_block_prints_in_the_white(built):
    """Register identity, on what was written: moon, opening and snow are bare on every block that prints there."""
    moon, opening = shapely.Point(48, 30).buffer(3.98), shapely.Point(40, 10).buffer(1.98)
    for block in BLOCKS:
        assert not land(built, block).intersects(moon | opening)
    post = shapely.box(12, 0, 22, 30)
    snow = shapely.box(0, 0, 60, 40) - shapely.union_all([land(built, block) for block in BLOCKS])
    lying = snow & post
    assert lying.area > 1
    for block in BLOCKS:
        assert (lowered_in_print(built, block) & lying).area == pytest.approx(lying.area, rel=1e-3)


def lowered_in_print(folder, block: str):
    """The machine file's cut as the paper shows it: mirrored back."""
    return shapely.transform(lowered(folder, block), lambda xy: np.column_stack([60 - xy[:, 0], xy[:, 1]]))


def test_every_machine_file_is_mirrored_once(built):
    face = shapely.box(0, 0, 60, 40)
    opening = shapely.Point(40, 10).buffer(2)
    for block in BLOCKS:
        cut = face - land(built, block) - opening
        assert (lowered_in_print(built, block) ^ cut).area < 0.05
        assert (lowered(built, block) ^ cut).area > 5  # not as the print shows it
        out = lowered(built, block, "CUT-OUT")
        assert (out.centroid.x, out.centroid.y) == pytest.approx((20, 10), abs=0.01)


def test_the_proof_is_the_print_at_true_size(built):
    rgb = shown(built)
    assert rgb.size == (600, 400)
    assert rgb.info["dpi"] == pytest.approx((254, 254), abs=0.1)
    assert rgb.getpixel((480, 100)) == (251, 250, 246)  # the moon: paper
    sky, lit, post = (rgb.getpixel(at) for at in ((590, 390), (190, 300), (150, 300)))
    assert sum(post) < sum(lit) < sum(sky) < sum((251, 250, 246))


#: A post with a twig of 5 x 0.3 mm beside snow, which nothing can widen: mending takes it away.
TWIG = PLAIN.replace('for = ["hand"]', 'for = ["hand"]\nmend = true').replace(
    '[[highlights]]', '[[layers]]\nname = "TWIG"\nshape = "box 11 6 5 0.3"\n[[highlights]]'
).replace('["POST"]', '["POST", "TWIG"]').replace("circle 15 10 2", "box 11 6.3 5 2") + (
    '[[highlights]]\nshape = "box 11 4 5 2"\n'
)  # fmt: skip


def test_what_mending_changed_is_told_by_block_in_report_note_and_summary(tmp_path, capsys):
    (tmp_path / "print.toml").write_text(TWIG, encoding="utf-8")
    for _ in range(2):  # once more it is told of the files that lie there
        ran = run(capsys, "build", tmp_path / "print.toml", "--out", tmp_path / "built")
        assert "\nMended on key: " in ran.out
    changes = json.loads((tmp_path / "built" / "key" / "report.json").read_text())["changes"]
    assert sum(change["white_mm2"] for change in changes) == pytest.approx(5 * 0.3, rel=0.2), "the twig's area"
    key = json.loads((tmp_path / "built" / "report.json").read_text())["blocks"]["key"]
    [report] = [each for each in key if each["rule"] == "mended-away"]
    assert shapely.box(10.9, 6, 16, 6.3).intersects(shapely.Point(report["at_mm"])), "in the twig"
    note = (tmp_path / "built" / "key" / "hand" / "note.md").read_text()
    words = json.loads((tmp_path / "built" / "report.json").read_text())["mended"]["key"]
    assert "## Mended" in note
    assert words in note
    x, y = next(change["at"] for change in changes if change["white_mm2"] > 0.5)
    assert words.endswith(f"the largest at x {x:.1f}, y {y:.1f} mm")


def test_land_that_mending_takes_whole_is_told_of_a_build_and_of_the_files_of_an_earlier_one(tmp_path, capsys):
    """The twig again, off its post, with a highlight at its end."""
    free = TWIG.replace("box 11 6 5 0.3", "box 12 6 4 0.3") + '[[highlights]]\nshape = "box 11 4 1 4"\n'
    (tmp_path / "print.toml").write_text(free, encoding="utf-8")
    for _ in range(2):  # the second time all but the print's own report is there
        (tmp_path / "built" / "report.json").unlink(missing_ok=True)
        ran = run(capsys, "build", tmp_path / "print.toml", "--out", tmp_path / "built")
        assert "; pieces of land gone whole: 1, the largest 1.2 mm² at x 14.0, y 6.2 mm" in ran.out
    [lost] = json.loads((tmp_path / "built" / "key" / "report.json").read_text())["lost"]
    assert lost["area_mm2"] == 1.2
    assert "; pieces of land gone whole: 1, " in (tmp_path / "built" / "key" / "hand" / "note.md").read_text()


def test_one_report_with_what_must_be_decided_first_on_top(built):
    report = json.loads((built / "built" / "report.json").read_text())
    assert len(report["decide_first"]) == 1
    assert report["decide_first"][0].startswith("sky, tone, key: router: ")
    order = [("breaks", "risk", "advice").index(finding["severity"]) for finding in report["findings"]]
    assert order == sorted(order)
    for severity, count in (("breaks", "breaks"), ("risk", "risks"), ("advice", "advice")):
        assert report[count] == sum(one["places"] for one in report["findings"] if one["severity"] == severity)
        assert report[count] == sum(
            item["severity"] == severity for block in BLOCKS for item in report["blocks"][block]
        )
    assert all(each["remedy"] and each["why"] for each in report["findings"])


# ── what is built again ──────────────────────────────────────────────────────────────────────────────────────────


def times(folder) -> dict:
    return {path: path.stat().st_mtime_ns for path in sorted(folder.rglob("*"))}


@pytest.mark.parametrize("begin", few(["fork", "spawn"], 1))  # spawned, each child reads all modules: many seconds
def test_steps_side_by_side_write_the_same_bytes_as_one_after_the_other(plain, capsys, monkeypatch, begin):
    """Each is told of once and returns: what fails in a child is done once more, in this process."""
    heard, hear = list[str](), side_by_side._heard

    def overheard(pipe):
        heard.append((report := hear(pipe))[0])
        return report

    monkeypatch.setattr(side_by_side, "_BEGIN", begin)
    monkeypatch.setattr(side_by_side, "_heard", overheard)
    ran = run(capsys, "build", plain / "print.toml", "--out", plain / "both", "--jobs", "2")
    assert ran.code in (0, 1), ran.err
    assert tree(plain / "both") == tree(plain / "built")
    for block in ("sky", "key"):
        assert ran.err.count(f"the files of the {block} block") == 1
    assert ran.err.count("not built before") == 1
    assert heard.count("returns") >= 2 and "fails" not in heard


def test_unchanged_nothing_is_written(copy, capsys):
    before = times(copy / "built")
    report = again(capsys, copy)
    assert report["blocks"] == dict.fromkeys(BLOCKS, "")
    assert report["proofs"] == ""
    assert times(copy / "built") == before


@takes_long  # a whole build once more; the rooms say it of their part
def test_another_ink_only_draws_the_proofs(copy, capsys):
    before = tree(copy / "built")
    report = again(capsys, copy, ("#6a8799", "#7a6a99"))
    assert report["blocks"] == dict.fromkeys(BLOCKS, "")
    assert "ink of tone changed" in report["proofs"]
    assert changed(before, copy / "built") == {
        "print.png", "print.svg", "rubbing.png", "rubbing.svg", "inks/tone.png", "inks/tone-block.png", "proof.html",
        "register/register.png", "report.json", "build.json",
    }  # fmt: skip


@takes_long  # a whole build once more; the rooms say it of their part
def test_another_tolerance_only_tries_out_register(copy, capsys):
    before = tree(copy / "built")
    answer = again(capsys, copy, ("prints = 20", "prints = 20\ntolerance_mm = 0.05\nturn_deg = 0"))
    assert answer["blocks"] == dict.fromkeys(BLOCKS, "")
    assert answer["proofs"] == ""
    assert answer["register"] == "register tolerance changed; register turn changed"
    touched = changed(before, copy / "built")
    assert touched <= {"register/register.png", "register/register.json", "report.json", "proof.html", "build.json"}
    report = json.loads((copy / "built" / "report.json").read_text())
    assert report["register"]["white_line"]["share_of_prints"] < 0.05
    assert report["register"]["tolerance_mm"] == 0.05


@takes_long  # a whole build once more; the rooms say it of their part
def test_stops_stand_alike_in_the_waste_of_every_block(copy, capsys):
    """Read back by lxml and a path parser that isn't ours: the same stops on each, the cuts where they were."""
    before = {block: lowered(copy, block) for block in BLOCKS}
    report = again(capsys, copy, ("prints = 20", 'prints = 20\nmethod = "stops"'))
    assert all("register method changed" in why for why in report["blocks"].values())
    stops = [lowered(copy, block, "REGISTER-STOP") for block in BLOCKS]
    for block, stop in zip(BLOCKS, stops, strict=True):
        assert stop.equals(stops[0])
        own = lowered(copy, block).intersection(shapely.box(0, 0, 60, 40))  # beside it is the groove in the waste
        assert own.symmetric_difference(before[block]).area < 1e-6
        assert stop.distance(shapely.box(0, 0, 60, 40)) > 1.99
        assert stop.bounds[2] > 60 and stop.bounds[1] < 0  # the corner lies to the lower right on a block
    assert "corner stop" in (copy / "built" / "key" / "router" / "note.md").read_text()
    assert report["report"]["register"]["method"] == "stops"


@takes_long  # a whole build once more; the rooms say it of their part
def test_another_seed_builds_what_it_must(tmp_path, capsys):
    snow = '[[motifs]]\nmotif = "snowfall"\nsettings = { snow = 0.06, largest_mm = 2.5 }'
    (tmp_path / "print.toml").write_text(small_print(blocks={"sky": ["*"]}, size=(20, 15), seed=3, after=snow))
    again(capsys, tmp_path)
    report = again(capsys, tmp_path, ("seed = 3", "seed = 4"))
    assert "seed changed" in report["blocks"]["sky"]
    assert report["proofs"]
    assert report["moved"] == []


def test_a_block_whose_shapes_stay_is_left_alone(copy, capsys):
    """Other flakes behind everything: only the sky shows them."""
    before = tree(copy / "built")
    record = copy / "built" / "build.json"
    built = json.loads(record.read_text())
    was = {"lying snow 1": "other", "limits of lying snow 1": "land of 0.3 mm"}  # as if by finer limits
    built["steps"][" grown"]["inputs"] |= was
    record.write_text(json.dumps(built))
    report = again(capsys, copy, ("snow = 0.06", "snow = 0.03"))
    [moved] = report["moved"]
    assert moved.startswith("Moved: lying snow 1. It grows by the strictest limits")
    assert moved.endswith(". Before: land of 0.3 mm.")
    assert report["blocks"]["sky"] == "settings of snowfall 1 changed"
    assert report["blocks"]["key"] == report["blocks"]["tone"] == ""
    touched = {name.partition("/")[0] for name in changed(before, copy / "built")}
    assert touched == {
        "sky", "inks", "lands", "print.png", "print.svg", "rubbing.png", "rubbing.svg", "register", "report.json",
        "proof.html", "build.json",
    }  # fmt: skip


def test_another_material_builds_that_block(plain, capsys):
    report = again(
        capsys, plain, ('layers = ["POST"]\nmaterial = "linoleum"', 'layers = ["POST"]\nmaterial = "cherry"')
    )
    assert report["blocks"]["sky"] == ""
    assert "material" in report["blocks"]["key"]


@takes_long  # a whole build once more; the rooms say it of their part
def test_a_clamp_and_a_further_cutter_build_their_block_alone(tmp_path, capsys):
    """By ezdxf: no way of any layer of paths lies where the clamp does, as the block lies, mirrored."""
    copy = shutil.copytree(built_once(CLAMPED), tmp_path / "print")
    own = 'layers = ["POST"]\nmaterial = "linoleum"'
    report = again(capsys, copy, (own, f'more_cutters = ["flat-1"]\nno_go = ["box 0 0 4 4"]\n{own}'))
    assert [name for name, why in report["blocks"].items() if why] == ["key"]
    assert "clamps" in report["blocks"]["key"]
    drawing = ezdxf.readfile(copy / "built" / "key" / "router" / "paths.dxf")
    outlines = [entity for entity in drawing.modelspace().query("LWPOLYLINE") if "FLAT-1" in entity.dxf.layer]
    assert outlines
    clamp = shapely.box(16, 0, 20, 4)
    assert not any(
        shapely.LineString([xy[:2] for xy in outline.get_points()]).intersects(clamp) for outline in outlines
    )


def test_built_again_with_another_caution_of_a_machine_is_built_afresh(plain, capsys):
    """Every other change: tests/delivery/test_built_again.py."""
    own = plain / "own" / "machines" / "hand.toml"
    own.parent.mkdir(parents=True)
    text = (shipped() / "machines" / "hand.toml").read_text(encoding="utf-8")
    own.write_text(text.replace("cautions = [", 'cautions = ["Mind the cat.", '), encoding="utf-8")
    for out in ("built", "fresh"):
        ran = run(capsys, "build", plain / "print.toml", "--out", plain / out, "--profiles", plain / "own")
        assert ran.code in (0, 1), ran.err
    assert "Mind the cat." in (plain / "built" / "key" / "hand" / "note.md").read_text(encoding="utf-8")
    assert tree(plain / "built") == tree(plain / "fresh")


def test_a_clamp_that_can_t_be_read_is_told_with_its_key(copy, capsys):
    text = (copy / "print.toml").read_text()
    own = 'layers = ["POST"]\nmaterial = "linoleum"'
    (copy / "print.toml").write_text(text.replace(own, f'no_go = ["box 0 0"]\n{own}'))
    ran = run(capsys, "build", copy / "print.toml", "--out", copy / "built")
    assert ran.code == 2
    assert (
        "line 37: the first entry of the third block's no_go: box (box X Y WIDTH HEIGHT): needs 4 lengths, got '0 0'"
        in ran.err
    )


def test_a_file_that_was_touched_is_made_again(plain, capsys):
    before = tree(plain / "built")
    (plain / "built" / "key" / "hand" / "guide.svg").write_text("<svg/>")
    (plain / "built" / "print.png").unlink()
    report = again(capsys, plain)
    assert report["blocks"] == {"sky": "", "key": "key/hand/guide.svg is missing or was changed"}
    assert "print.png is missing" in report["proofs"]
    assert changed(before, plain / "built") == {"key/hand/guide.yours.svg"}
    assert (plain / "built" / "key" / "hand" / "guide.yours.svg").read_text() == "<svg/>"
    assert any("guide.yours.svg" in note for note in report["notes"])


def test_a_block_that_is_gone_takes_its_files_along(plain, capsys):
    (plain / "built" / "key" / "mine.txt").write_text("keep")
    text = (plain / "print.toml").read_text()
    start = text.index('[[blocks]]\nname = "key"')
    (plain / "print.toml").write_text(text[:start] + text[text.index("[[highlights]]") :])
    report = again(capsys, plain)
    assert list(report["blocks"]) == ["sky"]
    left = {name for name in tree(plain / "built") if name.startswith(("key", "inks/key", "lands/key"))}
    assert left == {"key", "key/mine.txt"}


@pytest.mark.parametrize("text", few(["[1]", "", "{}", '{"format": 2, "steps": {"sky": {"inputs": {}}}}', "\xff"], 1))
def test_a_broken_state_is_built_over(plain, capsys, text):
    (plain / "built" / "build.json").write_text(text, encoding="latin-1")
    report = again(capsys, plain)
    assert all(report["blocks"].values())


def test_a_state_that_leads_out_of_the_folder_is_not_followed(plain, capsys):
    mine = plain / "mine.txt"
    mine.write_text("keep")
    state = json.loads((plain / "built" / "build.json").read_text())
    state["steps"]["gone"] = {"inputs": {}, "files": {"../mine.txt": "0"}, "notes": {}}
    (plain / "built" / "build.json").write_text(json.dumps(state))
    again(capsys, plain)
    assert mine.read_text() == "keep"


def test_what_fails_leaves_everything_as_it_was(copy, capsys):
    before = tree(copy / "built")
    text = (copy / "print.toml").read_text()
    (copy / "print.toml").write_text(text.replace("circle 40 10 2", "circle 59 10 2").replace("seed = 3", "seed = 5"))
    ran = run(capsys, "build", copy / "print.toml", "--out", copy / "built")
    assert ran.code == 2
    assert "openings" in ran.err
    assert tree(copy / "built") == before


# ── the other faces ──────────────────────────────────────────────────────────────────────────────────────────────


def test_a_laser_block_of_a_forbidden_material_is_refused(copy, capsys):
    text = (copy / "print.toml").read_text()
    bad = text.replace('layers = ["POST"]\nmaterial = "linoleum"', 'layers = ["POST"]\nmaterial = "vinyl-soft"')
    (copy / "print.toml").write_text(bad.replace('"v-60"\nfor = ["router"]', '"laser-fine"\nfor = ["laser"]'))
    ran = run(capsys, "build", copy / "print.toml", "--out", copy / "built")
    assert ran.code == 3
    assert "the third block" in ran.err


@takes_long  # a whole build once more; the rooms say it of their part
def test_emboss_stands_in_the_opening_and_a_stencil_is_a_mask_that_is_cut_and_printed_through(copy, capsys):
    """Emboss stays short of the opening's edge."""
    more = '[[blocks]]\nname = "relief"\nrole = "emboss"\nmaterial = "linoleum"\ncutter = "v-60"\nfor = ["router"]\n'
    more += "depth_mm = 0.4\nedge_mm = 0\ncorner_mm = 0.3\n"
    more += '[[blocks]]\nname = "mask"\nrole = "stencil"\nink = "#c02020"\nopacity = 1\nmaterial = "birch-plywood"\n'
    more += 'cutter = "flat-1"\nfor = ["router"]\n'
    again(capsys, copy, ("[[highlights]]", more + "[[highlights]]"))
    stands = land(copy, "relief")
    assert stands.area == pytest.approx(np.pi * (2 - 0.4 - 0.4) ** 2, rel=0.02)
    assert stands.centroid.distance(shapely.Point(40, 10)) < 0.01
    assert lowered(copy, "mask", "CUT-OUT").area == pytest.approx(np.pi * 4, rel=0.01)
    assert land(copy, "mask").area == pytest.approx(60 * 40 - np.pi * 4, rel=0.001)
    assert shown(copy).getpixel((400, 300)) == (0xC0, 0x20, 0x20)


def test_what_bleeds_is_cut_off_in_the_picture(plain, capsys):
    again(capsys, plain, ("size_mm = [20, 15]", "size_mm = [20, 15]\nbleed_mm = 2"))
    assert shown(plain).size == (160, 110)


def test_new_writes_a_print_that_reads_and_names_itself(tmp_path, capsys):
    ran = run(capsys, "new", tmp_path / "landing")
    assert ran.code == 0, ran.err
    assert set(tree(tmp_path / "landing")) == {*FILES, "print.schema.json"}
    assert json.loads((tmp_path / "landing" / "print.schema.json").read_text()) == schema()
    again_ = run(capsys, "new", tmp_path / "landing")
    assert (again_.code, "holds print.toml already" in again_.err) == (2, True)


def test_new_says_the_schema(tmp_path, capsys):
    assert json.loads(run(capsys, "new", "--schema").out) == schema()
    assert run(capsys, "new").code == 2


def test_a_faulty_print_file_is_told_in_words(tmp_path, capsys):
    (tmp_path / "print.toml").write_text(PRINT.replace("seed = 4", "sead = 4"))
    ran = run(capsys, "build", tmp_path / "print.toml", "--out", tmp_path / "built")
    assert ran.code == 2
    assert "print.toml: line 4: print.sead: is not known here, got 4" in ran.err
    assert "did you mean seed?" in ran.err
    assert "Traceback" not in ran.err
    assert not (tmp_path / "built").exists()


@takes_long  # delivery/test_block_folder.py says it of a delivery
def test_a_build_keeps_files_of_her_own_and_tells_what_it_replaces(own_folder, capsys):
    (own_folder / "print.toml").write_text(PLAIN, encoding="utf-8")
    (own_folder / "built").mkdir()
    (own_folder / "built" / "print.png").write_text("mine", encoding="utf-8")
    before = tree(own_folder)
    refused = run(capsys, "build", "print.toml", "--out", "built")
    assert refused.code == 2
    assert "print.png" in refused.err
    assert tree(own_folder) == before
    (own_folder / "built" / "print.png").unlink()
    (own_folder / "built" / "mine.txt").write_text("mine", encoding="utf-8")
    first = run(capsys, "build", "print.toml", "--out", "built").err
    assert "Replaced" not in first
    assert "The folder built holds files of your own, which stay: mine.txt." in first
    (own_folder / "print.toml").write_text(PLAIN.replace("15 10 2", "15 10 1.5"), encoding="utf-8")
    second = run(capsys, "build", "print.toml", "--out", "built").err
    assert "Replaced" in second
    assert "of your own" not in second
    assert (own_folder / "built" / "mine.txt").read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("shape", few(["/proc/self/mem", "/proc/self/mem at 5 5 width 20", "/dev/zero", "/"], 2))
def test_a_shape_that_names_what_is_no_drawing(own_folder, capsys, shape):
    (own_folder / "print.toml").write_text(PRINT.replace("circle 48 30 4", shape), encoding="utf-8")
    ran = run(capsys, "build", "print.toml", "--out", "built")
    assert ran.code == 2, ran.err
    assert shape.split()[0] in ran.err
    assert "the first highlight's shape" in ran.err
    assert not (own_folder / "built").exists()
