"""What a plan leaves unmade, and why: clamps in the way, no fitting cutter, no room."""
