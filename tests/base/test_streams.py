"""Random streams: keyed by name, the same everywhere, independent."""

from __future__ import annotations

import subprocess
import sys

import numpy as np

from carvegen.base.streams import stream


def test_a_name_and_seed_give_the_same_numbers_in_another_process():
    code = (
        "from carvegen.base.streams import stream; print(stream(7, 'sky', 'snowfall').integers(0, 2**63, 4).tolist())"
    )
    result = {
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=env).stdout.strip()
        for env in (None, {"PYTHONHASHSEED": "1", "PATH": "", "PYTHONPATH": ":".join(sys.path)})
    }
    assert result == {str(stream(7, "sky", "snowfall").integers(0, 2**63, 4).tolist())}


def test_each_name_and_seed_has_its_own():
    names = [("sky",), ("sky", "snowfall"), ("sky", "frost"), ("jetty", "snowfall"), ("skysnowfall",), ()]
    first = {(seed, name): stream(seed, *name).random() for seed in (0, 1, 7, 2**63 - 1) for name in names}
    assert len(set(first.values())) == len(first)


def test_taking_from_one_does_not_move_another():
    alone = stream(7, "sky", "snowfall").random(5)
    stream(7, "sky", "frost").random(1000)
    assert (stream(7, "sky", "snowfall").random(5) == alone).all()


def test_the_numbers_are_those_of_pcg64_under_the_documented_key():
    """NumPy's SeedSequence and PCG64, keyed as the docstring of `stream` says, put together here by hand."""
    import hashlib

    words = np.frombuffer(hashlib.sha256(b"sky\x1fsnowfall").digest()[:16], dtype="<u4")
    key = tuple(int(word) for word in words)
    meant = np.random.Generator(np.random.PCG64(np.random.SeedSequence(7, spawn_key=key)))
    assert (stream(7, "sky", "snowfall").random(8) == meant.random(8)).all()


def test_streams_are_uncorrelated():
    """Correlation of 100 pairs of streams of 1000 numbers: 5 sigma is 5 / sqrt(1000) = 0.16."""
    table = np.array([stream(7, f"block {k}").random(1000) for k in range(101)])
    r = np.corrcoef(table)
    assert np.abs(r[np.triu_indices(101, 1)]).max() < 0.16
