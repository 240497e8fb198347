"""What a register error does to a print."""
