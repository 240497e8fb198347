"""What a router's turning cutter follows: floors, walls, cut-outs."""
