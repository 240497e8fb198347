"""The hand guide at 1:1."""
