"""Sound in a narrow duct: friction and heat conduction at its walls, or fibre that fills it.

Everything broadcasts: areas and perimeters of C ducts as arrays of shape (C, 1), angular frequencies of shape
(F,). The wall functions are exact; the wide-duct form of the rectangle leaves out terms below 1e-7 only.
"""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from kerfwave.acoustics.porous import filled, miki
from kerfwave.model.acoustic import Air

Real: TypeAlias = NDArray[np.float64]
Complex: TypeAlias = NDArray[np.complex128]

SQUARE = 4.0  # perimeter / sqrt(area); 2 sqrt(pi) = 3.545 for a circle, more than 4 for any other rectangle
WIDE = 12.0  # boundary layers across half the narrow side, from which on opposite walls do not see each other
TERMS = 48  # of the single series; the remainder is below 1e-8 of the sum


def series_and_shunt(
    area: Any, perimeter: Any, air: Air, omega: Any, flow_resistivity: Any = 0.0
) -> tuple[Complex, Complex]:
    """Return series impedance (Pa s/m^4) and shunt admittance (m^2/(Pa s)) per metre of duct.

    Args:
        area: m^2.
        perimeter: m; with the area it fixes the sides of a rectangle, and below that of a square the duct counts
            as circular, with the perimeter's hydraulic radius 2 A / P.
        air: the medium; a viscosity of 0 leaves out all loss.
        omega: angular frequency, rad/s.
        flow_resistivity: Pa s/m^2 of the fibre inside; 0: none.

    Sources: rectangle M. R. Stinson, JASA 89 (1991) 550; circle C. Zwikker and C. W. Kosten, "Sound Absorbing
    Materials" (1949); fibre see `porous.miki`.
    """
    gamma, specific = propagation(area, perimeter, air, omega, flow_resistivity)
    return gamma * specific / area, gamma * np.asarray(area) / specific


def propagation(
    area: Any, perimeter: Any, air: Air, omega: Any, flow_resistivity: Any = 0.0
) -> tuple[Complex, Complex]:
    """Return propagation constant (1/m) and specific characteristic impedance (Pa s/m) of a duct.

    Parameters as `series_and_shunt`, whose square roots of product and quotient these are (the latter times the
    area).

    Raises:
        ValueError: if a perimeter is too short to enclose its area, or a flow resistivity is negative.
    """
    area, perimeter, omega = np.asarray(area, float), np.asarray(perimeter, float), np.asarray(omega, float)
    flow_resistivity = np.asarray(flow_resistivity, float)
    fibre = filled(flow_resistivity)
    if fibre.all():
        impedance, wavenumber = miki(omega, flow_resistivity, air)
        return 1j * wavenumber, impedance
    gamma, specific = _open_duct(area, perimeter, air, omega)
    if fibre.any():
        impedance, wavenumber = miki(omega, np.where(fibre, flow_resistivity, 1.0), air)
        gamma, specific = np.where(fibre, 1j * wavenumber, gamma), np.where(fibre, impedance, specific)
    return np.asarray(gamma), np.asarray(specific)


def _open_duct(area: Real, perimeter: Real, air: Air, omega: Real) -> tuple[Complex, Complex]:
    if air.viscosity > 0.0:
        s = np.sqrt(1j * omega * (air.density / air.viscosity))
        inertia = 1.0 / (1.0 - wall_function(area, perimeter, s))
        spring = 1.0 + (air.gamma - 1.0) * wall_function(area, perimeter, s * np.sqrt(air.prandtl))
    else:
        inertia = spring = np.ones(np.broadcast_shapes(area.shape, omega.shape), complex)
    slowness: Complex = np.sqrt(inertia * spring)
    return (1j / air.speed) * omega * slowness, np.asarray(air.density * air.speed * (slowness / spring))


def wall_function(area: Any, perimeter: Any, s: Complex) -> Complex:
    """Return F, the share of the flow (or of the heat) that the walls hold back, averaged over the section.

    `s` is the reciprocal complex depth of the boundary layer in 1/m: sqrt(j omega density / viscosity), times
    sqrt(Prandtl number) for heat. In series impedance j omega density / area / (1 - F); in shunt admittance
    j omega area / (density c^2) (1 + (gamma - 1) F).
    """
    area, perimeter = np.asarray(area, float), np.asarray(perimeter, float)
    shape = perimeter / np.sqrt(area)
    if (shape < 2.0 * np.sqrt(np.pi) * (1.0 - 1e-6)).any():
        raise ValueError("a perimeter is too short to enclose its area")
    # Wide rectangle, the limit of the series below: the four walls, less what the corners count twice.
    # The error falls as exp(-sqrt(2) |s| side / 2).
    result: Complex = (perimeter / area) / s - (16.0 / np.pi / area) / s**2
    circular = shape < SQUARE * (1.0 - 1e-6)
    short = _short_half_side(area, perimeter)
    odd = circular | (short * np.abs(s) < WIDE)
    if odd.any():
        result = np.array(np.broadcast_to(result, odd.shape))
        _replace(result, odd & circular, _circle, 2.0 * area / perimeter, s)
        _replace(result, odd & ~circular, _rectangle, short, area / (4.0 * short), s)
    return result


def _short_half_side(area: Real, perimeter: Real) -> Real:
    half = perimeter / 4.0
    root = np.sqrt(np.maximum(half**2 - area, 0.0))
    return area / (2.0 * (half + root))  # w h / (2 h): no cancellation for a slit


def _replace(result: Complex, where: NDArray[np.bool_], function: Any, *arguments: Any) -> None:
    if where.any():
        result[where] = function(*(np.broadcast_to(x, where.shape)[where] for x in arguments))


def _circle(radius: Real, s: Complex) -> Complex:
    from scipy.special import ive

    z = s * radius
    return np.asarray(2.0 * ive(1, z) / (z * ive(0, z)))


def _rectangle(a: Real, b: Real, s: Complex) -> Complex:
    """Stinson's double series with one of its sums done in closed form; `a` and `b` are half sides, a <= b."""
    q = s**2
    total = np.zeros_like(s)
    for m in range(TERMS):
        alpha_squared = ((m + 0.5) * np.pi / a) ** 2
        kappa = np.sqrt(alpha_squared + q)
        total += np.tanh(kappa * b) / (alpha_squared * (alpha_squared + q) * kappa)
    return np.asarray(np.tanh(s * a) / (s * a) + 2.0 * q / (a**2 * b) * total)
