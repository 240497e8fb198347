"""File formats, each written in one place: SVG, DXF, PNG, and numbers as text."""
