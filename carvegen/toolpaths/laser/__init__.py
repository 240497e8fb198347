"""What a laser follows: shapes lowered in steps, cut-outs to size."""
