"""A first proof against its plan: ringed on a picture of it, and what is still to cut on paper."""
