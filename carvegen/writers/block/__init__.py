"""Files of one block: for the machine, and pictures of it."""
