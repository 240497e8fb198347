"""The proof sheet for a browser."""
