"""How far apart pieces lie."""

from __future__ import annotations

import math

# Common practice: the brown edge of a cut through thin plywood is a few tenths of a millimetre wide, and seldom more
# than half a millimetre with air assist. It is kept out of the neighbour on either side of the strip between.
CHAR_MM = 0.5


def least_spacing_mm(kerf_mm: float) -> float:
    """Return the spacing for a kerf where none is asked for: the kerf and char on both sides, up to whole 0.1 mm.

    Each of two neighbours has a cut of its own, half a kerf outside its edge. At this spacing the far edge of one's
    cut is still twice the char, and no kerf, away from the other piece.
    """
    return math.ceil((kerf_mm + 2 * CHAR_MM) * 10 - 1e-9) / 10
