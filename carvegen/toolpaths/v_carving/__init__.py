"""What a router's V follows: the middle of every line."""
