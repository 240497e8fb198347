"""What would break, kept up to date: about changes once the hand has rested, of the whole print behind."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.errors import CarvegenError
from carvegen.base.finding_groups import grouped
from carvegen.base.findings import Finding, Severity
from carvegen.base.words import shortened
from carvegen.checks.mending import can_mend
from carvegen.interfaces.page.print_checks import inner_of, nearby_findings, unmended
from carvegen.interfaces.page.table.doing import snow_helps
from carvegen.interfaces.page.table.strips import strips
from carvegen.interfaces.page.wording import clearing_words, strip_words
from carvegen.marking.adapting import kept_findings

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.interfaces.page.table.desk import Desk
    from carvegen.interfaces.page.table.under_snow import UnderSnow

__all__ = ["LatestFindings", "Nearby", "broken_in"]

_TILE_MM = 40.0  #: a long stroke is looked at piece by piece
_AROUND_MM = 6.0  #: beyond what may have changed all is looked at that a check there depends on
_OR_MEND = "; or have the block mended: Mend it here, or `mend = true` at it in the print file"
_MOST_TILES = 24  #: of more the whole print is checked only


Strips = Mapping[str, tuple[str, tuple[Finding, ...]]]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Known:
    """Strips, and of which version of the print on the desk they are."""

    version: int
    bits: UnderSnow | None
    strips: Strips


class LatestFindings:
    """The findings of a print by block, and of which version."""

    def __init__(self) -> None:
        self._by_block: dict[str, list[Finding]] = {}
        self.version = 0
        self.near = True  #: whether only what lies about changes was looked at since
        self._known: _Known | None = None  #: the strips of these, as they were asked for last

    def whole(self, by_block: Mapping[str, list[Finding]], version: int) -> None:
        """All anew."""
        self._by_block = {name: list(findings) for name, findings in by_block.items()}
        self.version, self.near, self._known = version, False, None

    def same(self, before: int, version: int) -> None:
        """A version in which nothing can break otherwise than in the one before it."""
        if self.version == before:
            self.version = version

    def is_whole(self, version: int) -> bool:
        """Whether they are of all of the print as it was in a version."""
        return self.version == version and not self.near

    def part(self, by_block: Mapping[str, tuple[Finding, ...]], inner: BaseGeometry, version: int) -> None:
        """Anew where one has looked, unless all of that version was looked at meanwhile."""
        if self.is_whole(version):
            return
        inner = geometry.prepared(inner)
        for name in {*self._by_block, *by_block}:
            away = [finding for finding in self._by_block.get(name, []) if not _in(finding, inner)]
            self._by_block[name] = [*away, *by_block.get(name, ())]
        self.version, self.near, self._known = version, True, None

    def called(self, key: str) -> tuple[str, Finding] | None:
        """The block and the finding that the page knows by a key; None if it is there no more."""
        every = ((name, finding) for name, findings in self._by_block.items() for finding in findings)
        return next((known for known in every if key_of(*known) == key), None)

    def strip(self, key: str, desk: Desk) -> tuple[str, tuple[Finding, ...]] | None:
        """The block and all that breaks along the land of a finding that the page knows by a key; None if it is one."""
        return self._strips(desk).get(key)

    def _strips(self, desk: Desk) -> Strips:
        """By key of each finding that breaks beside others on the same land, its block and all of these.

        They hold until something else breaks, the print is changed, or bits under the snow are known.
        """
        known = self._known
        if known is None or known.version != desk.version or known.bits is not desk.bits:
            broken = {
                name: [one for one in findings if _is_clearable(one) and key_of(name, one) not in desk.left]
                for name, findings in self._by_block.items()
            }  # fmt: skip
            along = {key_of(name, one): (name, strip) for name, strip in strips(desk, broken) for one in strip}
            self._known = known = _Known(version=desk.version, bits=desk.bits, strips=along)
        return known.strips

    def entries(self, desk: Desk) -> list[dict[str, Any]]:
        """All for the page, the worst first, with what can be done about each."""
        every = [(name, finding) for name, findings in self._by_block.items() for finding in findings]
        blocks, along = unmended(desk.print_), self._strips(desk)
        entries = [{**_entry(*each, desk.left, blocks), **_clears(*each, desk, along)} for each in every]
        order = {"breaks": 0, "risk": 1, "advice": 2}
        return sorted(entries, key=lambda entry: (entry["left"], order[entry["severity"]]))


def broken_in(by_block: Mapping[str, list[Finding]], left: frozenset[str]) -> int:
    """How many places of a print would break, each once whoever cuts it, but those that are left to the carver."""
    return sum(
        finding.severity is Severity.BREAKS and key_of(name, finding) not in left
        for name, findings in by_block.items() for finding in findings
    )  # fmt: skip


def _in(finding: Finding, area: BaseGeometry) -> bool:
    return finding.at is not None and bool(shapely.covers(area, shapely.Point(finding.at)))


def key_of(block: str, finding: Finding) -> str:
    """What the page knows a finding by; the same when it is found again."""
    at = finding.at and [round(round(finding.at[0], 2), 1), round(round(finding.at[1], 2), 1)]
    return hashlib.blake2b(f"{block} {finding.rule} {finding.kind} {at}".encode(), digest_size=8).hexdigest()


def _is_clearable(finding: Finding) -> bool:
    return finding.at is not None and can_mend([finding])


def _entry(block: str, finding: Finding, left: frozenset[str], unmended: frozenset[str]) -> dict[str, Any]:
    """A finding for the page."""
    mends = _is_clearable(finding) and block in unmended
    at, key = finding.at and [round(finding.at[0], 2), round(finding.at[1], 2)], key_of(block, finding)
    return {
        "id": key, "kind": f"{finding.rule} {finding.kind}".strip(), "severity": finding.severity.label,
        "block": block, "at": at, "to": finding.to and [round(finding.to[0], 2), round(finding.to[1], 2)],
        "title": finding.title, "sentence": grouped([finding])[0].sentence, "why": finding.why,
        "remedy": finding.remedy + _OR_MEND * mends, "for": " and ".join(finding.machines),
        "numbers": finding.numbers, "measured": round(finding.measured, 3),
        "limit": round(finding.limit, 3), "unit": finding.unit, "left": key in left, "can_mend": mends,
    }  # fmt: skip


def _clears(block: str, finding: Finding, desk: Desk, along: Strips) -> dict[str, Any]:
    """By which marks a finding can be cleared: alone, and with all others on the same land."""
    if not _is_clearable(finding):
        return {"clears": [], "strip": None}
    strip = along.get(key_of(block, finding), (block, ()))[1]
    return {
        "clears": clearing_words(block, snow=snow_helps(desk, block, [finding])),
        "strip": strip_words(block, len(strip), snow=snow_helps(desk, block, strip)) if strip else None,
    }  # fmt: skip


class Nearby:
    """A thread that checks what lies about changes once none has come for a moment: quick ones are looked at as one."""

    rest_s = 0.3  #: nothing is looked at between two strokes of a hand that goes on

    def __init__(
        self, lock: threading.RLock, latest: LatestFindings, done: Callable[[int], None],
        failed: Callable[[CarvegenError], None],
    ) -> None:  # fmt: skip
        self._lock, self._latest, self._done, self._failed = threading.Condition(lock), latest, done, failed
        self._desk: Desk | None = None
        self._areas: list[BaseGeometry] = []
        self._ended = False
        threading.Thread(target=self._run, name="checks", daemon=True).start()

    def look(self, desk: Desk, area: BaseGeometry) -> None:
        """Have an area looked at; call it with the lock held."""
        self._desk = desk
        self._areas.append(area)
        self._lock.notify_all()

    def close(self) -> None:
        """End once what is at work is done."""
        with self._lock:
            self._ended = True
            self._lock.notify_all()

    def _run(self) -> None:
        while True:
            with self._lock:
                self._lock.wait_for(lambda: self._areas or self._ended)
                while not self._ended and self._more_comes(len(self._areas)):
                    pass
                if self._ended:
                    return
                desk, areas, self._areas = self._desk, self._areas, []
            assert desk is not None
            try:
                for window in list(_windows(areas))[:_MOST_TILES]:
                    self._look(desk, window)
            except Exception as error:  # the check of the whole print comes all the same
                fault = CarvegenError(f"what lies about the change could not be checked: {shortened(repr(error))}")
                self._failed(error if isinstance(error, CarvegenError) else fault)
            with self._lock:
                version = desk.version
            self._done(version)

    def _more_comes(self, seen: int) -> bool:
        """Whether another area comes, or the end, before the hand has rested."""
        return bool(self._lock.wait_for(lambda: self._ended or len(self._areas) > seen, timeout=self.rest_s))

    def _look(self, desk: Desk, window: BaseGeometry) -> None:
        with self._lock:
            scene, version = desk.scene(window), desk.version
            edited = list(_edited(desk, window))
        inner = inner_of(shapely.intersection(window, desk.bare.face), desk.bare.face)
        result = {name: list(findings) for name, findings in nearby_findings(scene, window).items()}
        for block, finding in edited:
            if finding.at is None or _in(finding, inner):
                result.setdefault(block, []).append(finding)
        with self._lock:
            self._latest.part({name: tuple(findings) for name, findings in result.items()}, inner, version)


def _edited(desk: Desk, window: BaseGeometry) -> Iterator[tuple[str, Finding]]:
    """What hands have broken of kept motifs in a window, with the block that minds it most."""
    for k, motif in enumerate(desk.print_.motifs):
        numbers = desk.near(k, window)
        edited = [n for n in numbers if desk.is_edited(n)]
        if not edited:
            continue
        cuts = geometry.polygon_array(desk.stock.shapes[n] for n in numbers)
        hers = geometry.polygon_array(desk.stock.shapes[n] for n in edited)
        clear = desk.bare.motifs[k].surroundings().clear
        bed = desk.bare.beds[k]
        leaves = desk.ground.whites[k - len(desk.print_.motifs)].leaves
        block = max(
            (name for name in sorted(leaves) if name in desk.bare.pictures),
            key=lambda name: max(setup.limits.land_mm for setup in desk.setups[name]),
        )
        yield from ((block, finding) for finding in kept_findings(motif.called, hers, cuts, clear, bed.limits))


def _windows(areas: list[BaseGeometry]) -> Iterator[BaseGeometry]:
    """Rectangles that cover what may have changed, with what the checks there depend on."""
    whole = shapely.union_all(areas)
    left, bottom, right, top = shapely.bounds(whole)
    columns, rows = (max(1, int(np.ceil(length / _TILE_MM))) for length in (right - left, top - bottom))
    x, y = np.linspace(left, right, columns + 1), np.linspace(bottom, top, rows + 1)
    for i in range(columns):
        for j in range(rows):
            tile = shapely.box(x[i], y[j], x[i + 1], y[j + 1])
            if shapely.intersects(tile, whole):
                part = shapely.bounds(shapely.intersection(tile, whole))
                yield shapely.box(*(part + _AROUND_MM * np.array([-1, -1, 1, 1])))
