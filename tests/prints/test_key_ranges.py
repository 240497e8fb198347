"""The numbers that a print file may hold: what it takes where nothing is said, and the ends of each range."""

from __future__ import annotations

from carvegen.prints.file.keys import LISTS, TABLES, keys_of

#: Table, key, default, least, most; our own choice.
RANGES = """
print.trap_mm 0.5 0 3
print.register_error_mm 0.5 0 3
print.paper_g_m2 300 20 1200
print.paper_mm None 0.02 3
print.margin_mm 0 0 200
print.bleed_mm 0 0 50
register.waste_mm None 0 200
register.moat_mm None 0 50
register.paper_margin_mm 8 4 150
register.pin_mm 6 2 20
register.tolerance_mm None 0 5
register.turn_deg None 0 5
register.paper_stretch_along_percent 0 0 5
register.paper_stretch_across_percent 0 0 5
register.paper_grain_deg 0 -180 180
register.moisture_change_percent None 0 30
register.visible_mm 0.1 0 2
register.prints 500 20 20000
files.shoulder_steps 2 0 6
files.line_spacing_mm 0.1 0.02 5
files.lead_in_mm 0 0 20
files.rest_mm 2 0 50
files.ramp_deg 5 0.5 30
files.pass_mm 0 0 50
blocks.opacity 0.3 0 1
blocks.thickness_mm None 0.5 100
blocks.depth_mm None 0.1 50
blocks.grain_deg 0 -180 180
blocks.bevel_deg 45 5 75
blocks.edge_mm 0.2 0 2
blocks.corner_mm 0.5 0.1 10
blocks.counter_thickness_mm None 0.3 100
marked.strength 1 0 1
marked.try 1 1 1000000
motifs.clearance_mm 1 0 100
"""


def test_ranges_and_defaults_are_those_that_are_meant() -> None:
    meant = {}
    for line in RANGES.strip().splitlines():
        name, *numbers = line.split()
        meant[name] = tuple(None if number == "None" else float(number) for number in numbers)
    stated = {
        f"{table}.{its.key}": (its.default, its.at_least, its.at_most)
        for table in (*TABLES, *LISTS)
        for its in keys_of(table)
        if its.bounded and its.unit != "span" and its.key != "seed"  # any whole number
    }
    assert stated == meant
