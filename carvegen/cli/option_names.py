"""What the library's settings are called on the command line."""

from __future__ import annotations

__all__ = ["option_of"]

#: Fields whose option is called otherwise than the field.
_OWN = {
    "also_cutters": "also-cutter",
    "day": "date",
    "declared": "declare",
    "grow_from": "on",
    "kinds": "for",
    "machines": "machine",
    "openings": "opening",
}


def option_of(field: str) -> str:
    """The option for a field, such as ``--largest`` for ``largest_mm``."""
    return "--" + _OWN.get(field, field.removesuffix("_mm").removesuffix("_deg").replace("_", "-"))
