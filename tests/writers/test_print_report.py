"""The report of a whole print: every finding in it, each kind told once in the terminal."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from carvegen.base.finding_groups import grouped
from carvegen.base.findings import Severity
from carvegen.writers.proof.proof_cards import card, cards_html
from carvegen.writers.whole_print.print_report import BlockFindings, PrintReport, report_lines, report_table
from tests.base.test_finding_groups import FINDINGS, finding

BLOCKS = ("sky", "key")


def report_of(expected: dict[str, dict[str, list]]) -> dict:
    """The report of blocks with findings by kind of machine."""
    blocks = {block: BlockFindings(by_kind=by_kind) for block, by_kind in expected.items()}
    return PrintReport(name="landing", blocks=blocks).to_dict()


@given(
    st.fixed_dictionaries({block: st.fixed_dictionaries({"laser": st.lists(FINDINGS, max_size=8)}) for block in BLOCKS})
)
def test_the_groups_hold_every_finding_and_the_worst_of_each_is_one_of_them(by_block) -> None:
    report = report_of(by_block)
    assert sum(one["places"] for one in report["findings"]) == sum(len(value) for value in report["blocks"].values())
    for each in report["findings"]:
        kept = {k: each[k] for k in ("rule", "severity", "measured", "limit", "at_mm", "why", "remedy")}
        assert any(kept.items() <= single.items() for single in report["blocks"][each["block"]])


def test_what_is_to_be_done_is_said_once_for_all_blocks_and_machines() -> None:
    tips = [finding(measured=0.1, remedy=f"cut {k} mm deep") for k in (1, 2)]
    report = report_of(
        {block: {"laser": tips, "hand": [finding(rule="wall-angle", remedy="lean")]} for block in BLOCKS}
    )
    lines = report_lines(report)
    said = " ".join(line.strip() for line in lines)
    assert [said.count(each) for each in ("Cut 1 mm deep.", "Lean.", "Do as for sky.")] == [1, 1, 2]
    assert [line for line in lines if line.endswith(":") and line[:1].strip()] == ["sky:", "key:"]
    assert sum("the worst of 2 places" in line and "Land width" in line for line in lines) == 2


def test_what_to_do_is_not_taken_for_said_where_a_block_had_no_room_for_it() -> None:
    many = [finding(rule=f"rule-{k}", remedy=f"do {k}") for k in range(9)]
    report = report_of({"sky": {"laser": many}, "key": {"laser": many[-1:]}})
    lines = [line.strip() for line in report_lines(report)]
    assert "Do 8." not in lines[: lines.index("key:")]
    assert lines[-1] == "Do 8."


def test_a_block_has_at_most_seven_lines_and_verbose_tells_every_kind_by_its_check() -> None:
    many = [finding(rule=f"rule-{k}", remedy=f"do {k}") for k in range(9)]
    report = report_of({block: {"laser": many, "hand": []} for block in BLOCKS})
    lines = report_lines(report)
    for name in BLOCKS:
        start = lines.index(f"{name}:")
        own = lines[start + 1 :][: next((k for k, line in enumerate(lines[start + 1 :]) if not line), len(lines))]
        assert len(own) <= 7
        assert "more entries" in own[-1]
    table = report_table(report).split("\n")
    assert len(table) == 1 + 9 * len(BLOCKS)
    assert all("0.30 mm" in row and "0.70 mm" in row for row in table[1:])


def test_the_three_gravest_kinds_come_first_over_blocks_and_machines_and_the_rest_as_a_sum() -> None:
    kinds = [("land-width", Severity.RISK, 0.1), ("foot-width", Severity.BREAKS, 0.6), ("depth", Severity.ADVICE, 0.0),
             ("wall-angle", Severity.RISK, 0.2), ("clearing", Severity.ADVICE, 0.3)]  # fmt: skip
    every = [finding(rule=rule, severity=bad, measured=measured) for rule, bad, measured in kinds]
    other = finding(rule="land-width", at=(80.0, 50.0), measured=0.05)
    blocks = {"sky": {"hand": every}, "key": {"hand": every[:2], "laser": [replace(every[0], why="burns"), other]}}
    lines = report_lines(report_of(blocks))
    first = lines.index("What decides, of 5 kinds of findings, at 9 places in all:")
    assert [line[:9] for line in lines[first + 1 : first + 4]] == ["  1. sky,", "  2. key,", "  3. sky:"]
    assert lines[first + 1].endswith(", 2 places, the worst on sky, at x 10.0, y 10.0 mm")
    assert lines[first + 2].endswith(", 4 places, the worst on key, at x 80.0, y 50.0 mm")
    assert lines[first + 3].endswith(", at x 10.0, y 10.0 mm")
    assert lines[first + 4] == "  and 2 more kinds (2 for the eye)"
    several = report_lines(report_of({"sky": {"hand": [*every, other]}}))
    assert any(line.endswith(", 2 places, the worst at x 80.0, y 50.0 mm") for line in several)
    few = report_lines(report_of({"sky": {"hand": every[:4]}, "key": {"hand": every[:4]}}))
    assert not any("decides" in line for line in few), "four kinds are told in full anyhow, on however many blocks"


def test_on_the_proof_sheet_all_but_the_three_gravest_kinds_lie_behind_a_fold() -> None:
    cards = [card(group) for group in grouped([finding(rule=f"rule-{k}") for k in range(6)])]
    shown, folded = cards_html(cards).split('<details class="rest"><summary>and 3 more entries (3 risks)</summary>')
    assert (shown.count('class="card'), folded.count('class="card')) == (4, 4)  # three, and their list
    assert "details" not in cards_html(cards[:4])


def test_nothing_that_breaks_lies_behind_a_fold() -> None:
    breaks = [finding(rule=f"rule-{k}", severity=Severity.BREAKS) for k in range(7)]
    only, one_more, more = (
        cards_html([card(group) for group in grouped([*breaks, *(finding(rule=f"other-{k}") for k in range(risks))])])
        for risks in (0, 1, 2)
    )
    assert "details" not in only
    assert "details" not in one_more
    shown, folded = more.split('<details class="rest"><summary>and 2 more entries (2 risks)</summary>')
    assert (shown.count("breaks a limit"), folded.count("breaks a limit"), folded.count("a risk:")) == (7, 0, 2)
