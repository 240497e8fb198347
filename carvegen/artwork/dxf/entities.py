"""The entities that a DXF drawing shows, blocks unfolded, each with its move and its layer."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Any

from carvegen.artwork import bounds
from carvegen.artwork.drawing import Notes
from carvegen.base.errors import InputError

__all__ = ["entities", "fenced", "name_of", "whole"]

_MAX_NESTING = 32


def entities(document: Any, notes: Notes) -> Iterator[tuple[Any, Any, str]]:  # noqa: ANN401
    """Each visible entity of the model space, its move to the model's coordinates, and its layer."""
    from ezdxf.math import Matrix44

    hidden = {_letters(layer.dxf.name).lower() for layer in document.layers if layer.is_off() or layer.is_frozen()}
    _check_count(document)
    waiting: list[tuple[Any, Any, str]] = [
        (entity, Matrix44(), "0") for entity in reversed(list(document.modelspace()))
    ]
    while waiting:
        entity, move, above = waiting.pop()
        own = _letters(str(entity.dxf.get("layer", "0")))
        layer = above if own == "0" else own
        if layer.lower() in hidden or entity.dxf.get("invisible", 0):
            notes.add("hidden things are left out", f"on layer {layer!r}")
        elif entity.dxftype() == "INSERT":
            inner = fenced(entity, partial(_inserted, entity))
            waiting.extend((part, within * move, layer) for part, within in inner)
        else:
            yield entity, move, layer


def _letters(name: str) -> str:
    r"""A name with its letters written by their codes, ``\U+00E9``, as letters (published DXF reference, strings)."""
    from ezdxf.lldxf.encoding import decode_dxf_unicode

    return decode_dxf_unicode(name) if "\\U+" in name.upper() else name


def _check_count(document: Any) -> None:  # noqa: ANN401
    """Refuse blocks that contain themselves or unfold to too many entities, before any is unfolded."""
    counts: dict[str, int] = {}
    for _ in range(_MAX_NESTING):
        before = dict(counts)
        for block in document.blocks:
            counts[block.name.lower()] = sum(_times(entity, before) for entity in block)
        if counts == before:
            break
    else:
        raise InputError(
            f"nests blocks more than {_MAX_NESTING} deep", hint="explode the blocks in the drawing program"
        )
    total = counts.get(document.modelspace().block_record.dxf.name.lower(), 0)
    if total > bounds.MAX_SHAPES:
        raise InputError(
            f"draws more than {bounds.MAX_SHAPES} entities, inserted ones counted", value=total,
            hint="simplify the drawing, or split it into several files",
        )  # fmt: skip


def _times(entity: Any, counts: dict[str, int]) -> int:  # noqa: ANN401
    """How many entities one stands for, at most a little more than may be drawn."""
    if entity.dxftype() != "INSERT":
        return 1
    each = 1 + counts.get(str(entity.dxf.get("name", "")).lower(), 0)
    rows, columns = (max(1, whole(entity.dxf.get(key, 1))) for key in ("row_count", "column_count"))
    return int(min(each * rows * columns, 10 * bounds.MAX_SHAPES))


def _inserted(insert: Any) -> list[tuple[Any, Any]]:  # noqa: ANN401
    """The entities of an inserted block with their moves, as often as it is inserted."""
    block = insert.block()
    if block is None:
        raise InputError("shows a block that is not in the file", value=str(insert.dxf.get("name", ""))[:40])
    places = insert.multi_insert() if insert.mcount > 1 else [insert]
    return [(entity, place.matrix44()) for place in places for entity in reversed(list(block))]


def fenced(entity: Any, work: Any) -> Any:  # noqa: ANN401
    """What `work` returns; whatever a broken entity raises in the library becomes an `InputError`."""
    try:
        return work()
    except InputError as error:
        raise error.within(name_of(entity)) from None
    except Exception as error:
        raise InputError(
            "can't be read", value=str(error)[:80] or type(error).__name__, where=name_of(entity),
            hint="draw it again, or save the file again as R2000 DXF",
        ) from None  # fmt: skip


def name_of(entity: Any) -> str:  # noqa: ANN401
    """How to find an entity in the file."""
    return f"{entity.dxftype()} #{entity.dxf.get('handle', '?')} on layer {entity.dxf.get('layer', '0')!r}"


def whole(value: object) -> int:
    """A whole number, or 0."""
    try:
        return int(value)  # type: ignore[call-overload, no-any-return]
    except (TypeError, ValueError):
        return 0
