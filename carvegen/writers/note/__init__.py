"""Notes and reports in words."""
