"""What a build does beside what: in which order its parts begin, and what is loaded while blocks are cut."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from carvegen.delivery import block_folder, print_build
from carvegen.delivery.print_build import _Build

SIZES = {"sky": 5, "tone": 2, "key": 9}  #: cuts of blocks


class AskedError(Exception):
    """Raised once what was asked for is known."""


def build_of(sizes, why):
    """A build as far as its tasks ask for it."""
    cuts = {
        name: SimpleNamespace(
            block=SimpleNamespace(cuts=np.empty(count)), land=None, fringe=None, to_decide=None, die=None, changes=(),
            lost=(),
        )
        for name, count in sizes.items()
    }  # fmt: skip
    inputs = dict.fromkeys(sizes)
    return SimpleNamespace(
        shaped=None, why=why, cuts=cuts, block_inputs=inputs, folders=dict.fromkeys(why), _trials=lambda *_: None,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("blocks", "expected"),
    [
        (["sky", "tone", "key"], ["key", "sky", " rubbings", " proofs", "tone"]),
        (["tone"], ["tone", " rubbings", " proofs"]),
        ([], [" rubbings", " proofs"]),
    ],
)
def test_the_smallest_block_begins_last_and_fills_what_the_others_leave(blocks, expected, tmp_path) -> None:
    why = dict.fromkeys(SIZES, "") | dict.fromkeys(blocks, "new") | {" proofs": "new", " register": ""}
    assert list(_Build._tasks(build_of(SIZES, why), None, tmp_path)) == expected


def test_what_the_files_take_is_loaded_while_blocks_are_cut(monkeypatch) -> None:
    loaded = []
    monkeypatch.setattr(block_folder, "import_module", loaded.append)

    def shapes_of(inputs, *, say, jobs, meanwhile):
        meanwhile()
        raise AskedError

    monkeypatch.setattr(print_build, "shapes_of", shapes_of)
    machine = {kind: SimpleNamespace(machine=SimpleNamespace(kind=kind)) for kind in ("hand", "laser")}
    build = SimpleNamespace(cut_inputs=None, say=None, setups={"sky": [machine["hand"], machine["laser"]]})
    with pytest.raises(AskedError):
        _Build._cut(build, None, 2)
    assert "ezdxf" in loaded
    assert not any("v_carving" in name for name in loaded), "that is a router's"
    assert len(loaded) == len(set(loaded))
