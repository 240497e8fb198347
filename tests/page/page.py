"""A small print on the page, and what its answers say, read by another reader of packed shapes."""

from __future__ import annotations

import json
import struct
import time
import uuid
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from carvegen.facts.profiles import Library
from carvegen.interfaces.page.app import Page
from carvegen.interfaces.page.gestures import gesture
from carvegen.interfaces.page.session import Session
from tests.cases import SHELF, layer, small_print

AFTER = """
[[highlights]]
shape = "circle 33 24 2"
[[motifs]]
motif = "snowload"
on = ["POST"]
[[motifs]]
motif = "snowfall"
settings = { snow = 0.05, smallest_mm = 1.0, largest_mm = 2.0 }
"""


def page_in(folder: Path, path: Path | None = None, shelf: Library = SHELF) -> Page:
    """The page on a print, or on none yet, with a place for what is handed in."""
    scratch = folder / "scratch"
    scratch.mkdir()
    return Page(path, shelf, folder, scratch)


def until(true: Callable[[], bool], seconds: float = 180) -> None:
    """Wait for a state; a machine that is slow has time."""
    end, pause = time.monotonic() + seconds, 0.002
    while not true():
        assert time.monotonic() < end, "it does not come"
        time.sleep(pause)
        pause = min(1.3 * pause, 0.1)


def print_file(folder: Path, *, after: str = AFTER, size=(40, 30)) -> Path:
    path = folder / "print.toml"
    blocks = {"sky": ["*"], "key": ["POST"]}
    text = small_print(layer("POST", "box 5 0 8 20"), blocks=blocks, after=after, size=size, seed=4)
    path.write_text(text, encoding="utf-8")
    return path


def unpacked(data: bytes) -> tuple[dict[str, Any], dict[int, shapely.Geometry]]:
    """The JSON, and each shape by its number: the area that lies in an odd number of its rings."""
    (length,) = struct.unpack_from("<I", data)
    report = json.loads(data[4 : 4 + length])
    rings, points = struct.unpack_from("<II", data, 4 + length)
    at = 12 + length
    ids = np.frombuffer(data, "<u4", rings, at)
    starts = np.frombuffer(data, "<u4", rings + 1, at + 4 * rings)
    xy = np.frombuffer(data, "<u2", 2 * points, at + 8 * rings + 4).reshape(-1, 2) * 0.01
    result: dict[int, Any] = {}
    for k, number in enumerate(ids.tolist()):
        ring = shapely.make_valid(shapely.Polygon(xy[starts[k] : starts[k + 1]]))
        result[number] = shapely.symmetric_difference(result[number], ring) if number in result else ring
    return report, result


class Hand:
    """A session and what the page sees of it: shapes by number, kept up to date by the answers alone."""

    def __init__(self, path: Path) -> None:
        self.path, self.heard = path, []
        self.session = Session(path, SHELF, self.heard.append)
        self.load()

    def load(self) -> None:
        answer, self.shapes = unpacked(self.session.shapes())
        self.like = {n: group for group in answer["groups"] for n in group["ids"]}

    def does(self, do: str, **more: Any) -> dict[str, Any]:
        return self.sends({"id": uuid.uuid4().hex, "do": do, **more})  # not by id(): another hand may get the same

    def sends(self, said: dict[str, Any]) -> dict[str, Any]:
        report, shapes = unpacked(self.session.do(*gesture(said)))
        for number in report["gone"]:
            self.shapes.pop(number, None)
            self.like.pop(number, None)
        self.shapes |= shapes
        self.like |= {n: group for group in report["groups"] for n in group["ids"]}
        if report.get("reload"):
            self.load()
        return report

    def snow(self, motif: str = "") -> dict[int, shapely.Geometry]:
        return {
            n: shape for n, shape in self.shapes.items()
            if self.like[n]["kind"] == "snow" and motif in ("", self.like[n]["name"])
        }  # fmt: skip

    def white_on(self, block: str) -> shapely.Geometry:
        return shapely.union_all([
            shape for n, shape in self.shapes.items()
            if self.like[n]["kind"] in ("snow", "white") and block in self.like[n]["blocks"]
        ])  # fmt: skip

    def checks(self) -> None:
        """Check the whole print now, in its process; opening ends by putting that off, which would stop it."""
        until(lambda: self.session._later is not None)
        self.session._later.cancel()
        self.session._check()

    def written(self) -> None:
        self.session._flush()

    def close(self) -> None:
        self.session.close()


def stroke(x: float, y: float, to_x: float, to_y: float) -> list[list[float]]:
    return [[x, y, 1.0], [to_x, to_y, 1.0]]
