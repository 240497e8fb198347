"""Runs that are too long for the suite, each by its name; see the lines below.

python -m tests.robustness laws         laws and cases in full, of which the suite tries a few; all, or those named
python -m tests.robustness kill 200     kill -9 at random moments: what was there before is there after
python -m tests.robustness renames      kill -9 at every rename and removal of every command, then the command again
python -m tests.robustness random 1000  random words to every command: never a traceback
python -m tests.robustness same         same bytes in other processes, hash seeds and numbers of threads
python -m tests.robustness full         no space left, and folders that may not be written
python -m tests.robustness wheels       the wheel on the oldest Python allowed and the newest found; or those named
python -m tests.robustness corpus F     the bytes of some 80 runs, recorded in F; called again, what differs from them
python -m tests.robustness snow 500 0   blocks of falling snow, from number 0 on: limits, and the white asked
python -m tests.robustness pencil       coloured sheets by four models of pencils, photographed: figures of what is read
python -m tests.robustness lying 300 0  blocks of lying snow on drawings by others and our own: limits
python -m tests.robustness on-plan      photographs laid on their plans: how far off, and right told from wrong
python -m tests.robustness photographs  blocks as phones show them, on photographs by others; these alone are refused
python -m tests.robustness inks         prints whose inks are not quite the model's: what is told wrong, what as unsure
python -m tests.robustness moved        of every motif: shapes moved by one deleted, a corner kept bare, a branch drawn
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from importlib import import_module
from pathlib import Path
from typing import Any

from carvegen.base.files import staged_folder
from carvegen.base.streams import stream
from tests.cases import small_print
from tests.cli.running import SMALL, command, tree

#: What writes: a command, and the folder or file that it writes.
_ROOT = Path(__file__).parents[2]
_LANDING = _ROOT / "gallery" / "ferry-landing"
WRITERS = {
    "snowfall": ([*SMALL, "--mend", "--width-map"], "out"),
    "grain": (["grain", "--size", "40x30", "--material", "cherry", "--cutter", "v-30"], "out"),
    "strip": (["strip", "--material", "linoleum", "--cutter", "laser-fine"], "out"),
    "tryout": (["tryout"], "out"),
    "build": (["build", "small.toml"], "out"),
}
_SMALL_PRINT = small_print(
    '[artwork]\nfiles = ["post.svg"]',
    blocks={"sky": ["*"], "key": ["POST"]},
    size=(40, 30),
    seed=3,
    after='[[motifs]]\nmotif = "snowfall"\npreset = "flurry"',
)
_POST = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30">'
    '<g id="POST"><path d="M15 30V10H22V30Z"/></g></svg>'
)


_MOVED = "killed after it had published"
_MOVING = "killed while files moved: the next run puts that right"


def _given(folder: Path) -> None:
    (folder / "small.toml").write_text(_SMALL_PRINT, encoding="utf-8")
    (folder / "post.svg").write_text(_POST, encoding="utf-8")


def _started(folder: Path, words: list[str], seed: int, **more: str) -> subprocess.Popen[bytes]:
    own = [*words, *(["--seed", str(seed)] if "--seed" not in words and words[0] in {"grain"} else [])]
    own = [str(seed) if words[k - 1] == "--seed" else word for k, word in enumerate(own)] if "--seed" in words else own
    return subprocess.Popen(
        command(*own, "--out", "out"), cwd=folder, env=os.environ | more, stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL, start_new_session=True,
    )  # fmt: skip


def kill(times: int) -> int:
    """Kill each writer at random moments; count what was found afterwards."""
    rng, result = stream(1, "kill"), Counter[str]()
    for name, (words, _) in WRITERS.items():
        with tempfile.TemporaryDirectory() as where:
            folder = Path(where)
            _given(folder)
            began = time.monotonic()
            _started(folder, words, 3).wait()
            lasts = time.monotonic() - began
            before = tree(folder / "out")
            assert before, f"{name} writes"
            for k in range(-(-times // len(WRITERS))):
                if name == "build":
                    (folder / "small.toml").write_text(
                        _SMALL_PRINT.replace("seed = 3", f"seed = {k + 9}"), encoding="utf-8"
                    )
                run = _started(folder, words, 9 + k)
                time.sleep(rng.uniform(0.5, 1.05) * lasts)
                with contextlib.suppress(ProcessLookupError):
                    os.killpg(run.pid, signal.SIGKILL)
                ended = run.wait()
                after = tree(folder / "out")
                state = _state(before, after, ended, folder)
                if state == _MOVED and _whole(folder, words, 9 + k) != after:
                    state = "HALF WRITTEN, and nothing is left to put it right"
                elif state == _MOVING:
                    _recover(folder / "out")
                    after = tree(folder / "out")
                    state += ", as it did" if after == before else ", WHICH LEFT IT HALF WRITTEN"
                result[f"{name}: {state}"] += 1
                before = after
    for state, count in sorted(result.items()):
        print(f"{count:5d}  {state}")
    return sum(count for state, count in result.items() if "HALF" in state)


def _state(before: dict[str, bytes], after: dict[str, bytes], ended: int, folder: Path) -> str:
    if after == before:
        return "killed, earlier files as they were" if ended else "finished, same files"
    if ended >= 0:
        return "finished before it was killed"
    moving = any((stage.parent / ".carvegen").is_file() for stage in folder.glob(".out-*/.before"))
    return _MOVING if moving else _MOVED


def _whole(folder: Path, words: list[str], seed: int) -> dict[str, bytes]:
    """What that run writes if nobody kills it, in a folder of its own."""
    with tempfile.TemporaryDirectory() as where:
        for path in folder.iterdir():
            if path.is_file():
                shutil.copy(path, where)
        _started(Path(where), words, seed).wait()
        return tree(Path(where) / "out")


def _recover(out: Path) -> None:
    """What the next run does first, and no more."""
    with contextlib.suppress(RuntimeError), staged_folder(out, owned=frozenset()):
        raise RuntimeError("only to put right what was left")


def randomly(times: int) -> int:
    """Random words to every command."""
    from hypothesis import HealthCheck, Phase, given, settings

    from carvegen.interfaces.cli import main
    from tests.robustness.random_words import command_lines, samples

    codes, failed = Counter[int](), Counter[str]()

    @given(command_lines())
    @settings(
        max_examples=times,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
        database=None,
    )
    def tried(words: list[str]) -> None:
        with tempfile.TemporaryDirectory() as where, contextlib.chdir(where):
            samples(Path(where))
            heard = io.StringIO()
            try:
                with contextlib.redirect_stdout(heard), contextlib.redirect_stderr(heard):
                    main(words)
            except SystemExit as end:
                codes[int(end.code or 0)] += 1
            except BaseException as error:
                failed[f"{type(error).__name__}: {error} from {words}"] += 1
            if "Traceback" in heard.getvalue():
                failed[f"traceback from {words}"] += 1

    tried()
    print(f"exit codes: {dict(sorted(codes.items()))}")
    for words, count in failed.items():
        print(f"FAILED {count} x {words}")
    strange = sum(count for code, count in codes.items() if code not in {0, 1, 2, 3})
    return len(failed) + strange


def same() -> int:
    """The same bytes whatever the process, the hash seed and the number of threads."""
    environments = [
        {
            "PYTHONHASHSEED": seed,
            **dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), threads),
        }
        for seed, threads in (("0", "1"), ("0", "1"), ("12345", "1"), ("12345", "4"))
    ]
    differ = 0
    for name, (words, _) in WRITERS.items():
        trees = []
        for environment in environments:
            with tempfile.TemporaryDirectory() as where:
                _given(Path(where))
                _started(Path(where), words, 3, **environment).wait()
                trees.append(tree(Path(where) / "out"))
        alike = all(other == trees[0] for other in trees[1:]) and len(trees[0]) > 0
        differ += not alike
        print(f"{name}: {len(trees[0])} files, {'the same' if alike else 'NOT THE SAME'} in {len(environments)} ways")
        unlike = {
            key for other in trees for key in trees[0].keys() | other.keys() if trees[0].get(key) != other.get(key)
        }
        print("".join(f"  {key}\n" for key in sorted(unlike)), end="")
    return differ


def full() -> int:
    """A disk of two megabytes, and a folder that may not be written: the run ends in words, what was there stays."""
    bad = 0
    with tempfile.TemporaryDirectory() as where:
        disk = Path(where) / "disk"
        disk.mkdir()
        mounted = subprocess.run(
            ["mount", "-t", "tmpfs", "-o", "size=700k", "none", disk], check=False, capture_output=True
        )
        if mounted.returncode:
            print(f"NOT TRIED: no small disk can be made here: {mounted.stderr.decode().strip()}")
            bad = 1
        else:
            try:
                for name, (words, _) in WRITERS.items():
                    _given(disk)
                    (disk / "out").mkdir(exist_ok=True)
                    (disk / "out" / "mine.txt").write_text("mine", encoding="utf-8")
                    filler = disk / "filler"
                    filler.write_bytes(b"x" * 660_000)
                    done = subprocess.run(
                        command(*words, "--out", "out"), cwd=disk, capture_output=True, text=True, check=False
                    )
                    left = [path for path in disk.rglob("*") if path.is_file()]
                    fine = done.returncode == 2 and "Traceback" not in done.stderr and len(left) == 4
                    bad += not fine
                    print(f"{name}, no space: code {done.returncode}, {'as it was' if fine else done.stderr[-300:]}")
                    shutil.rmtree(disk / "out")
            finally:
                subprocess.run(["umount", disk], check=False)
    return bad


def laws(paths: list[str]) -> int:
    """Run the tests that try a few of many cases by default, with all of them; those in `paths`, or every one."""
    asked = paths or [str(files_of_law.relative_to(_ROOT)) for files_of_law in files_of_laws()]
    return subprocess.call([sys.executable, "-m", "pytest", "-q", *asked], cwd=_ROOT,
                           env=os.environ | {"HYPOTHESIS_PROFILE": "all"})  # fmt: skip


def files_of_laws() -> list[Path]:
    """The files of tests that leave something to that run: all that import from `tests.strategies`, or hypothesis."""
    words = re.compile(r"^from (tests\.strategies|hypothesis) import", re.MULTILINE)
    return sorted(
        path for path in (_ROOT / "tests").rglob("test_*.py") if words.search(path.read_text(encoding="utf-8"))
    )


def run(name: str, *arguments: object) -> Any:
    """The run in the module of that name: pictures that others draw as they are imported are not drawn."""
    return getattr(import_module(f"tests.robustness.{name}"), name)(*arguments)


def told(differences: list[str]) -> int:
    """Print each difference; how many there are."""
    print("\n".join([*differences, f"{len(differences)} differ"]))
    return len(differences)


def main() -> None:
    what, count = [*sys.argv[1:], "", ""][:2]
    runs = {
        "laws": lambda: laws(sys.argv[2:]),
        "kill": lambda: kill(int(count or 200)),
        "renames": lambda: run("renames"),
        "random": lambda: randomly(int(count or 1000)),
        "same": same,
        "full": full,
        "wheels": lambda: run("wheels", sys.argv[2:]),
        "snow": lambda: run("snow", int(count or 500), int(sys.argv[3] if len(sys.argv) > 3 else 0)),
        "moved": lambda: run("moved"),
        "pencil": lambda: run("pencil", count),
        "inks": lambda: run("inks"),
        "on-plan": lambda: run("on_plan", count),
        "photographs": lambda: run("photographs", count),
        "lying": lambda: run("lying", int(count or 300), int(sys.argv[3] if len(sys.argv) > 3 else 0)),
        "corpus": lambda: told(run("corpus", Path(count or "corpus.json"))),
    }
    if what not in runs:
        sys.exit(__doc__)
    sys.exit(min(runs[what](), 1))


if __name__ == "__main__":
    main()
