"""Commands that look at drawings, scans and blocks."""
