"""Which as-built quantities explain the measured impedance: a small bounded least squares on the network itself.

Impedance alone cannot tell everything apart. So each quantity has bounds, and a weak expectation of how far bench and
promise usually lie apart (`QUANTITIES`): where the curve speaks it decides, where it does not the expectation stays,
and so does its width, which the reader sees as the uncertainty.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from kerfwave.measure.impedance import ImpedanceSweep, Real
from kerfwave.measure.promise_model import AsBuilt, Promised, impedances, leak_of

LEAST_SCATTER = 1e-5
TOLERANCES = (1e-4, 1e-6, 1e-8)  # of the rounds in which the scatter is found too
STEP = 1e-6  # of the parameters, for the slopes
WIDEST_CORRELATION = 0.95
NEAR_BOUND = 0.01


@dataclass(frozen=True, slots=True)
class Quantity:
    """One thing that the bench may have made otherwise. Logarithms of factors, but for the leak (1 / QL)."""

    key: str  # field of `AsBuilt`
    expected: float  # how far from the promise, one standard deviation
    low: float
    high: float


QUANTITIES = (
    Quantity("chamber", 0.2, math.log(0.5), math.log(2.0)),
    Quantity("length", 0.1, math.log(0.7), math.log(1.4)),
    Quantity("leak", 0.2, 0.0, 2.0),
    Quantity("fill", 0.7, math.log(0.05), math.log(20.0)),
    Quantity("fs", 0.15, math.log(0.5), math.log(2.0)),
    Quantity("qms", 0.4, math.log(0.2), math.log(5.0)),
    Quantity("re", 0.1, math.log(0.6), math.log(1.6)),
    Quantity("le", 0.7, math.log(0.05), math.log(20.0)),
)


@dataclass(frozen=True, slots=True)
class Explained:
    """The as-built body that comes nearest, and how sure that is."""

    made: AsBuilt
    keys: tuple[str, ...]
    standard: tuple[float, ...]  # of the logarithms of the factors; of 1 / QL itself for the leak
    correlation: tuple[tuple[float, ...], ...]
    residual_percent: float  # of the magnitude, root mean square, that stays unexplained
    together: tuple[tuple[str, str, float], ...]  # pairs that impedance can hardly tell apart
    stuck: tuple[str, ...]  # quantities that ended at a bound: nothing a bench would make explains the curve


def free_quantities(promised: Promised) -> tuple[Quantity, ...]:
    """Return the quantities that this network has: no fibre, nothing to fit of it."""
    network = promised.network
    filled = network.chamber_flow_resistivity_pa_s_m2 > 0.0 or any(
        s.flow_resistivity_pa_s_m2 > 0.0 for s in network.guide
    )
    coil = network.driver.le_h > 0.0 or network.driver.l2_h > 0.0
    there = {"length": bool(network.guide), "fill": filled, "le": coil}
    return tuple(q for q in QUANTITIES if there.get(q.key, True))


def explain(promised: Promised, measured: ImpedanceSweep, reference_hz: float) -> Explained:
    """Return the as-built quantities that bring the network nearest to the measurement.

    Args:
        promised: the network as designed.
        measured: rows within the band in which the network may be believed.
        reference_hz: at which the leak's QL is told.
    """
    quantities = free_quantities(promised)
    frequency, values = np.asarray(measured.frequency_hz), measured.values()
    phase = measured.degrees is not None
    rest = leak_of(promised.network, promised.air, reference_hz)
    centre = np.array([rest if q.key == "leak" else 0.0 for q in quantities])
    expected = np.array([q.expected for q in quantities])
    bounds = np.array([q.low for q in quantities]), np.array([q.high for q in quantities])

    def errors(points: Sequence[Real]) -> list[tuple[Real, Real]]:
        """Return the errors of magnitude and phase of several bodies."""
        models = impedances(promised, [made_of(quantities, p) for p in points], frequency, reference_hz)
        quotients = values / models if phase else np.abs(values) / np.abs(models)
        return [(np.log(np.abs(row)), np.angle(row) if phase else np.zeros(0)) for row in quotients]

    def stacked(point: Real, parts: tuple[Real, Real], weights: tuple[float, float]) -> Real:
        return np.concatenate([parts[0] / weights[0], parts[1] / weights[1], (point - centre) / expected])

    def residuals(point: Real, weights: tuple[float, float]) -> Real:
        return stacked(point, errors([point])[0], weights)

    def slopes(point: Real, weights: tuple[float, float]) -> Real:
        steps = np.where(point + STEP < bounds[1], STEP, -STEP)
        points = [point, *(point + step * unit for step, unit in zip(steps, np.eye(len(point)), strict=True))]
        here, *there = (stacked(p, e, weights) for p, e in zip(points, errors(points), strict=True))
        return np.stack([(one - here) / step for one, step in zip(there, steps, strict=True)], axis=1)

    point = np.clip(centre, bounds[0] + 1e-3, bounds[1] - 1e-3)
    weights = (0.02, 0.02)
    for tolerance in TOLERANCES:
        found = least_squares(
            residuals,
            point,
            slopes,
            bounds=bounds,
            args=(weights,),
            xtol=tolerance,
            ftol=tolerance,
            gtol=1e-12,
            max_nfev=60,
        )
        point = np.clip(found.x, bounds[0] + 1e-9, bounds[1] - 1e-9)
        magnitude, angle = errors([point])[0]
        weights = _scatter(magnitude, angle, len(point))
    return _explained(quantities, point, slopes(point, weights), (magnitude, angle), weights)


def _explained(
    quantities: tuple[Quantity, ...],
    point: Real,
    jacobian: Real,
    left: tuple[Real, Real],
    weights: tuple[float, float],
) -> Explained:
    """Return what a fit that ended at `point` says, and how sure it is.

    `left` are the errors of magnitude and phase there, `jacobian` has their slopes, then those of the beliefs.
    """
    magnitude, angle = left
    wide = _widening(magnitude / weights[0], angle / weights[1])
    data, beliefs = jacobian[: len(magnitude) + len(angle)], jacobian[len(magnitude) + len(angle) :]
    covariance = np.linalg.inv(data.T @ data / wide + beliefs.T @ beliefs)
    standard = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(standard, standard)
    keys = tuple(q.key for q in quantities)
    return Explained(
        made=made_of(quantities, point),
        keys=keys,
        standard=tuple(float(v) for v in standard),
        correlation=tuple(tuple(float(v) for v in row) for row in correlation),
        residual_percent=100.0 * float(np.sqrt(np.mean(magnitude**2))),
        together=tuple(
            (keys[i], keys[j], float(correlation[i, j]))
            for i in range(len(keys))
            for j in range(i + 1, len(keys))
            if abs(correlation[i, j]) > WIDEST_CORRELATION
        ),
        stuck=tuple(
            q.key
            for q, value in zip(quantities, point, strict=True)
            if value > q.high - NEAR_BOUND or (q.key != "leak" and value < q.low + NEAR_BOUND)
        ),
    )


def made_of(quantities: tuple[Quantity, ...], point: Real) -> AsBuilt:
    """Return the factors at a point of the fit."""
    values = {
        q.key: float(value) if q.key == "leak" else math.exp(value) for q, value in zip(quantities, point, strict=True)
    }
    return AsBuilt(**values)


def _scatter(magnitude: Real, angle: Real, parameters: int) -> tuple[float, float]:
    count = len(magnitude) + len(angle)
    raised = math.sqrt(count / max(count - parameters, 1))
    first = max(float(np.sqrt(np.mean(magnitude**2))) * raised, LEAST_SCATTER)
    return first, max(float(np.sqrt(np.mean(angle**2))) * raised, LEAST_SCATTER) if len(angle) else first


def _widening(magnitude: Real, angle: Real) -> float:
    """Return by how much neighbouring residuals that go together widen the covariance; as in `fit`."""
    parts = [part for part in (magnitude, angle) if len(part)]
    below = sum(float(part @ part) for part in parts)
    if below <= 0.0:
        return 1.0
    found = min(sum(float(part[1:] @ part[:-1]) for part in parts) / below, 0.95)
    return (1.0 + found) / (1.0 - found) if found > 2.0 / math.sqrt(sum(map(len, parts))) else 1.0


__all__ = ["QUANTITIES", "Explained", "Quantity", "explain", "free_quantities", "made_of"]
