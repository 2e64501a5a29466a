"""Openings of the body: what they are called, and which layers they reach into."""

from __future__ import annotations

from kerfwave.model.parts import Layer, Opening

OPENING_WORDS = {"driver": "driver", "mouth": "mouth", "terminal": "terminals"}
TOUCH_MM = 0.01  # an opening that only touches a layer, but for rounding, does not reach into it


def crosses(opening: Opening, layer: Layer) -> bool:
    """Say whether an opening through a face that is parallel to the stacking axis reaches into this layer."""
    if abs(opening.normal[2]) > 0.5:
        return False
    half = (opening.diameter_mm or opening.height_mm or 0.0) / 2 - TOUCH_MM
    z = opening.centre_mm[2]
    return z - half < layer.z_mm + layer.thickness_mm and layer.z_mm < z + half
