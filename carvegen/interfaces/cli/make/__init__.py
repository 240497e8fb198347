"""Commands that make a block from a motif."""
