"""Files for the machine, the hand and the eye; every writer returns text or bytes and opens nothing."""
