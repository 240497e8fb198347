"""A print as it is worked on: its shapes by number, its marks, what gestures change, its files."""
