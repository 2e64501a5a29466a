"""What the thickness of the sheets does to the tuning: the same body from sheets that are a little thinner or thicker.

All that is measured across the layers stays; all that is measured along the stack grows with them: volumes and sections
in proportion, the sides of a section by what the layers grow, a lump of a flat duct the other way. Each case is solved
by the same network as the design.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from kerfwave.acoustics import targets
from kerfwave.acoustics.builds import Sizes
from kerfwave.acoustics.network import responses
from kerfwave.acoustics.spread import highest_at
from kerfwave.model.acoustic import Air, Network
from kerfwave.model.spec import Target

PER_OCTAVE = 24
JUDGED_HZ = (50.0, 300.0)  # where cases are compared with the design


@dataclass(frozen=True, slots=True)
class Case:
    """The body with all layers at one end of what they may be."""

    name: str
    stretch: float  # height between floor and lid, over the design's
    chamber_m3: float
    tuning_hz: float | None  # where the guide holds the cone best; None: a closed box
    level_db: float  # mean in the band, at 1 m
    ripple_db: float
    relief_db: float  # least in the relief range
    excursion_mm: float  # greatest peak from `relief_from_hz` up
    response_db: float  # greatest difference of the response from the design's, 50 to 300 Hz
    response_hz: float  # where
    excursion_percent: float  # greatest difference of the excursion, likewise
    excursion_hz: float


def stretched(network: Network, sizes: Sizes, stretch: float) -> Network:
    """Return the network of a body whose layers are `stretch` times as thick.

    Raises:
        ValueError: for a stretch at which the driver takes up all the air of the chamber.
    """
    chamber = (network.chamber_m3 + sizes.displacement_m3) * stretch - sizes.displacement_m3
    if chamber <= 0.0:
        raise ValueError(f"layers {stretch:g} times as thick leave no air in the chamber")
    wider = 2.0 * sizes.height_m * (stretch - 1.0)
    duct, mouth = network.chamber_duct, network.mouth
    return replace(
        network,
        chamber_m3=chamber,
        guide=tuple(
            replace(
                s,
                area_in_m2=s.area_in_m2 * stretch,
                area_out_m2=s.area_out_m2 * stretch,
                perimeter_in_m=s.perimeter_in_m + wider,
                perimeter_out_m=s.perimeter_out_m + wider,
                extra_inertance_kg_m4=s.extra_inertance_kg_m4 / stretch,
            )
            for s in network.guide
        ),
        mouth=None if mouth is None else replace(mouth, area_m2=mouth.area_m2 * stretch),
        chamber_duct=None
        if duct is None
        else replace(
            duct,
            area_m2=duct.area_m2 * stretch,
            perimeter_m=duct.perimeter_m + wider,
            step_kg_m4=duct.step_kg_m4 / stretch,
        ),
    )


def cases(
    network: Network,
    closed: Network,
    sizes: Sizes,
    stretches: Iterable[tuple[str, float]],
    target: Target,
    air: Air,
    *,
    volts: float,
    space: str,
) -> tuple[Case, ...]:
    """Return what becomes of a design with other layers; the first of the stretches is what others are held against.

    Args:
        network: as designed.
        closed: the closed box of the same size.
        sizes: see there.
        stretches: names, and heights over the design's.
        target: what the figures are read by.
        air: see there.
        volts: r.m.s.
        space: "half" or "full".

    Raises:
        ValueError: see `stretched`.
    """
    named = tuple(stretches)
    f = np.array(sorted({*targets.grid(*JUDGED_HZ, PER_OCTAVE), *targets.target_grid(target, PER_OCTAVE)}))
    mine = [stretched(network, sizes, stretch) for _, stretch in named]
    boxes = [stretched(closed, sizes, stretch) for _, stretch in named]
    both = responses((*mine, *boxes), tuple(float(x) for x in f), air, volts, 1.0, space)
    count = len(named)
    level, excursion = both.spl_db[:count], both.excursion_peak_mm[:count]
    box_excursion = both.excursion_peak_mm[count:]
    figures = targets.judge(
        target, f, level, excursion, both.mouth_velocity_peak_m_s[:count], both.spl_db[count:], box_excursion
    )
    below = f <= target.relief_to_hz * (1 + 1e-9)
    tuning = highest_at(f[below], 20.0 * np.log10(box_excursion / excursion)[:, below])
    judged = (f >= JUDGED_HZ[0] * (1 - 1e-9)) & (f <= JUDGED_HZ[1] * (1 + 1e-9))
    louder = (level - level[0])[:, judged]
    further = (100.0 * (excursion / excursion[0] - 1.0))[:, judged]
    rows = range(count)
    at_level, at_excursion = np.abs(louder).argmax(axis=1), np.abs(further).argmax(axis=1)
    return tuple(
        Case(
            name=named[k][0],
            stretch=named[k][1],
            chamber_m3=mine[k].chamber_m3,
            tuning_hz=float(tuning[k]) if network.mouth else None,
            level_db=float(figures.level_db[k]),
            ripple_db=float(figures.ripple_db[k]),
            relief_db=float(figures.relief_db[k]),
            excursion_mm=float(figures.excursion_mm[k]),
            response_db=float(louder[k, at_level[k]]),
            response_hz=float(f[judged][at_level[k]]),
            excursion_percent=float(further[k, at_excursion[k]]),
            excursion_hz=float(f[judged][at_excursion[k]]),
        )
        for k in rows
    )
