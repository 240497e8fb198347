"""Every sentence that a finding can be told in, gathered from cases that make every check break.

python -m tests.sentences prints them on one page, to be read by a person.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from textwrap import fill

import numpy as np
import shapely

from carvegen import geometry
from carvegen.artwork.on_plan import BoardSides
from carvegen.base.finding_groups import Group, grouped, sentence
from carvegen.base.findings import SAYINGS, Finding, Report
from carvegen.blocks.block import Block
from carvegen.blocks.embossing import pressing
from carvegen.blocks.embossing.pressing import Pressing, die_for
from carvegen.blocks.job import Job
from carvegen.checks import checked, look
from carvegen.checks.mending import CutChange
from carvegen.checks.survey import Survey
from carvegen.facts.printing import Printing
from carvegen.facts.profiles import Paper
from carvegen.marking.adapting import Adapted, kept_findings
from carvegen.marking.marks import Mark, Meaning
from carvegen.motifs.growth import Growth
from carvegen.prints.bare_paper import cut_away, paper_findings, torn_twigs
from carvegen.prints.cut_blocks import Cut, finding_of
from carvegen.prints.kept_motifs import change_findings
from carvegen.prints.marked.mark_findings import mark_findings, mended_beside
from carvegen.prints.misregister.figures import findings as register_findings
from carvegen.prints.recut import cut_further
from carvegen.prints.separation import Dropped
from carvegen.toolpaths import plan_for
from carvegen.toolpaths.motion.timing import times
from carvegen.toolpaths.paths import Plan
from carvegen.toolpaths.settings import PathSettings
from carvegen.toolpaths.unmade.shortfalls import with_plan
from tests.cases import SHELF, block, box, disc, once, setup
from tests.checks.test_both_sides import ROWS, undercut
from tests.prints.test_bare_paper import crowd_mended
from tests.prints.test_closed_gaps import TUFT
from tests.prints.test_closed_gaps import told as closed_in
from tests.prints.test_loose_bits import rims
from tests.prints.test_register_figures import tried
from tests.prints.test_two_tones import told as toned_in

__all__ = ["every_finding", "every_group", "page"]

SIZE = (80.0, 60.0)

#: A hand, a laser and a router, on a soft and on a grained material.
SETUPS = (
    setup("linoleum", "v-60"), setup("linoleum", "laser-fine"), setup("cherry", "flat-1"), setup("cherry", "v-60"),
    setup("cherry", "laser-fine"), setup("linoleum", "v-60", depth=2.9), setup("linoleum", "u-1"),
)  # fmt: skip


def faulty() -> Block:
    """A block with a neck, a tip, a thin and a small island, a cut too fine, a cut's tip, and a wide area."""
    ring = disc(20, 15, 8)
    cuts = (
        box(5, 35, 10, 8), box(15.3, 35.2, 10, 8), box(40, 35, 9, 0.2),
        shapely.Polygon([(55, 30), (69, 30), (69, 40), (51, 40)]),
        shapely.Polygon([(55, 45), (65, 44.4), (65, 45.6)]),
        ring - disc(18, 15, 0.3) - box(21, 11, 0.3, 8), disc(55, 14, 13),
        shapely.Polygon([(30, 45), (38, 45), (38, 52), (34, 59), (30, 52)]) - box(33.8, 46, 0.55, 9),
    )  # fmt: skip
    return block(*cuts, size=SIZE)


@cache
def every_finding() -> tuple[tuple[str, Finding], ...]:
    """Findings of every kind, with what they were found on."""
    return once("every finding", lambda: tuple(_every()))


def _every() -> Iterator[tuple[str, Finding]]:
    for result in (_checked(), _planned(), _looked_at(), _of_prints(), _of_hands(), _of_dies()):
        yield from result


def every_group() -> tuple[Group, ...]:
    """All of one kind, severity and machine together, as they are told."""
    report = every_finding()
    return grouped([finding for _, finding in report], apart=[where for where, _ in report])


def _checked() -> Iterator[tuple[str, Finding]]:
    for row in ROWS:
        job = row.job(row.beyond)
        yield from ((_name(job), entry) for entry in checked(job))
    for setup_ in SETUPS:
        yield from ((_name(setup_), this) for this in checked(setup_.on(faulty())))
    for printing in (Printing(roller_radius_mm=200), Printing(feel="hard"), Printing(feel="light")):
        wide = setup(cutter="laser-fine", printing=printing).on(block(disc(40, 30, 6.6), disc(40, 30, 3), size=SIZE))
        yield from ((_name(wide), its) for its in checked(wide))
    areas = [disc(8 + 14 * (k % 12), 8 + 14 * (k // 12), 6.3) for k in range(60)]
    for cutter in ("laser-fine", "flat-3"):
        holes = [box(2 * k + 0.5, 20, 0.5, 1) for k in range(60)]
        job = setup("cherry", cutter).on(block(*areas, cut_outs=tuple(holes), size=(200, 100)))
        yield from ((_name(job), its) for its in checked(job))
        ring = box(5, 5, 22, 20).difference(box(10, 10, 8, 6))
        job = setup("cherry", cutter).on(block(cut_outs=(ring,)))
        yield from ((_name(job), its) for its in checked(job))
    tips = shapely.Polygon([(25, 0), (39, 0), (39, 10), (20, 10)])
    for setup_ in (undercut(1.0), setup("linoleum", "flat-1", depth=2.2), setup("linoleum", "flat-1", depth=2.39)):
        post = box(5, 5, 20, 20).difference(disc(15, 15, 0.48))
        for each in (block(tips), block(post), block(box(5, 5, 20, 20) - disc(15, 15, 0.35))):
            job = replace(setup_, block=each) if isinstance(setup_, Job) else setup_.on(each)
            yield from ((_name(job), one) for one in checked(job))
    for printing, radius in ((Printing(roller_radius_mm=12.5), 20), (Printing(roller_radius_mm=200), 10.2)):
        job = setup(cutter="laser-fine", printing=printing).on(block(disc(40, 30, radius), size=SIZE))
        yield from ((_name(job), its) for its in checked(job))
    unknown = setup("cherry", "laser-fine")
    unknown = replace(unknown, machine=replace(unknown.machine, through_most_mm=None))
    job = unknown.on(block(cut_outs=(box(5, 5, 15, 15),)))
    yield from ((_name(job), finding) for finding in checked(job))
    deep = setup("cherry", "flat-1", depth=4.0).on(block(box(5, 5, 5, 20), box(10.9, 5, 5, 20)))
    yield from ((_name(deep), item) for item in checked(deep))


def _planned() -> Iterator[tuple[str, Finding]]:
    """What is asked for and not made: openings, the edge, clamps, more than the bed has room for."""
    outs = (box(14, 4, 6, 6), box(3, 14, 2, 2))
    clamps = geometry.polygon_array([box(16, -2, 3, 8)])
    for cutter in ("v-60", "flat-3", "flat-1", "laser-fine"):
        for no_go in (geometry.empty(), clamps, geometry.polygon_array([box(6, 2, 2, 9)])):
            for thick in (8.0, 19.1):
                job = setup("cherry", cutter, thickness=thick, depth=1.0).on(block(box(4, 4, 6, 6), cut_outs=outs))
                plan = plan_for(job, PathSettings(cut_edge=True, no_go=no_go))
                yield from ((_name(job), one) for one in (plan.findings if plan else ()))
    large = setup("cherry", "flat-3").on(block(box(5, 5, 590, 390), size=(598, 398)))
    plan = plan_for(large, PathSettings(cut_edge=True))
    yield from ((_name(large), finding) for finding in (plan.findings if plan else ()))
    yield from (("router", each) for each in with_plan(Report.of([]), slowed(3.0)))


def slowed(hours: float, *, cutter: str = "v-60") -> Plan:
    """A router's plan that takes so long: before each stroke the machine waits for as long as that needs."""
    machine = replace(SHELF.machine("router-bed"), start_s=0.0)
    job = setup("cherry", cutter, machine=machine, depth=1.0).on(block(box(4, 4, 20, 20)))
    plan = plan_for(job, PathSettings())
    spent = times(plan)
    wait_s = (3600 * hours - sum(one.whole_s for one in spent)) / sum(each.strokes for each in spent)
    return replace(plan, job=replace(job, machine=replace(machine, start_s=wait_s)))


def _looked_at() -> Iterator[tuple[str, Finding]]:
    rng = np.random.default_rng(5)
    x, y = (item.ravel() for item in np.meshgrid(np.arange(10, 190, 8.0), np.arange(10, 140, 8.0)))
    teeth = [box(*at, 1, 4) for at in zip(x, y, strict=True)]
    turned = [shapely.affinity.rotate(box(*at, 3, 4), 30) for at in rng.uniform(0, 1, (60, 2)) * (190, 140)]
    line = [disc(10 + 4 * k, 75, 1.0) for k in range(40)]
    for shapes in (teeth, turned, line):
        each = Block(name="sky", width_mm=200, height_mm=150, cuts=geometry.polygon_array(shapes))
        yield from (("", one) for one in look.find(Survey(setup(cutter="laser-fine").on(each))))


def _of_hands() -> Iterator[tuple[str, Finding]]:
    """What is told of kept shapes that were edited, of a drawing that has changed under them, and of marks."""
    edited = geometry.polygon_array([box(5, 5, 4, 4), box(20, 20, 4, 0.1), box(40, 20, 5, 5)])
    cuts = np.concatenate([edited, geometry.polygon_array([box(9.2, 5, 4, 4)])])
    limits = setup("linoleum", "laser-fine").limits
    yield from (("", finding) for finding in kept_findings("near flakes", edited, cuts, box(44, 20, 6, 10), limits))
    gone, come = geometry.polygon_array([box(5, 5, 4, 4), box(30, 5, 4, 4)]), geometry.polygon_array([box(6, 5, 4, 4)])
    done = Adapted(growth=Growth(cuts=come), gone=gone, come=come)
    yield from (("", change_finding) for change_finding in change_findings("near flakes", done))
    mark = Mark(meaning=Meaning.COMES_OUT, shape=box(5, 5, 10, 8), key="m1")
    setup_ = setup("linoleum", "laser-fine")
    yield from (
        ("", mark_finding)
        for white in (mark.shape, shapely.Polygon())
        for mark_finding in mark_findings(
            block(box(5, 5, 10, 8), box(15.2, 5, 10, 8), size=SIZE), [mark], [setup_], white=white, back_mm=0.2
        )
    )
    stripe = box(0, 13.0, 40, 0.4)
    yield from (("", each) for each in mended_beside(stripe, block(shapely.box(0, 0, *SIZE), size=SIZE), [mark]))


def _of_prints() -> Iterator[tuple[str, Finding]]:
    for _, finding in register_findings(tried()[1]):
        yield "", finding
    yield from (("", note) for _, note in toned_in(box(0, 15, 40, 15)))
    yield from (("", note) for note in closed_in(TUFT))
    yield from (("", note) for note in rims()[-1].values())
    yield "", finding_of(Dropped(at=(10.0, 12.0), width_mm=0.42, land_mm=0.7))
    face, wanted = shapely.box(0, 0, 60, 40), shapely.box(10, 5, 40, 30)
    gone = Block(name="key", width_mm=60, height_mm=40, cuts=geometry.parts(face - wanted))
    cut = Cut(block=gone, land=wanted, white=shapely.box(0, 30, 60, 40))
    for stands, tolerance in ((shapely.box(10, 5, 18, 30), 0.02), (shapely.box(12, 0, 50, 30), 0.2)):
        yield from (("", item) for item in cut_further(cut, stands, tolerance).notes)
    done = replace(cut, land=wanted - shapely.box(10, 5, 40, 7), picture=wanted)
    change = CutChange(what="joined", at=(25.0, 6.0), white_mm2=60.0)
    yield from (("", each) for each in cut_away(wanted, replace(done, changes=(change,))))
    snowed = Cut(block=gone, land=shapely.box(10, 5, 40, 20), white=shapely.box(10, 20, 40, 30), picture=wanted)
    hidden, askew = shapely.box(12, 6, 20, 10), BoardSides(corner=(-2.7, 0.4), turn_deg=1.0, off_mm=2.3)
    stands = shapely.box(10, 5, 30, 30)
    yield from (("", note) for note in cut_further(snowed, stands, hidden=hidden, board=askew).notes)
    yield from (("", torn_twigs._note(box(5, 5, 3, 1), snow=snow)) for snow in (False, True))
    yield from (("", one) for one in _of_paper())


def _of_paper() -> Iterator[Finding]:
    _, _, picture, cuts, done, _ = crowd_mended()
    report = paper_findings(picture, done)
    hole, hair, snow = (shapely.box(29.8, 15, 29.8 + w, 17) for w in (0.3, 0.05, 0))
    snow = shapely.box(26.6, 10.8, 27.4, 11.2)
    for gap in (hole, hair, picture.face):
        spoilt = cuts | {"sky": replace(cuts["sky"], land=cuts["sky"].land.union(snow).difference(gap))}
        for paper_finding in paper_findings(picture, spoilt).values():
            yield from paper_finding
    for value in done.values():
        yield from value.notes
    for paper_finding in report.values():
        yield from paper_finding
    left_out = replace(picture, drawing=picture.drawing)
    without = {name: replace(cut, picture=shapely.Polygon()) if name == "tone" else cut for name, cut in cuts.items()}
    for paper_finding in paper_findings(left_out, without).values():
        yield from paper_finding


def _of_dies() -> Iterator[tuple[str, Finding]]:
    wanted = geometry.polygon_array([box(5, 5, 40, 40), disc(80, 30, 0.8), box(46, 5, 20, 40)])
    paper = Paper(
        key="own", name="own cotton paper", about="", thickness_mm=0.5, weight_g_m2=300, relief_largest_mm=0.5,
        bevel_least_deg=60, corner_least_mm=2.0, gap_least_mm=1.0, sources={},
    )  # fmt: skip
    deep = Pressing(relief_mm=1.4, bevel_deg=30, paper_g_m2=250)
    hows = (
        Pressing(relief_mm=0.8), deep, replace(deep, relief_mm=1.2, bevel_deg=45), Pressing(relief_mm=0.1),
        Pressing(relief_mm=0.8, paper_g_m2=120), Pressing(relief_mm=0.8, paper_g_m2=600),
        Pressing(relief_mm=0.6, bevel_deg=59), Pressing(relief_mm=0.8, bears=paper),
    )  # fmt: skip
    for how in hows:
        die = die_for(wanted, how, clear_mm=0.4, least_mm=0.6)
        for asked in (wanted, geometry.polygon_array([box(5, 5, 30, 30)])):
            yield from (("", finding) for finding in pressing.findings(die, asked))


def _name(setup_: object) -> str:
    return setup_.machine.kind  # type: ignore[attr-defined, no-any-return]


def page() -> str:
    """All of them, kind by kind, as a person would read them, and what nobody could make happen."""
    lines = []
    seen: set[tuple[str, ...]] = set()
    order = {key: k for k, key in enumerate(SAYINGS)}
    groups = sorted(every_group(), key=lambda each: order.get((each.rule, each.worst.kind), len(order)))
    for group in groups:
        kind = (group.rule, group.worst.kind if (group.rule, group.worst.kind) in SAYINGS else "", group.severity.label)
        for finding in {place.finding.remedy: place.finding for place in group.places}.values():
            words = (*kind, _bare(finding.why), _bare(finding.remedy))
            if words in seen:
                continue
            if kind not in seen:
                lines += ["", f"[{' / '.join(filter(None, kind))}]", f"  {group.sentence}"]
            seen |= {words, kind}
            lines += [fill(sentence(text), 110, initial_indent=f"  {mark} ", subsequent_indent="    ")
                      for mark, text in (("because:", finding.why), ("do:", finding.remedy))]  # fmt: skip
    missing = [key for key in SAYINGS if key not in {(rule, kind) for rule, kind, *_ in seen}]
    return "\n".join([*lines, "", f"Not heard: {missing or 'none'}"])


def _bare(text: str) -> str:
    """A sentence without its numbers."""
    return "".join(sign for sign in text if not sign.isdigit())


if __name__ == "__main__":
    print(page())
