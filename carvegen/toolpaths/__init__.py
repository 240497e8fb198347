"""Toolpaths: what the cutter follows, from a job to ordered paths."""
