"""Facts stated anew: what profiles, safety facts and constants must say, each with its source, and what differs.

Nothing here is read from the package: whoever changes a fact in one place must change it in the other, and say why.
"""

from __future__ import annotations

import importlib.util
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

ROOT = Path(__file__).parent.parent
COMMON, MEMORY, OWN = "common practice, no source", "from memory", "our own choice"

#: Every number and class that a caution tells: value, unit, key of the register.
SAFETY = {
    # OSHA 50 ppm, NIOSH 35 ppm over a shift, never above 200 ppm
    "co-osha": (50, "ppm", "niosh-idlh-co"),
    "co-niosh": (35, "ppm", "niosh-co-1972"),
    "co-ceiling": (200, "ppm", "niosh-co-1972"),
    # 29 CFR 1910.1048: 0.75 ppm over 8 hours, 2 ppm over 15 minutes; NIOSH 0.016; EU 0.3 and 0.6; IARC group 1
    "formaldehyde-osha": (0.75, "ppm", "osha-1910-1048"),
    "formaldehyde-osha-short": (2, "ppm", "osha-1910-1048"),
    "formaldehyde-niosh": (0.016, "ppm", "niosh-formaldehyde"),
    "formaldehyde-eu": (0.3, "ppm", "eu-2019-983"),
    "formaldehyde-eu-short": (0.6, "ppm", "eu-2019-983"),
    "formaldehyde-iarc": (1, "", "iarc-100f"),
    # hydrogen chloride: ceiling 5 ppm, IDLH 45 ppm since 2023
    "hcl-ceiling": (5, "ppm", "aiha-idlh"),
    "hcl-danger": (45, "ppm", "aiha-idlh"),
    # benzene: OSHA 1 and 5 ppm, NIOSH 0.1 ppm, EU 0.2 ppm since April 2026; IARC group 1
    "benzene-osha": (1, "ppm", "niosh-idlh-benzene"),
    "benzene-osha-short": (5, "ppm", "niosh-idlh-benzene"),
    "benzene-niosh": (0.1, "ppm", "niosh-idlh-benzene"),
    "benzene-eu": (0.2, "ppm", "eu-2004-37"),
    "benzene-iarc": (1, "", "iarc-100f"),
    # methyl methacrylate: OSHA 100 ppm
    "mma-osha": (100, "ppm", "osha-z1"),
    # wood dust: OSHA as nuisance dust 15 and 5, NIOSH 1; EH40 hardwood 3, softwood 5; EU hardwood 2; IARC group 1
    "wood-dust-osha": (15, "mg/m³", "osha-wood-dust"),
    "wood-dust-osha-fine": (5, "mg/m³", "osha-wood-dust"),
    "wood-dust-niosh": (1, "mg/m³", "osha-wood-dust"),
    "wood-dust-gb-hardwood": (3, "mg/m³", "eh40"),
    "wood-dust-gb-softwood": (5, "mg/m³", "eh40"),
    "wood-dust-eu-hardwood": (2, "mg/m³", "eu-2004-37"),
    "wood-dust-iarc": (1, "", "iarc-100c"),
    "extractor-class": ("M", "", "hse-dust-campaign"),
    # class 4 above 500 mW; class 1 while enclosed; 2 W/cm² sets things alight
    "laser-open-class": (4, "", "iec-60825-1"),
    "laser-open-power": (0.5, "W", "iec-60825-1"),
    "laser-shut-class": (1, "", "iec-60825-1"),
    "laser-fire": (2, "W/cm²", "uc-laser-manual"),
    "fire-class": ("A", "", "extinguisher-guides"),
    # NIOSH 85 dBA, OSHA 90 dBA and action from 85 dBA over 8 hours
    "noise-niosh": (85, "dBA", "niosh-noise"),
    "noise-osha": (90, "dBA", "niosh-noise"),
    "noise-osha-action": (85, "dBA", "osha-1910-95"),
    # EN 847-1 leaves out cutters under 16 mm
    "small-cutter": (16, "mm", "en-847-1"),
    # lino is supple at 20 to 25 °C
    "lino-warm-least": (20, "°C", "beguin"),
    "lino-warm-most": (25, "°C", "beguin"),
}

#: Materials: thickness, land along and across, dot, cut, foot, wall, usual and largest depth, floor. The foot is 1.2
#: times the land along the grain, of card as wide (our own choice); all else common practice unless `SOURCED` says
#: otherwise.
MATERIALS = {
    "basswood": (12, 0.4, 0.8, 1.0, 0.5, 0.48, 20, 1.5, 4, 5),
    "birch-plywood": (6, 0.4, 0.9, 1.0, 0.5, 0.48, 20, 1.2, 2, 2),
    "cherry": (19.1, 0.3, 0.6, 0.8, 0.3, 0.36, 15, 1.5, 4, 6),
    "counter-card": (1, 1.5, 1.5, 3, 0.8, 1.5, 0, 0.3, 0.5, 0.3),
    "embossing-acrylic": (3, 0.53, 0.53, 0.8, 0.5, 0.64, 10, 1, 1.5, 1.5),
    "embossing-hdpe": (3, 0.6, 0.6, 1.0, 0.5, 0.72, 10, 1, 1.5, 1.5),
    "embossing-polycarbonate": (3, 0.6, 0.6, 1.0, 0.5, 0.72, 10, 1, 1.5, 1.5),
    "linoleum": (3.2, 0.5, 0.5, 0.8, 0.4, 0.6, 20, 1.5, 2.4, 0.8),
    "linoleum-mounted": (3.2, 0.5, 0.5, 0.8, 0.4, 0.6, 20, 1.5, 2.4, 0.8),
    "maple-end-grain": (23.3, 0.15, 0.15, 0.3, 0.15, 0.18, 15, 0.6, 4, 10),
    "mdf": (6, 0.8, 0.8, 1.2, 0.6, 0.96, 20, 1.5, 3, 3),
    "rubber-soft": (8, 1.0, 1.0, 1.5, 0.6, 1.2, 30, 2, 4.8, 3.2),
    "vinyl-soft": (5, 0.8, 0.8, 1.2, 0.5, 0.96, 25, 2, 3, 2),
}
_NAMES = (
    "thickness_mm", "land_along_mm", "land_across_mm", "dot_mm", "cut_mm", "foot_mm", "wall_deg", "depth_usual_mm",
    "depth_largest_mm", "floor_mm",
)  # fmt: skip
SOURCED = {
    ("cherry", "thickness_mm"): "fletcher-1916",
    ("maple-end-grain", "thickness_mm"): "type-height",
    ("embossing-acrylic", "land_along_mm"): "emboss-guide; emboss-guide-2",
    ("embossing-acrylic", "land_across_mm"): "emboss-guide; emboss-guide-2",
    **{(f"embossing-{plate}", "cut_mm"): OWN for plate in ("acrylic", "hdpe", "polycarbonate")},
    **{(key, "foot_mm"): OWN for key in MATERIALS},
}
#: Clearing by hand, cm²/min, slow and quick: by hardness, end grain an order slower.
CLEARING = {
    "basswood": (5, 15), "birch-plywood": (1.5, 5), "cherry": (2, 6.5), "maple-end-grain": (0.5, 1.5), "mdf": (3, 9),
    "linoleum": (5, 15), "linoleum-mounted": (5, 15), "rubber-soft": (5, 15), "vinyl-soft": (5, 15),
}  # fmt: skip
#: Depth over mean width of a land, along and across the grain; MDF's and end grain's are our own choice.
SLENDER = {
    "basswood": (3, 1.5), "birch-plywood": (3, 1.5), "cherry": (3, 1.5), "maple-end-grain": (3, 3), "mdf": (2, 2),
    "linoleum": (2, 2), "linoleum-mounted": (2, 2), "rubber-soft": (1, 1), "vinyl-soft": (1, 1),
}  # fmt: skip
#: Laser, router, hand.
VERDICTS = {
    "basswood": ("yes", "yes", "yes"), "birch-plywood": ("ask", "yes", "yes"), "cherry": ("yes", "yes", "yes"),
    "counter-card": ("ask", "ask", "yes"),
    "embossing-acrylic": ("yes", "yes", "ask"), "embossing-hdpe": ("never", "yes", "ask"),
    "embossing-polycarbonate": ("never", "yes", "ask"), "linoleum": ("ask", "ask", "yes"),
    "linoleum-mounted": ("ask", "ask", "yes"), "maple-end-grain": ("yes", "yes", "yes"), "mdf": ("ask", "yes", "yes"),
    "rubber-soft": ("never", "never", "yes"), "vinyl-soft": ("never", "never", "yes"),
}  # fmt: skip
#: Cutters and machines: what a wrong value would spoil or make dangerous; common practice unless a key is named.
OTHERS = {
    ("cutters/laser-fine", "edge_loss_mm"): (0.1, COMMON),
    ("cutters/laser-wide", "edge_loss_mm"): (0.1, COMMON),
    ("cutters/laser-fine", "kerf_top_mm"): (0.2, "kerf-service; kerf-service-2"),
    ("cutters/laser-fine", "kerf_bottom_mm"): (0.15, COMMON),
    ("cutters/laser-fine", "kerf_thickness_mm"): (1.6, "kerf-service"),
    ("cutters/laser-wide", "wavelength_um"): (10.6, MEMORY),
    ("machines/laser-bed", "work_mm_s"): (15, COMMON),
    ("machines/laser-bed", "through_most_mm"): (6, "ideate-laser; laser-thickness-vendor"),
    ("machines/laser-bed", "lower_most_mm"): (3, COMMON),
    ("machines/laser-bed", "lower_pass_mm"): (1, MEMORY),
    ("machines/router-bed", "spindle_least_rpm"): (10000, COMMON),
    ("machines/router-bed", "spindle_most_rpm"): (24000, COMMON),
    ("machines/router-bed", "feed_most_mm_min"): (3000, COMMON),
    ("machines/router-bed", "plunge_most_mm_min"): (600, COMMON),
    ("machines/router-bed", "safe_height_mm"): (10, COMMON),
}
#: Chip per tooth, inch, at 1/8 and 1/4 in (source: chip-chart); at 1 mm 0.01 to 0.03 mm, common practice.
CHIPS = {
    "mdf": ((0.004, 0.007), (0.012, 0.015)),
    "hardwood": ((0.002, 0.004), (0.005, 0.007)),
    "softwood": ((0.003, 0.005), (0.006, 0.008)),
    "plywood": ((0.003, 0.005), (0.006, 0.009)),
    "soft-plastic": ((0.003, 0.005), (0.006, 0.009)),
    "hard-plastic": ((0.002, 0.004), (0.005, 0.008)),
}
#: Constants in code: file, name, value.
CODE = {
    ("facts/register.py", "METHODS.crosses.play_mm"): 0.5,
    ("facts/register.py", "METHODS.stops.play_mm"): 0.1,
    ("facts/register.py", "METHODS.pins.play_mm"): 0.05,
    ("facts/register.py", "METHODS.crosses.tolerance_mm"): 0.5,
    ("facts/register.py", "METHODS.stops.tolerance_mm"): 0.3,
    ("facts/register.py", "METHODS.pins.tolerance_mm"): 0.15,
    ("facts/register.py", "BOARDS.mdf"): 0.0005,  # source: mdf-makers, 0.05 % for 1 %
    ("facts/register.py", "BOARDS.plywood"): 0.0002 * 3 / 5.02,  # source: plywood-trade, 35 to 65 % of humidity
    ("facts/register.py", "BOARDS.linoleum"): 0.0005,  # our own choice: as MDF
    ("blocks/embossing/pressing.py", "Pressing.bevel_deg"): 45.0,  # source: emboss-bevel, 30 to 60 degrees
    ("blocks/embossing/pressing.py", "_PAPER_G_CM3"): 0.55,  # common practice, no source
    ("blocks/embossing/pressing.py", "_DAMP_GIVES"): (0.10, 0.15),  # common practice, no source
    ("facts/printing.py", "Printing.indentation_mm"): 0.3,  # common practice, no source
}


def mismatches(root: Path = ROOT) -> Iterator[str]:
    """What the facts under this folder say otherwise than they are stated here."""
    profiles = root / "profiles"
    yield from _safety(profiles)
    yield from _materials(profiles)
    yield from _others(profiles)
    yield from _chips(profiles)
    yield from _code(root)
    yield from _strain(root)


def _read(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.read_text(encoding="utf-8"))


def _safety(profiles: Path) -> Iterator[str]:
    said = {key: (each["value"], each["unit"], each["source"]) for key, each in _read(profiles / "facts.toml").items()}
    for key in said.keys() | SAFETY.keys():
        if said.get(key) != SAFETY.get(key):
            yield f"{key}: {said.get(key)} instead of {SAFETY.get(key)}"


def _materials(profiles: Path) -> Iterator[str]:
    result = {path.stem: _read(path) for path in (profiles / "materials").glob("*.toml")}
    if result.keys() != MATERIALS.keys():
        yield f"materials: {sorted(result.keys() ^ MATERIALS.keys())}"
    for key, each in result.items():
        for name, value in zip(_NAMES, MATERIALS[key], strict=True):
            yield from _differs(f"{key}.{name}", each["values"][name], value, SOURCED.get((key, name), COMMON))
        for pace, value in zip(("slow", "fast"), CLEARING.get(key, ()), strict=False):
            source = COMMON if CLEARING[key] == (5, 15) and key != "basswood" else OWN
            yield from _differs(f"{key}.{pace}", each["values"][f"hand_clear_{pace}_cm2_min"], value, source)
        for side, value in zip(("along", "across"), SLENDER.get(key, ()), strict=False):
            source = OWN if key in ("mdf", "maple-end-grain") else COMMON
            yield from _differs(f"{key}.slender", each["values"][f"slender_{side}"], value, source)
        verdicts = tuple(each[kind]["verdict"] for kind in ("laser", "router", "hand"))
        if verdicts != VERDICTS[key]:
            yield f"{key}: {verdicts} instead of {VERDICTS[key]}"


def _others(profiles: Path) -> Iterator[str]:
    for (path, name), (value, source) in OTHERS.items():
        yield from _differs(f"{path}.{name}", _read(profiles / f"{path}.toml")["values"][name], value, source)


def _differs(where: str, said: dict[str, Any], value: float, source: str) -> Iterator[str]:
    if (said["value"], said["source"]) != (value, source):
        yield f"{where}: {said} instead of {value}, {source}"


def _chips(profiles: Path) -> Iterator[str]:
    table = _read(profiles / "chip-loads.toml")
    if (table["chart_source"], table["fine_source"]) != ("chip-chart", COMMON):
        yield "chip loads: another source"
    for key, inches in CHIPS.items():
        for k, name in enumerate(("least_mm", "most_mm")):
            wanted = [(0.01, 0.03)[k], *(25.4 * pair[k] for pair in inches)]
            if any(abs(a - b) > 1e-9 for a, b in zip(table[key][name], wanted, strict=True)):
                yield f"chips of {key}: {table[key][name]} instead of {wanted}"


def _code(root: Path) -> Iterator[str]:
    for (path, name), value in CODE.items():
        said: Any = _module(root / "carvegen" / path)
        for part in name.split("."):
            said = said[part] if hasattr(said, "keys") else getattr(said, part)
        if said != value and not (isinstance(value, float) and abs(said - value) < 1e-9):
            yield f"{path}: {name} is {said} instead of {value}"


def _strain(root: Path) -> Iterator[str]:
    """0.8 mm deep, walls of 45 degrees, sharp edges: hypot(0.8, x) / x - 1 over the wall and two sheets of 0.5 mm."""
    wall = SimpleNamespace(relief_mm=0.8, run_mm=0.8, sheet_mm=0.5)
    strain = _module(root / "carvegen" / "blocks" / "embossing" / "paper_strain.py").bridged(wall).down
    if abs(strain - ((0.8**2 + 1.8**2) ** 0.5 / 1.8 - 1)) > 1e-9:
        yield f"strain: {strain}"


def _module(path: Path) -> ModuleType:
    """The module in this file, whatever the package holds."""
    name = f"held_{path.stem}"
    spec = importlib.util.spec_from_file_location(name, path)
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    try:
        spec.loader.exec_module(module)
    finally:
        del sys.modules[name]
    return module
