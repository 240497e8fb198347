"""``python -m carvegen`` is the same as ``carvegen``."""

from carvegen.interfaces.cli import main

main()
