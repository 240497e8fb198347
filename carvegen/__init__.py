"""Snow textures for relief prints: made, checked and written for laser, router and hand."""

__version__ = "0.1.0"
