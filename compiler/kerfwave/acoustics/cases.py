"""The kinds of enclosure that are one network with other segments, and how long their ducts are.

Plain arithmetic, so that checking a spec does not wait for numpy.
"""

from __future__ import annotations

import math

from kerfwave.model.acoustic import Air

CASES = ("chamber-and-guide", "vented", "quarter-wave", "closed")
WAVE_SHARE = 8.0  # a duct shorter than an eighth of the wave acts as a lump of air, not as a guide (common practice)
QUARTER_SHARE = 0.8  # of a quarter of the wave: what chamber and fibre add to a line's length is about the rest
SMALLEST_CHAMBER = 1.25  # a quarter-wave line's chamber, over the smallest one that can be had


def duct_length_m(case: str, relief_from_hz: float, air: Air) -> tuple[float, float]:
    """Return the least and the greatest length of the duct, infinity for no limit, (0, 0) for a closed box.

    Args:
        case: one of `CASES`.
        relief_from_hz: the lowest frequency that the duct is there for; its wave is the measure.
        air: the medium.

    Raises:
        ValueError: for another case.
    """
    wave = air.speed / relief_from_hz
    if case == "chamber-and-guide":
        return wave / WAVE_SHARE, math.inf
    if case == "vented":
        return 0.0, wave / WAVE_SHARE
    if case == "quarter-wave":
        return QUARTER_SHARE * wave / 4.0, math.inf
    if case == "closed":
        return 0.0, 0.0
    raise ValueError(f"case is {case!r}; it must be one of {', '.join(CASES)}")
