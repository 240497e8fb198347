"""Marks on a print: where they are read, what they do to its white, and the land that they leave too narrow."""
