"""The peaks and dips of an impedance curve, each placed by a local quadratic with its uncertainty."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import find_peaks

from kerfwave.measure.fit_start import smooth
from kerfwave.measure.impedance import ImpedanceSweep, Real

LEAST_PROMINENCE = 0.04  # of ln |Z|: what stands out by less than 4 % is not counted
WIDEST = np.log(2.0) / 6.0  # half-width of the window: a sixth of an octave
SHARE = 0.35  # ... or this share of the distance to the next extremum
LEAST_POINTS = 6
ROUNDS = 3
MATCH_OCTAVES = 0.5


@dataclass(frozen=True, slots=True)
class Extremum:
    """One peak or dip: where, with its standard uncertainty, and how many ohm."""

    kind: str  # "peak" or "dip"
    hz: float
    standard_hz: float
    ohm: float
    prominence: float  # of ln |Z|: by how much it stands out


def extrema(sweep: ImpedanceSweep) -> tuple[Extremum, ...]:
    """Return the peaks and dips in order of frequency.

    ln |Z| against ln f is fitted by a parabola in a window round each; the vertex is the place, and its uncertainty
    follows from the scatter about the parabola.
    """
    grid, level = smooth(sweep)
    rough = []
    for kind, sign in (("peak", 1.0), ("dip", -1.0)):  # a dip stands out by what rises on both its sides
        places, about = find_peaks(sign * level, prominence=LEAST_PROMINENCE)
        rough += [(float(grid[i]), kind, float(p)) for i, p in zip(places, about["prominences"], strict=True)]
    rough.sort()
    x, y = np.log(np.asarray(sweep.frequency_hz)), np.log(np.asarray(sweep.ohm))
    found = []
    for i, (place, kind, prominence) in enumerate(rough):
        gaps = [abs(rough[j][0] - place) for j in (i - 1, i + 1) if 0 <= j < len(rough)]
        vertex = _vertex(x, y, place, min([WIDEST, *(SHARE * gap for gap in gaps)]), kind, prominence)
        if vertex is not None:
            found.append(vertex)
    return tuple(found)


def _vertex(x: Real, y: Real, place: float, half: float, kind: str, prominence: float) -> Extremum | None:
    """Return the vertex of the parabola through the points near `place`, None where there are too few."""
    centre = place
    for _ in range(ROUNDS):
        near = np.argsort(np.abs(x - centre), kind="stable")
        count = max(int((np.abs(x - centre) <= half).sum()), LEAST_POINTS)
        if len(x) < LEAST_POINTS or np.abs(x[near[LEAST_POINTS - 1]] - centre) > 2.0 * WIDEST:
            return None
        use = np.sort(near[:count])
        u = x[use] - centre
        matrix = np.stack([np.ones_like(u), u, u**2], axis=1)
        (level, slope, bow), *_ = np.linalg.lstsq(matrix, y[use], rcond=None)
        if (bow < 0.0) != (kind == "peak") or bow == 0.0:
            return None
        shift = float(-slope / (2.0 * bow))
        if abs(shift) > 2.0 * half:
            return None
        centre += shift
    residual = y[use] - matrix @ np.array([level, slope, bow])
    variance = float(residual @ residual) / max(len(use) - 3, 1)
    covariance = variance * np.linalg.inv(matrix.T @ matrix)
    lever = np.array([0.0, -1.0 / (2.0 * bow), slope / (2.0 * bow**2)])
    standard = float(np.sqrt(max(lever @ covariance @ lever, 0.0)))
    hz = float(np.exp(centre))
    return Extremum(kind, hz, hz * standard, float(np.exp(level + slope * shift + bow * shift**2)), prominence)


def matched(
    promised: tuple[Extremum, ...], measured: tuple[Extremum, ...]
) -> tuple[tuple[Extremum, Extremum | None], ...]:
    """Return each promised extremum with the nearest measured one of its kind, None if none is within half an octave.

    No measured one is used twice: of two that want it, the nearer one has it.
    """
    wishes = sorted(
        (abs(np.log2(m.hz / p.hz)), i, j)
        for i, p in enumerate(promised)
        for j, m in enumerate(measured)
        if p.kind == m.kind
    )
    partner: dict[int, int] = {}
    for apart, i, j in wishes:
        if apart <= MATCH_OCTAVES and i not in partner and j not in partner.values():
            partner[i] = j
    return tuple((p, measured[partner[i]] if i in partner else None) for i, p in enumerate(promised))
