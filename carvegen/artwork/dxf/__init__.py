"""DXF drawings, read by ezdxf."""

from __future__ import annotations

from carvegen.artwork.dxf.reader import read_dxf

__all__ = ["read_dxf"]
