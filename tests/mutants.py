"""Small faults put into a room, one at a time, and whether the tests of that room notice them.

python -m tests.mutants checks              10 mutations of carvegen/checks
python -m tests.mutants toolpaths/laser 20  20 of a part of a room, a folder or a module
python -m tests.mutants checks 5 --seed 2   others; the same seed gives the same ones

A number is doubled or halved, a comparison turned round, a branch dropped, + becomes - or and becomes or. Each is made
in a copy of the tree; the room's tests run on it until one fails. What survives is printed with its file, line and
change: write the test that would have failed, or see that nothing a reader can notice has changed.

That the tests pass unchanged is tried once for a tree, and with it which functions each of them calls
(`tests/reached.py`). Of a mutation inside a function the files that call it run, those tests first that do; all files
where nobody does, or where it is outside of all functions. Rooms above the motifs share what has grown among all runs.
"""

from __future__ import annotations

import argparse
import ast  # noqa: TID251  one thread
import hashlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from carvegen.base.streams import stream

ROOT = Path(__file__).parents[1]

#: The folders of tests that belong to a room; of a part of a room all of the room's.
TESTS = {
    "base": ("base", "published"),
    "geometry": ("geometry", "closed_forms", "published"),
    "facts": ("facts", "published", "closed_forms"),
    "artwork": ("artwork",),
    "motifs": ("motifs", "laws", "closed_forms", "ours", "published"),
    "blocks": ("blocks",),
    "marking": ("marking",),
    "checks": ("checks",),
    "toolpaths": ("toolpaths",),
    "prints": ("prints", "closed_forms"),
    "writers": ("writers", "readers"),
    "delivery": ("delivery",),
    "interfaces": ("cli", "page"),
}

_NEEDED = ("carvegen", "tests", "profiles", "gallery", "pyproject.toml", "README.md", "DEVELOPERS.md", "CHANGELOG.md")
_TURNED = {
    ast.Lt: ast.Gt, ast.Gt: ast.Lt, ast.LtE: ast.GtE, ast.GtE: ast.LtE, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
_SIGNS: dict[type[ast.operator], type[ast.operator]] = {ast.Add: ast.Sub, ast.Sub: ast.Add}
#: How finely something is drawn or told changes no decision, nor how much is done or looked at together,
_FINENESS = {"quad_segs", "tolerance", "axis", "stacklevel", "maxsize"}
_FREE = {
    "_ARC", "_TIDY_ARC", "_SEGMENTS", "_SAG_MM", "_SMOOTH_MM", "_FINE_MM", "FINE_MM",
    "_PLAIN_MM", "_ASKEW", "_ROOM", "_CHUNK", "_AT_ONCE", "_BAND", "LARGE", "_MANY_HOLES", "_AROUND", "_AROUND_MM",
    "_FEW_ROUTES", "_RATIO", "_MANY_POINTS", "_BY_BOUNDS", "_FIRST_FEW", "_LONG_LIMITS", "_FEW_SIDES", "_BATCH",
    "_WORTH_POINTS", "_PAIRS", "_TOO_MANY", "_NOWHERE_MM",
}  # fmt: skip
#: Branches that end early what would go on with nothing: without them the bytes are the same, only later.
EARLY_ENDS = {
    "motifs/shared/minimum_width.py": "len(weak) == 0", "motifs/snowfall/readable.py": "len(bad) == 0",
    "motifs/snowfall/weather.py": "len(open_) == 0", "motifs/grain/spacing.py": "not open_.any()",
    "motifs/snowload/snow_shapes.py": "not small.any()", "checks/drop_outs.py": "len(parts) < 2",
    "checks/mending/widening.py": "len(beyond) == 0", "toolpaths/promises.py": "not len(settings.no_go)",
    "prints/separation.py": "len(gaps) == 0", "toolpaths/laser/cut_outs.py": "not len(settings.no_go)",
}  # fmt: skip
#: What is drawn by the same law either way: angles over a full turn of which only sine and cosine are used, over two
#: turns or the other way about, and what is drawn alike to both sides of 0, added or taken off. What comes is another
#: draw of the same. Not where a share of the angle is used, too.
SAME_LAW = {
    "prints/misregister/block_placement.py": ("turn - paper", "turn - paper + wood"),
    "motifs/shared/fields.py": ("rng.uniform(0, 2 * np.pi, _WAVES)", "xy @ wave + shift"),
    "motifs/frost/seeding.py": ("angle = rng.uniform(0, 2 * np.pi, count)",),
    "motifs/snowfall/outlines.py": ("draws.uniform(0, 2 * np.pi)", "draws.uniform(0, 2 * np.pi, len(_HARMONICS))"),
    "motifs/grain/knots.py": (
        "rng.uniform(0, 2 * np.pi)", "rng.uniform(0, 2 * np.pi, 4)", "(2 + np.arange(len(size))) * angle + phase",
    ),
}  # fmt: skip
_SPARE = {"round", "tiles_of"}  #: nor the digits of what is told, nor how far beyond a tile is looked
_ROUNDING = 2e-6  #: nor how much room there is for rounding
_SPARE_SECONDS = 60
#: Rooms that no motif grows by: what has grown is the same whatever is changed in them.
_ABOVE = frozenset({"marking", "checks", "toolpaths", "prints", "writers", "delivery", "interfaces"})
Reached = dict[str, tuple[float, list[str]]]  #: CPU seconds of each test, and the functions that it calls


@dataclass(frozen=True)
class Mutation:
    path: Path  #: from the root of the tree
    line: int
    function: int  #: the line where the function around it begins; 0 outside of all
    change: str
    source: str  #: of the whole module, changed


def places(path: Path) -> list[int]:
    """Which of a module's nodes can be changed, by their numbers."""
    tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
    module = path.as_posix().removeprefix("carvegen/")
    ends, turns = EARLY_ENDS.get(module), SAME_LAW.get(module, ())
    alike = {part for node in ast.walk(tree) if turns and ast.unparse(node) in turns for part in _of_turn(node)}
    return [
        k for k, (node, changeable) in enumerate(list(_walk(tree)))
        if changeable and node not in alike
        and not (isinstance(node, ast.If) and ast.unparse(node.test) == ends) and _changed(node)
    ]  # fmt: skip


def _of_turn(node: ast.AST) -> list[ast.AST]:
    """Of a sum its sign, of what is drawn the end of the turn."""
    drawn = node.value if isinstance(node, ast.Assign) else node
    return list(ast.walk(drawn.args[1])) if isinstance(drawn, ast.Call) else [node]


def mutation(path: Path, place: int) -> Mutation:
    """The module with one node changed."""
    tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
    node, _ = list(_walk(tree))[place]
    assert isinstance(node, ast.expr | ast.stmt), "only expressions and statements are changed"
    function = _function_around(tree, node)
    before = _first_line(ast.unparse(node))
    _changed(node)
    after = _first_line(ast.unparse(node))
    return Mutation(path, node.lineno, function, f"{before}  ->  {after}", ast.unparse(ast.fix_missing_locations(tree)))


def _function_around(tree: ast.AST, node: ast.AST) -> int:
    """The line where the innermost function around a node begins, its first decorator's if it has one; 0 if none."""
    around = [
        each
        for each in ast.walk(tree)
        if isinstance(each, ast.FunctionDef | ast.AsyncFunctionDef) and node in set(ast.walk(each))
    ]
    lines = (min([one.lineno, *(mark.lineno for mark in one.decorator_list)]) for one in around)
    return max(lines, default=0)


def _walk(tree: ast.AST, *, changeable: bool = True) -> Iterator[tuple[ast.AST, bool]]:
    """All nodes, and whether they may be changed: no annotation, word, index, nor a fineness."""
    for name, value in ast.iter_fields(tree):
        fixed = name in ("annotation", "returns", "slice", "decorator_list") or isinstance(tree, ast.JoinedStr)
        fixed |= isinstance(tree, ast.keyword) and tree.arg in _FINENESS
        fixed |= isinstance(tree, ast.Assign) and any(_is_free(target) for target in tree.targets)
        spare = name == "args" and isinstance(tree, ast.Call) and ast.unparse(tree.func) in _SPARE
        for k, node in enumerate(value if isinstance(value, list) else [value]):
            if isinstance(node, ast.AST):
                here = changeable and not fixed and not (spare and k)
                yield node, here
                yield from _walk(node, changeable=here)


def _changed(node: ast.AST) -> bool:
    """Change a node in its place; whether there was anything to change."""
    match node:
        case ast.Compare(left=left, comparators=others) if any(_is_free(each) for each in (left, *others)):
            return False
        case ast.BinOp(left=one, right=other) if _is_rounding(one) or _is_rounding(other):
            return False
        case ast.Constant() if _is_rounding(node):
            return False
        case ast.Constant(value=float() | int() as number) if not isinstance(number, bool) and number not in (0, 1):
            node.value = number // 2 if isinstance(number, int) and number > 3 else number * 2
        case ast.Compare(ops=[op]) if type(op) in _TURNED:
            node.ops = [_TURNED[type(op)]()]
        case ast.BinOp() if type(node.op) in _SIGNS:
            node.op = _SIGNS[type(node.op)]()
        case ast.BoolOp():
            node.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        case ast.If(test=test) | ast.IfExp(test=test) if ast.unparse(test) != "TYPE_CHECKING":
            node.test = ast.Constant(value=False)
        case _:
            return False
    return True


def _is_free(node: ast.AST) -> bool:
    return isinstance(node, ast.Name | ast.Attribute) and ast.unparse(node).rpartition(".")[2] in _FREE


def _is_rounding(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, float) and 0 < node.value < _ROUNDING


def _first_line(text: str) -> str:
    return text.partition("\n")[0][:150]


def modules(room: str) -> list[Path]:
    """A room's modules, those of a folder in it, or the one that is named; none if there is no such part."""
    part = ROOT / "carvegen" / room
    return sorted(part.rglob("*.py")) or [each for each in (part.with_suffix(".py"),) if each.exists()]


def drawn(room: str, count: int, seed: int) -> list[Mutation]:
    """`count` mutations of a room's modules, each as likely as any other."""
    paths = (path.relative_to(ROOT) for path in modules(room))
    every = [(path, place) for path in paths for place in places(path)]
    chosen = stream(seed, "mutants", room).choice(len(every), size=min(count, len(every)), replace=False)
    return [mutation(*every[k]) for k in sorted(chosen.tolist())]


def files_of(room: str, path: Path | None = None) -> list[str]:
    """The room's test files; those that name the module come first."""
    folders = [ROOT / "tests" / name for name in TESTS[room.partition("/")[0]]]
    files = sorted(path for folder in folders for path in folder.rglob("test_*.py"))
    names = {path.stem, path.parent.name} if path else set()
    files.sort(key=lambda each: not any(name in each.read_text(encoding="utf-8") for name in names))
    return [str(file.relative_to(ROOT)) for file in files]


def asked_of(each: Mutation, room: str, reached: Reached) -> list[str]:
    """The tests to run, in order: of files that call the function, the quickest to do so first, then of their others.

    What one test has called another may have kept: so the files run whole. Where nobody calls it, or it is outside of
    all functions, all of the room's files run, those first that name the module.
    """
    name = f"{each.path.as_posix()}:{each.function}"
    callers = {test: seconds for test, (seconds, called) in reached.items() if name in called}
    if not callers:
        return files_of(room, each.path)
    first: dict[str, float] = {}
    for test, seconds in callers.items():
        file = test.partition("::")[0]
        first[file] = min(seconds, first.get(file, seconds))
    of_them = [test for test in reached if test.partition("::")[0] in first]
    quickest = sorted(
        callers, key=lambda test: (first[test.partition("::")[0]], test.partition("::")[0], callers[test])
    )
    return quickest + [test for test in of_them if test not in callers]


def passes(copy: Path, room: str, tests: list[str], seconds: float, *more: str) -> bool:
    """Whether all tests pass, in the copy and by its own package, and in time. What is compiled stays in the copy."""
    asked = copy / "asked.txt"
    asked.write_text("\n".join(tests), encoding="utf-8")
    words = [sys.executable, "-m", "pytest", "-n0", "-x", "-q", "-p", "no:cacheprovider", *more, f"@{asked}"]
    scratch = copy / "scratch"  # so that nothing is left behind by tests that are stopped
    scratch.mkdir(exist_ok=True)
    env = os.environ | {"PYTHONPATH": str(copy), "TMPDIR": str(scratch), "PYTHONPYCACHEPREFIX": str(copy / "code")}
    env |= {"CARVEGEN_TESTS_REACHED": str(copy / "reached.json")}
    env.pop("PYTHONDONTWRITEBYTECODE", None)
    if room.partition("/")[0] in _ABOVE:
        (copy / "kept").mkdir(exist_ok=True)
        env["CARVEGEN_TESTS_KEPT"] = str(copy / "kept")
    try:
        ran = subprocess.run(words, cwd=copy, env=env, capture_output=True, timeout=seconds, check=False)
    except subprocess.TimeoutExpired:
        return False
    return ran.returncode == 0


def _reached(copy: Path, room: str) -> Reached | None:
    """What the room's tests call with nothing changed, tried once for a tree; None if they fail."""
    said = hashlib.sha256(room.partition("/")[0].encode())
    for path in sorted(each for name in ("carvegen", "tests", "profiles") for each in (copy / name).rglob("*.*")):
        said.update(path.read_bytes() if path.is_file() and path.suffix != ".pyc" else b"")
    known = Path(tempfile.gettempdir()) / f"carvegen-reached-{said.hexdigest()[:16]}.json"
    if not known.exists():
        if not passes(copy, room, files_of(room), 3600, "-p", "tests.reached"):
            return None
        shutil.copy(copy / "reached.json", known)
    reached: Reached = json.loads(known.read_text(encoding="utf-8"))
    return reached


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("room", help=f"one of {', '.join(TESTS)}, or a folder or module in it")
    parser.add_argument("count", nargs="?", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    if asked.room.partition("/")[0] not in TESTS or not modules(asked.room):
        parser.error(f"no such room: {asked.room}")
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        copy = Path(folder)
        for name in _NEEDED:
            (shutil.copytree if (ROOT / name).is_dir() else shutil.copy)(ROOT / name, copy / name)
        reached = _reached(copy, asked.room)
        if reached is None:
            parser.error(f"the tests of {asked.room} fail before anything is changed")
        most = 3 * sum(seconds for seconds, _ in reached.values()) + _SPARE_SECONDS
        every = drawn(asked.room, asked.count, asked.seed)
        survived = 0
        for each in every:
            (copy / each.path).write_text(each.source, encoding="utf-8")
            survives = passes(copy, asked.room, asked_of(each, asked.room, reached), most)
            shutil.copy(ROOT / each.path, copy / each.path)
            survived += survives
            print(f"{'SURVIVED' if survives else 'noticed '} {each.path}:{each.line}  {each.change}", flush=True)
    print(f"{len(every) - survived} of {len(every)} noticed")
    return 0


if __name__ == "__main__":
    sys.exit(main())
