"""A print that is changed and built again is, byte for byte, the print that is built afresh."""

from __future__ import annotations

import os
import shutil
from functools import cache

import pytest

from carvegen.interfaces.cli import main
from tests.changes import Change, changes, write_print
from tests.cli.running import run, tree
from tests.strategies import takes_long

#: A key and a profile's value, each once forgotten, of a print with everything on it; all where there is much time:
#: HYPOTHESIS_PROFILE=ci. Of a smaller print: a value in tests/cli/test_build.py, a drawing in tests/cli/test_keep.py.
_ALWAYS = ("register.pin_mm", "machines/router-bed: cautions")


@cache
def _every() -> dict[str, Change]:
    return {change.name: change for change in changes()}


_TRIED = list(_every()) if os.environ.get("HYPOTHESIS_PROFILE") == "ci" else _ALWAYS


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """A folder in which a print file is built when it is first asked for: ``built("print.toml")``."""
    folder = tmp_path_factory.mktemp("print")
    write_print(folder)

    @cache
    def once(name):
        with pytest.raises(SystemExit) as end:
            main(_build(folder, name, folder / name.removesuffix(".toml")))
        assert end.value.code in (0, 1)
        return folder

    return once


def _build(folder, print_file, out):
    return ["build", str(folder / print_file), "--out", str(out), "--profiles", str(folder / "own"), "--quiet"]


@takes_long
@pytest.mark.parametrize("name", _TRIED)
def test_built_again_is_built_afresh(built, tmp_path, capsys, name):
    change = _every()[name]
    folder, out = tmp_path / "print", change.print_file.removesuffix(".toml")
    shutil.copytree(built(change.print_file), folder)
    change.apply(folder)
    for where in (out, "fresh"):
        ran = run(capsys, *_build(folder, change.print_file, folder / where))
        assert ran.code in (0, 1), ran.err
    again, fresh = tree(folder / out), tree(folder / "fresh")
    assert sorted(key for key in again.keys() | fresh.keys() if again.get(key) != fresh.get(key)) == []


def test_every_key_and_value_is_among_the_changes():
    """Those left out can't be changed by themselves.

    They are a name that others use, a block that is cut already, a photograph of the print's own sheet (which
    tests/prints/test_scans.py changes).
    """
    from carvegen.prints.file.keys import LISTS, TABLES, keys_of

    keys = {f"{table}.{each.key}" for table in (*TABLES, *LISTS) for each in keys_of(table)}
    assert keys - _every().keys() == {
        "layers.name", "blocks.state", "blocks.cut_land", "motifs.motif", "marks.scans",
    }  # fmt: skip
    assert len(_every()) > 240
