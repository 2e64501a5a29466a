"""A driver, a target and a few bodies of our own invention, for the tests of the search."""

from __future__ import annotations

import numpy as np

from kerfwave.acoustics import sizing
from kerfwave.acoustics.air import air
from kerfwave.acoustics.driver import complete
from kerfwave.model.acoustic import GuideRun
from kerfwave.model.spec import Driver, Target

AIR = air()
DRIVER = complete(Driver("invented", 105, 22, 3.6, 74, 60, 67, 38, 3, 10, qms=3.0, qes=0.7, vas_l=1.0, le_mh=0.1), AIR)
TARGET = Target(100, 700, 78, 8, 70, 200, 0.1, 70, 1.0)


def guide(length: float, width: float) -> tuple[GuideRun, ...]:
    lanes = length / 3
    return (
        GuideRun("lane 1", lanes, width, width, 0.084),
        GuideRun("bend 1", np.pi * (width + 0.006) / 2, width, width, 0.084, 180.0, 0.003),
        GuideRun("lane 2", lanes, width, width, 0.084),
        GuideRun("bend 2", np.pi * (width + 0.006) / 2, width, width, 0.084, 180.0, 0.003),
        GuideRun("lane 3", lanes, width, width, 0.084),
    )


CANDIDATES = tuple(
    sizing.Candidate(label, 14, chamber * 1e-3, 2.2e-3, guide(length, width))
    for label, (chamber, length, width) in enumerate(
        [(0.6, 0.7, 0.022), (0.8, 0.6, 0.019), (1.2, 0.3, 0.018), (0.5, 0.5, 0.03)]
    )
)


def sized(target: Target = TARGET, candidates=CANDIDATES, **more) -> sizing.Sizing:
    told = {"volts": 2.0, "setting": sizing.TIGHT, "excursion_limit_mm": 3.0} | more
    return sizing.size(candidates, DRIVER, target, AIR, **told)
