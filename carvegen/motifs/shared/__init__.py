"""Nature: what motifs grow by: points and noise; sky and snow; ice; logs and knots; strokes."""
