"""Commands for a whole print."""
