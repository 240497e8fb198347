"""What a person meets: the command line and the marking page."""
