"""Files of a plan: what the cutter follows."""
