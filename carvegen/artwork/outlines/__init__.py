"""Outlines to clean polygons: which parts are inside, how many corners, how often they cross."""
