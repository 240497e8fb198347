"""The order in which paths are followed, and short tours through them."""
