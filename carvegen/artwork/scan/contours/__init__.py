"""From a tone to shapes: traced outlines without stairs and specks, with corners where they were."""
