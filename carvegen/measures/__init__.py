"""Measures: outlines measured exactly, and how alike shapes are."""
