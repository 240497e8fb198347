"""``python -m carvegen`` is the same as ``carvegen``."""

from carvegen.cli import main

main()
