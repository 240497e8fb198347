"""Grouping: nothing is lost, nothing is told twice, the worst comes first."""

from __future__ import annotations

import math

from hypothesis import given
from hypothesis import strategies as st

from carvegen.base.finding_groups import NEAR_MM, grouped
from carvegen.base.findings import Finding, Severity

PLACES = st.tuples(st.floats(0, 300), st.floats(0, 200))
FINDINGS = st.builds(
    Finding,
    rule=st.sampled_from(["land-width", "clearing"]),
    severity=st.sampled_from(Severity),
    at=st.none() | PLACES,
    measured=st.floats(0, 2),
    limit=st.sampled_from([0.0, 0.5, 0.7]),
    unit=st.sampled_from(["mm", "deg"]),
    kind=st.sampled_from(["neck", "tip", ""]),
    why=st.sampled_from(["too thin", "7.5 mm across", "12 mm across"]),
    remedy=st.sampled_from(["widen it", "round it off"]),
)


def finding(**other: object) -> Finding:
    plain = {
        "rule": "land-width", "severity": Severity.RISK, "at": (10.0, 10.0), "measured": 0.3, "limit": 0.7,
        "unit": "mm", "why": "too thin", "remedy": "widen it",
    }  # fmt: skip
    return Finding(**(plain | other))  # type: ignore[arg-type]


@given(st.lists(FINDINGS, max_size=40))
def test_the_places_of_all_groups_together_are_the_findings_each_once(findings: list[Finding]) -> None:
    groups = grouped(findings)
    places = [place for group in groups for place in group.places]
    assert sorted(place.number for place in places) == list(range(1, len(findings) + 1))
    assert all(findings[place.number - 1] is place.finding for place in places)
    assert sum(group.count for group in groups) == len(findings)


@given(st.lists(FINDINGS, max_size=40))
def test_a_group_is_of_one_kind_with_its_worst_first(findings: list[Finding]) -> None:
    groups = grouped(findings)
    assert [group.severity for group in groups] == sorted(group.severity for group in groups)
    for group in groups:
        of = [place.finding for place in group.places]
        assert len({(each.rule, each.kind, each.severity, each.unit, each.at is None) for each in of}) == 1
        assert group.beyond == max(abs(one.measured - one.limit) / (one.limit or 1) for one in of)
        for spot in group.spots:
            for place in spot.places:
                if spot.worst.at and place.finding.at:
                    assert math.dist(spot.worst.at, place.finding.at) <= NEAR_MM


@given(st.lists(FINDINGS, max_size=20), st.data())
def test_what_is_kept_apart_stays_apart(findings: list[Finding], data: st.DataObject) -> None:
    blocks = [data.draw(st.sampled_from("ab")) for _ in findings]
    for group in grouped(findings, apart=blocks):
        assert {blocks[place.number - 1] for place in group.places} == {group.apart}


def test_the_kind_keeps_findings_apart_and_their_words_do_not() -> None:
    alike = [finding(kind="neck", why=f"the area is {wide:.1f} mm across") for wide in (7.5, 12.25)]
    assert len(grouped(alike)) == 1
    assert len(grouped([*alike, finding(kind="tip", why=alike[0].why)])) == 2


def test_a_group_tells_its_range_and_where_the_worst_is() -> None:
    near = [finding(measured=0.3), finding(measured=0.1, at=(12.0, 10.0)), finding(measured=0.25, at=(13.0, 12.0))]
    (group,) = grouped([*near, finding(at=(90.0, 10.0), limit=0.6)])
    assert group.measured == "0.10 to 0.30 mm"
    assert group.limit == "0.60 to 0.70 mm"
    assert group.where == "4 places in 2 spots, the worst at x 12.0, y 10.0 mm"
    assert [[place.number for place in spot.places] for spot in group.spots] == [[2, 3, 1], [4]]
    assert grouped([finding()])[0].where == "x 10.0, y 10.0 mm"
    assert grouped([finding(at=None)])[0].where == "the whole block"


def test_none_found_makes_no_group() -> None:
    assert grouped([]) == ()
