"""Nature: what motifs grow by: points, noise and packing; sky and snow; ice; logs and knots; strokes."""
