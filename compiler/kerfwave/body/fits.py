"""Fits by name: how much play a joint is given, on finished sizes (kerf is the tool path's business).

All figures are common practice for plywood cut by a small laser, whose cuts lean a little and whose kerf is known to a
few hundredths. Stack one test joint dry before all of them are glued.

| fit | inset in its seat, each side | hole over dowel, on the diameter |
| --- | --- | --- |
| `press` | 0.00 mm: a few taps of a mallet, holds by itself | 0.00 mm |
| `slide` | 0.10 mm: in and out by hand | 0.10 mm |
| `glue` | 0.15 mm: room for a film of glue | 0.20 mm |
"""

from __future__ import annotations

INSET_MM = {"press": 0.0, "slide": 0.10, "glue": 0.15}
DOWEL_MM = {"press": 0.0, "slide": 0.10, "glue": 0.20}
FLANGE_MM = 0.5  # between the driver's flange and the recess round it, each side: data sheets round (common practice)


def inset_play_mm(fit: str, fit_mm: float | None) -> float:
    """Return the play of an inset, each side: the figure where one is given, else that of the named fit.

    >>> inset_play_mm("slide", None), inset_play_mm("slide", 0.3)
    (0.1, 0.3)
    """
    return INSET_MM[fit] if fit_mm is None else fit_mm
