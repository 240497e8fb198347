"""Snow on firs: boughs inside a crown, and pads on the tiers of firs that are drawn as stacks of jagged triangles."""
