"""What a plan really leaves of the block."""
