"""Spread: how far finished speakers stray from this design, and which promises they still keep."""

from __future__ import annotations

from dataclasses import dataclass

from kerfwave.acoustics import targets
from kerfwave.acoustics.builds import Sizes, Tolerances, sheet_deviation_mm
from kerfwave.acoustics.spread import Spread, spread
from kerfwave.model.acoustic import Network
from kerfwave.model.parts import Check
from kerfwave.model.spec import Driver, Listening, Target

PER_OCTAVE = 24
OFTEN = 0.8  # of the builds should keep the target


@dataclass(frozen=True, slots=True)
class Strayed:
    """What comes out of many builds, and what was varied for it."""

    spread: Spread
    tolerances: Tolerances
    checks: tuple[Check, ...]


def run(
    network: Network,
    closed: Network,
    inner_layers: int,
    thickness_mm: float,
    driver: Driver,
    target: Target,
    measured_mm: tuple[float, ...],
    label_mm: float,
    volts: float,
    listening: Listening,
) -> Strayed:
    """Run the stage."""
    stated = driver.tolerance_percent
    tolerances = Tolerances(
        fs_percent=stated.fs,
        vas_percent=stated.vas,
        qes_percent=stated.qes,
        re_percent=stated.re,
        sheet_mm=sheet_deviation_mm(measured_mm, label_mm),
    )
    found = spread(
        network,
        closed,
        Sizes(inner_layers * thickness_mm * 1e-3, thickness_mm * 1e-3, driver.displacement_cm3 * 1e-6),
        tolerances,
        target,
        excursion_limit_mm=target.excursion_mm or driver.xmax_mm,
        frequency_hz=targets.grid(targets.LEAST_FREQUENCY_HZ, targets.MOST_FREQUENCY_HZ, PER_OCTAVE),
        volts=volts,
        distance_m=listening.distance_m,
        space=listening.space,
    )
    return Strayed(found, tolerances, (_check(found),))


def _check(found: Spread) -> Check:
    text = f"of {found.draws} speakers built to this design, {round(found.kept * found.draws)} keep the whole target"
    missed = [f for f in found.figures if f.kept is not None and f.kept < OFTEN]
    if missed:
        worst = min(missed, key=lambda f: (f.kept, f.name))
        cause = f", which hangs most on {' and '.join(name for name, _ in worst.shares[:2])}" if worst.shares else ""
        text += f"; what they miss most is the {worst.name}{cause}"
    return Check("spread", "ok" if found.kept >= OFTEN else "warn", text, round(found.kept, 3), OFTEN)
