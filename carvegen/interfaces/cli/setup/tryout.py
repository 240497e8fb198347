"""Check the installation, and write a small sample to look at."""

from __future__ import annotations

import json
import platform
import re
from collections.abc import Callable, Iterator
from importlib import metadata
from pathlib import Path
from typing import Any

import click

from carvegen.base.errors import CarvegenError
from carvegen.interfaces.cli import options

__all__ = ["command"]


@click.command("tryout")
@click.option(
    "--out", default="tryout", type=click.Path(path_type=Path), show_default=True, help="Folder for the sample."
)
@options.as_json
def command(out: Path, *, as_json: bool) -> int:
    """Check that all of carvegen works on this machine, and write a small sample.

    It reads every profile, grows snow on a small block, checks it, writes its files and reads them back.
    """
    done = []
    for name, work in _steps(out):
        done.append(_tried(name, work))
        if done[-1]["fault"]:
            break
    failed = [outcome for outcome in done if outcome["fault"]]
    if as_json:
        click.echo(json.dumps({"out": str(out), "steps": done}, indent=1))
        return 2 if failed else 0
    for outcome in done:
        click.echo(
            f"{'FAILED' if outcome['fault'] else 'ok    '}  {outcome['step']}: {outcome['fault'] or outcome['found']}"
        )
    click.echo(
        "\nNot all works: do what the first failed step says; if it says nothing to do, install carvegen again."
        if failed
        else "\nAll works."
    )
    if not failed:
        options.look_first(out / "proof.png")
    return 2 if failed else 0


def _steps(out: Path) -> Iterator[tuple[str, Callable[[], str]]]:
    yield "Python and packages", _packages
    yield "profiles", _profiles
    yield "a sample", lambda: _sample(out)
    yield "read back", lambda: _read_back(out)


def _tried(name: str, work: Callable[[], str]) -> dict[str, Any]:
    try:
        return {"step": name, "found": work(), "fault": ""}
    except CarvegenError as error:
        return {"step": name, "found": "", "fault": f"{error}; {error.hint}" if error.hint else str(error)}
    except Exception as error:  # whatever it is, it is what was to be found
        return {"step": name, "found": "", "fault": f"{type(error).__name__}: {error}"}


def _packages() -> str:
    wanted = [re.split(r"[^\w.-]", line)[0] for line in metadata.requires("carvegen") or () if ";" not in line]
    for name in wanted:
        metadata.version(name)
    import scipy
    import shapely

    del scipy
    _noise()
    return f"Python {platform.python_version()}, {len(wanted)} packages, GEOS {shapely.geos_version_string}"


def _noise() -> None:
    """Where the package `noise` is there, its values and those that motifs grow by are the same."""
    try:
        import noise
    except ImportError:
        return
    import numpy as np

    from carvegen.motifs.shared.simplex import simplex_noise

    xy = np.linspace(-40, 40, 200).reshape(-1, 2)
    if simplex_noise(xy, 3).tolist() != [noise.snoise2(x, y, 3) for x, y in xy.tolist()]:
        raise CarvegenError(
            "simplex noise differs from the package `noise`", hint="motifs will look different on this computer"
        )


def _profiles() -> str:
    shelf = options.library()
    faults = shelf.check()
    if faults:
        raise faults[0]
    return f"{sum(len(shelf.keys(kind)) for kind in ('materials', 'cutters', 'machines'))} without a fault"


def _sample(out: Path) -> str:
    from carvegen.base.streams import stream
    from carvegen.blocks.from_motif import Ground, grown_block, strictest
    from carvegen.blocks.job import setups_for
    from carvegen.delivery.block_folder import Style, deliver
    from carvegen.motifs import motif

    setups = setups_for(options.library(), material="linoleum", cutter="v-60")
    ground, snow = Ground(name="sample", width_mm=80, height_mm=60), motif("snowfall")
    settings = snow.Settings(**snow.PRESETS["flurry"])
    block = grown_block(
        ground, settings, strictest(setup.limits for setup in setups), stream(7, "sample"), by="snowfall"
    )
    made = deliver([setup.on(block) for setup in setups], out, Style(), say=lambda _: None)
    broken = sum(report.breaks for report in made.reports.values())
    return f"{len(block.cuts)} flakes, {len(made.files)} files, {broken} broken limits"


def _read_back(out: Path) -> str:
    from carvegen.blocks.from_drawing import drawn_block
    from carvegen.blocks.views import View

    block = drawn_block(out / "laser" / "block.dxf", view=View.BLOCK).block
    other = drawn_block(out / "laser" / "block.svg", view=View.BLOCK).block
    if abs(block.white_share - other.white_share) > 1e-6:
        raise CarvegenError("SVG and DXF do not hold the same")
    return f"{len(block.cuts)} flakes in SVG and DXF, {block.white_share:.1%} white"
