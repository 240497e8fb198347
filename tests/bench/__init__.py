"""Benches: ``python -m tests.bench``. Each figure stands beside the plain way of doing the same, in one run."""
