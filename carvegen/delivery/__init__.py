"""Folders handed over: a block's, a die's, a test strip's, a whole print's."""
