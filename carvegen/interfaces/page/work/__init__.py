"""What is done behind the hand: checks, builds, and what these have found and made."""
