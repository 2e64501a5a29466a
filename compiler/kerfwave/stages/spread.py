"""Spread: how far finished speakers stray from this design, and which promises they still keep."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from kerfwave.acoustics import targets
from kerfwave.acoustics.air import air as air_at
from kerfwave.acoustics.builds import CALLIPER_MM, Sizes, Tolerances, sheet_deviation_mm
from kerfwave.acoustics.spread import Spread, spread
from kerfwave.acoustics.thickness import Case, cases
from kerfwave.body.rules import LayerCount
from kerfwave.model.acoustic import Network
from kerfwave.model.kinds import Kind, range_mm
from kerfwave.model.parts import Check
from kerfwave.model.spec import Driver, Listening, Target

PER_OCTAVE = 24
OFTEN = 0.8  # of the builds should keep the target


@dataclass(frozen=True, slots=True)
class Range:
    """How thin and how thick the sheets of one kind may be."""

    name: str
    layers: int  # of one body
    low_mm: float
    high_mm: float
    source: str  # "stated", "measured" or "assumed"


@dataclass(frozen=True, slots=True)
class Thickness:
    """What the thickness of the sheets does to the design; heights and cases go together, the design first."""

    kinds: tuple[Range, ...]
    inside_mm: tuple[float, ...]  # height between floor and lid
    stack_mm: tuple[float, ...]
    cases: tuple[Case, ...]


@dataclass(frozen=True, slots=True)
class Strayed:
    """What comes out of many builds, and what was varied for it."""

    spread: Spread
    tolerances: Tolerances
    checks: tuple[Check, ...]
    thickness: Thickness


def run(
    network: Network,
    closed: Network,
    counts: LayerCount,
    kinds: tuple[Kind, ...],
    driver: Driver,
    target: Target,
    volts: float,
    listening: Listening,
) -> Strayed:
    """Run the stage."""
    stated = driver.tolerance_percent
    inner = range(counts.floor, counts.floor + counts.inner)
    sheet_mm = counts.inner_mm / counts.inner  # on average
    sizes = Sizes(counts.inner_mm * 1e-3, sheet_mm * 1e-3, driver.displacement_cm3 * 1e-6)
    # Layers of one kind are off the same way, those of different kinds each their own.
    off = [sum(counts.kinds[i] == k for i in inner) * _deviation_mm(kind) for k, kind in enumerate(kinds)]
    tolerances = Tolerances(
        fs_percent=stated.fs,
        vas_percent=stated.vas,
        qes_percent=stated.qes,
        re_percent=stated.re,
        sheet_mm=math.hypot(*off) / counts.inner,
    )
    found = spread(
        network,
        closed,
        sizes,
        tolerances,
        target,
        excursion_limit_mm=target.excursion_mm or driver.xmax_mm,
        frequency_hz=targets.grid(targets.LEAST_FREQUENCY_HZ, targets.MOST_FREQUENCY_HZ, PER_OCTAVE),
        volts=volts,
        distance_m=listening.distance_m,
        space=listening.space,
    )
    thick = _thickness(network, closed, sizes, counts, kinds, target, volts, listening.space)
    return Strayed(found, tolerances, (_check(found),), thick)


def _deviation_mm(kind: Kind) -> float:
    """Return the standard deviation of the thickness of a kind of sheet; of a stated tolerance half of it."""
    stock = kind.stock
    if stock.tolerance_mm is not None:
        return max(CALLIPER_MM, stock.tolerance_mm / 2)
    return sheet_deviation_mm(stock.measured_mm, stock.thickness_mm)


def _thickness(
    network: Network,
    closed: Network,
    sizes: Sizes,
    counts: LayerCount,
    kinds: tuple[Kind, ...],
    target: Target,
    volts: float,
    space: str,
) -> Thickness:
    """Return what the design becomes with all layers as thin, and as thick, as their sheets may be."""
    used = sorted({*counts.kinds})
    ranges = {k: range_mm(kinds[k]) for k in used}
    inside = counts.kinds[counts.floor : counts.floor + counts.inner]

    def height(thick: Mapping[int, float], layers: tuple[int, ...]) -> float:
        return round(math.fsum(thick[k] for k in layers), 3)

    ends = {
        "as measured": {k: kinds[k].thickness_mm for k in used},
        "thinnest": {k: ranges[k][0] for k in used},
        "thickest": {k: ranges[k][1] for k in used},
        "as on the label": {k: kinds[k].stock.thickness_mm for k in used},
    }
    # With a small chamber and sheets that nobody measured, the thinnest may leave the driver no air at all.
    most = sizes.displacement_m3 / (network.chamber_m3 + sizes.displacement_m3)
    ends = {name: thick for name, thick in ends.items() if height(thick, inside) / counts.inner_mm > 1.01 * most}
    stretches = tuple((name, height(thick, inside) / counts.inner_mm) for name, thick in ends.items())
    return Thickness(
        kinds=tuple(
            Range(
                kinds[k].stock.name,
                counts.kinds.count(k),
                round(ranges[k][0], 3),
                round(ranges[k][1], 3),
                ranges[k][2],
            )
            for k in used
        ),
        inside_mm=tuple(height(thick, inside) for thick in ends.values()),
        stack_mm=tuple(height(thick, counts.kinds) for thick in ends.values()),
        cases=cases(network, closed, sizes, stretches, target, air_at(), volts=volts, space=space),
    )


def _check(found: Spread) -> Check:
    text = f"of {found.draws} speakers built to this design, {round(found.kept * found.draws)} keep the whole target"
    missed = [f for f in found.figures if f.kept is not None and f.kept < OFTEN]
    if missed:
        worst = min(missed, key=lambda f: (f.kept, f.name))
        cause = f", which hangs most on {' and '.join(name for name, _ in worst.shares[:2])}" if worst.shares else ""
        text += f"; what they miss most is the {worst.name}{cause}"
    return Check("spread", "ok" if found.kept >= OFTEN else "warn", text, round(found.kept, 3), OFTEN)
