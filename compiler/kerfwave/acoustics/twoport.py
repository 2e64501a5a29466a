"""A stretch of duct as a two-port in closed form: [p1, U1] = [[A, B], [C, D]] [p2, U2].

In all of them `x` is the propagation constant times the length, `specific` the characteristic impedance of the
medium in Pa s/m; for tapers `ratio` is that of the radii, out over in, and `mean` the geometric mean of the areas.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from kerfwave.acoustics.duct import Complex

SMALL = 0.01  # |x| of a taper below which two terms of a series are exact to double precision


@dataclass(frozen=True, slots=True)
class Abcd:
    """A reciprocal two-port (A D - B C = 1). Entries broadcast to (C, F); B in Pa s/m^3, C in m^3/(Pa s)."""

    a: Complex
    b: Complex
    c: Complex
    d: Complex

    def __matmul__(self, other: Abcd) -> Abcd:
        """Return this two-port followed by `other`."""
        return Abcd(
            self.a * other.a + self.b * other.c,
            self.a * other.b + self.b * other.d,
            self.c * other.a + self.d * other.c,
            self.c * other.b + self.d * other.d,
        )


def where(condition: Any, one: Abcd, other: Abcd) -> Abcd:
    """Return the entries of `one` where the condition holds, else those of `other`."""
    return Abcd(*(np.where(condition, getattr(one, name), getattr(other, name)) for name in "abcd"))


def uniform(x: Complex, area: Any, specific: Complex) -> Abcd:
    """Return the two-port of a duct of one section."""
    cosh, sinh = _hyperbolic(x)
    return Abcd(cosh, specific / area * sinh, np.asarray(area) / specific * sinh, cosh)


def exponential(x: Complex, ratio: Any, mean: Any, specific: Complex) -> Abcd:
    """Return the two-port of a horn of the area S1 exp(2 g l).

    Webster's equation is p'' + 2 g p' = gamma^2 p here; its roots are -g +- sqrt(g^2 + gamma^2). Below the cut-off
    the square root is real, at it 0: both are as good as any other place.
    """
    flare = np.log(ratio)
    turn = np.sqrt(x**2 + flare**2)  # of either sign: only even functions of it follow
    cosh, sinh = _hyperbolic(turn)
    sinh_over_turn, _ = _of_taper(turn, cosh, sinh)
    return Abcd(
        ratio * (cosh - flare * sinh_over_turn),
        specific / mean * x * sinh_over_turn,
        mean / specific * x * sinh_over_turn,
        (cosh + flare * sinh_over_turn) / ratio,
    )


def cone(x: Complex, ratio: Any, mean: Any, specific: Complex) -> Abcd:
    """Return the two-port of a cone, written so that nothing is lost to rounding where it hardly tapers."""
    cosh, sinh = _hyperbolic(x)
    sinh_over_x, bow = _of_taper(x, cosh, sinh)
    return Abcd(
        ratio * cosh - (ratio - 1.0) * sinh_over_x,
        specific / mean * sinh,
        mean / specific * (sinh + (ratio - 1.0) ** 2 / ratio * bow),
        (cosh + (ratio - 1.0) * sinh_over_x) / ratio,
    )


def _of_taper(x: Complex, cosh: Complex, sinh: Complex) -> tuple[Complex, Complex]:
    """Return sinh(x) / x and (x cosh(x) - sinh(x)) / x^2, by series where the difference would cancel."""
    small = np.abs(x) < SMALL
    if not small.any():
        inverse = np.reciprocal(x)
        sinh_over_x = sinh * inverse
        return sinh_over_x, (cosh - sinh_over_x) * inverse
    safe = np.where(small, 1.0, x)
    squared = np.where(small, x, 0.0) ** 2
    return (
        np.where(small, 1.0 + squared / 6.0 * (1.0 + squared / 20.0), sinh / safe),
        np.where(small, x / 3.0 * (1.0 + squared / 10.0 * (1.0 + squared / 28.0)), (x * cosh - sinh) / safe**2),
    )


def _hyperbolic(x: Complex) -> tuple[Complex, Complex]:
    """Return cosh and sinh for one exponential's cost; both exact at 0."""
    up: Complex = np.exp(x)
    down: Complex = np.reciprocal(up)
    return 0.5 * (up + down), 0.5 * (up - down)
