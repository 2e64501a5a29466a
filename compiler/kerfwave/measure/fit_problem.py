"""The least squares behind a driver fit: parameters, residuals and their exact slopes, covariance.

Parameters are natural logarithms. A residual is ln(measured / model): its real part is the relative error of the
magnitude, its imaginary part the error of the phase in radians. Both are divided by their own scatter, which is
found from the residuals themselves.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from kerfwave.measure.impedance import Complex, Real
from kerfwave.measure.impedance_model import COILS, coil, motion

FAR = 40.0  # of a logarithm from 1 SI unit: nothing at a loudspeaker is e^40
ROUNDS = 3  # of finding the scatter of magnitude and phase
LEAST_SCATTER = 1e-7  # a simulated sweep without noise has none; weights must stay finite
ROUGH, FINE = 1e-4, 1e-8  # of the solver: to choose a model, and to have its parameters
MOST_STEPS = 200
LINEAR = ("l1", "l2", "r2")  # may be next to nothing, where a logarithm says nothing about uncertainty
START_CORNERS_HZ = (600.0, 3000.0, 12000.0)  # of L2 and R2


@dataclass(frozen=True, slots=True)
class Curve:
    """One sweep: `load` says what hung on the driver."""

    load: str  # "free air", "added mass" or "known box"
    omega: Real
    measured: Complex
    has_phase: bool


@dataclass(frozen=True, slots=True)
class Solved:
    """The best parameters of one model."""

    names: tuple[str, ...]
    logs: Real
    covariance: Real  # of the logarithms; of the values themselves for those in `LINEAR`
    cost: float  # sum of the squared residuals, each over its scatter
    count: int  # of residuals
    scatter: tuple[float, float]  # of ln magnitude and of the phase in rad

    def log(self, name: str) -> float:
        """Return one logarithm."""
        return float(self.logs[self.names.index(name)])


def names_of(kind: str, loads: tuple[str, ...]) -> tuple[str, ...]:
    """Return the parameters of a model, in order."""
    names = ["re", "fs", "qms", "qes", *COILS[kind]]
    if "added mass" in loads:
        names += ["mass_ratio", "mass_qms"]  # added / moving mass
    if "known box" in loads:
        names += ["box_ratio", "box_fs", "box_qms"]  # alpha = Vas / Vb
    return tuple(names)


def curve_of(load: str, omega: Real, names: tuple[str, ...], logs: Real) -> tuple[Complex, Complex]:
    """Return the modelled impedance (F,) and its slopes against all parameters (F, P).

    A mass leaves compliance, force factor and coil alone: fs falls and Qes rises by the square root of the ratio of
    masses. A closed box makes the suspension stiffer, and loads the cone with another mass of air, so that its
    resonance and Qes are free but for Small's relation fc Qec = fs Qes (1 + Vas / Vb). The damping is free in both.

    Source: R. H. Small, "Closed-Box Loudspeaker Systems", JAES 20 (1972) 798; from memory.
    """
    at = {name: i for i, name in enumerate(names)}
    value = {name: float(logs[i]) for name, i in at.items()}
    chain = np.zeros((3, len(names)))  # d(ln fs, ln qms, ln qes) of this curve / d parameters
    log_fs, log_qms, log_qes = value["fs"], value["qms"], value["qes"]
    if load == "free air":
        chain[0, at["fs"]] = chain[1, at["qms"]] = chain[2, at["qes"]] = 1.0
    elif load == "added mass":
        ratio = np.exp(value["mass_ratio"])
        half, slope = 0.5 * np.log1p(ratio), 0.5 * ratio / (1.0 + ratio)
        log_fs, log_qms, log_qes = log_fs - half, value["mass_qms"], log_qes + half
        chain[0, at["fs"]] = chain[1, at["mass_qms"]] = chain[2, at["qes"]] = 1.0
        chain[0, at["mass_ratio"]], chain[2, at["mass_ratio"]] = -slope, slope
    else:
        ratio = np.exp(value["box_ratio"])
        log_qes = log_fs + log_qes + np.log1p(ratio) - value["box_fs"]
        log_fs, log_qms = value["box_fs"], value["box_qms"]
        chain[0, at["box_fs"]] = chain[1, at["box_qms"]] = chain[2, at["fs"]] = chain[2, at["qes"]] = 1.0
        chain[2, at["box_fs"]], chain[2, at["box_ratio"]] = -1.0, ratio / (1.0 + ratio)
    moving, slopes = motion(omega, value["re"], log_fs, log_qms, log_qes)
    winding, winding_slopes = coil(omega, {n: value[n] for n in ("l1", "l2", "r2") if n in at})
    re_ohm = np.exp(value["re"])
    jacobian = slopes[:, 1:] @ chain
    jacobian[:, at["re"]] += re_ohm + slopes[:, 0]
    for name, slope_of in winding_slopes.items():
        jacobian[:, at[name]] += slope_of
    return re_ohm + winding + moving, jacobian


def solve(
    kind: str,
    curves: tuple[Curve, ...],
    start: Mapping[str, float],
    *,
    re_given: tuple[float, float] | None = None,
    scatter: tuple[float, float] | None = None,
) -> Solved:
    """Return the least-squares solution of one model from the logarithms in `start`.

    `re_given` is ln of a measured direct-current resistance and its relative uncertainty: one more residual.
    With `scatter` the weights are those; without it they are found in a few rounds.
    """
    names = names_of(kind, tuple(c.load for c in curves))
    logs = np.array([start[name] for name in names], dtype=float)
    weights = scatter or (0.01, 0.01)
    rounds = 1 if scatter else ROUNDS if any(c.has_phase for c in curves) else 2
    for _ in range(rounds):
        logs = _descend(_Once(names, curves, weights, re_given), logs, ROUGH if scatter else FINE)
        if scatter is None:
            weights = _scatter(logs, names, curves)
    residuals, jacobian = _stack(logs, names, curves, weights, re_given)
    units = np.array([np.exp(log) if name in LINEAR else 1.0 for name, log in zip(names, logs, strict=True)])
    covariance = _inverse((jacobian / units).T @ (jacobian / units))
    return Solved(names, logs, covariance, float(residuals @ residuals), len(residuals), weights)


def _inverse(normal: Real) -> Real:
    """Return the inverse of J'J, scaled first: its units differ by many powers of ten."""
    scale = np.sqrt(np.maximum(np.diag(normal), 1e-300))
    return np.asarray(
        np.linalg.pinv(normal / np.outer(scale, scale), rcond=1e-13, hermitian=True) / np.outer(scale, scale)
    )


class _Once:
    """Residuals and slopes at one point, worked out together and once: the solver asks for them one after another."""

    def __init__(
        self,
        names: tuple[str, ...],
        curves: tuple[Curve, ...],
        weights: tuple[float, float],
        re_given: tuple[float, float] | None,
    ) -> None:
        self.problem = (names, curves, weights, re_given)
        self.at: Real | None = None
        self.both = (np.zeros(0), np.zeros((0, 0)))

    def _look(self, logs: Real) -> None:
        if self.at is None or not np.array_equal(self.at, logs):
            self.at, self.both = logs.copy(), _stack(logs, *self.problem)

    def residuals(self, logs: Real) -> Real:
        self._look(logs)
        return self.both[0]

    def slopes(self, logs: Real) -> Real:
        self._look(logs)
        return self.both[1]


def _descend(problem: _Once, start: Real, tolerance: float) -> Real:
    """Return the logarithms at the least sum of squares (Levenberg and Marquardt, as MINPACK has it)."""
    found = least_squares(
        problem.residuals,
        start,
        jac=problem.slopes,
        method="lm",
        xtol=tolerance,
        ftol=tolerance,
        gtol=1e-15,
        max_nfev=MOST_STEPS,
    )
    return np.asarray(np.clip(found.x, -FAR, FAR))


def errors(curve: Curve, names: tuple[str, ...], logs: Real) -> tuple[Complex, Complex, Complex]:
    """Return ln(measured / model), its slopes, and the model."""
    model, slopes = curve_of(curve.load, curve.omega, names, logs)
    if not curve.has_phase:
        magnitude = np.log(np.abs(curve.measured) / np.abs(model)).astype(complex)
        return magnitude, -slopes / model[:, np.newaxis], model
    quotient = curve.measured / model
    return np.log(np.abs(quotient)) + 1j * np.angle(quotient), -slopes / model[:, np.newaxis], model


def _stack(
    logs: Real,
    names: tuple[str, ...],
    curves: tuple[Curve, ...],
    weights: tuple[float, float],
    re_given: tuple[float, float] | None,
) -> tuple[Real, Real]:
    rows, slopes = [], []
    with np.errstate(all="ignore"):  # a trial step may go anywhere; what comes back is clipped
        for curve in curves:
            error, slope, _ = errors(curve, names, np.clip(logs, -FAR, FAR))
            rows.append(error.real / weights[0])
            slopes.append(slope.real / weights[0])
            if curve.has_phase:
                rows.append(error.imag / weights[1])
                slopes.append(slope.imag / weights[1])
    if re_given is not None:
        rows.append(np.array([(logs[0] - re_given[0]) / re_given[1]]))
        slopes.append(np.eye(1, len(names)) / re_given[1])
    return np.concatenate(rows), np.concatenate(slopes)


def _scatter(logs: Real, names: tuple[str, ...], curves: tuple[Curve, ...]) -> tuple[float, float]:
    """Return the root mean square of both kinds of residual, raised for the parameters that were fitted."""
    all_errors = [(errors(c, names, logs)[0], c.has_phase) for c in curves]
    magnitude = np.concatenate([e.real for e, _ in all_errors])
    phase = np.concatenate([e.imag for e, has in all_errors if has] or [np.zeros(0)])
    count = len(magnitude) + len(phase)
    raised = np.sqrt(count / max(count - len(names), 1))
    first = max(float(np.sqrt(np.mean(magnitude**2))) * raised, LEAST_SCATTER)
    return first, max(float(np.sqrt(np.mean(phase**2))) * raised, LEAST_SCATTER) if len(phase) else first
