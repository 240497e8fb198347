"""Blocks: a face and what is cut into it; with material, cutter and machine it is a job."""
