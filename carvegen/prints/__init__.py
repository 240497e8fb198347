"""A whole print: its file, its layers, the picture, the inks taken apart, its blocks."""
