"""How deep and how wide what is lowered may be."""
