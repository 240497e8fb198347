"""Marks drawn with coloured pencils on a printed sheet, read from a photograph or scan of it."""
