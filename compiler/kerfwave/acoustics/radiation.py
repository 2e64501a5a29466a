"""What the air outside does to an opening."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.special import j1, struve

from kerfwave.acoustics.duct import Complex
from kerfwave.model.acoustic import Air

END_OF_FIT = 3.5  # of ka, for both fits: the plane wave loses its monopoly in the pipe at 3.83
ENDS = ("flanged", "free")


def mouth_impedance(area_m2: Any, end: str, omega: Any, air: Air) -> Complex:
    """Return the acoustic radiation impedance of a pipe's open end, Pa s/m^3.

    Args:
        area_m2: of the opening; one that is not round counts as a circle of the same area.
        end: "flanged": in a large flat wall; "free": a thin pipe in the open.
        omega: angular frequency, rad/s; broadcast against the area.
        air: the medium.

    From ka = 3.5 up the impedance stays what it is there, within 21 % of density c / area: so little comes back from
    the mouth that no resonance of any use lies so high.

    Raises:
        ValueError: for another kind of end.

    Sources: flanged: A. N. Norris and I. C. Sheng, J. Sound Vib. 135 (1989) 85; free: H. Levine and J. Schwinger,
    Phys. Rev. 73 (1948) 383, fit by R. Causse et al., JASA 75 (1984) 241.
    """
    if end not in ENDS:
        raise ValueError(f"mouth end is {end!r}; it must be 'flanged' or 'free'")
    area = np.asarray(area_m2, dtype=float)
    ka = np.minimum(np.asarray(omega, dtype=float) / air.speed * np.sqrt(area / np.pi), END_OF_FIT)
    magnitude, correction = end_reflection(ka, end)
    reflection = -magnitude * np.exp(-2j * ka * correction)
    return np.asarray(air.density * air.speed / area * (1.0 + reflection) / (1.0 - reflection))


def end_reflection(ka: Any, end: str) -> tuple[Any, Any]:
    """Return the magnitude of the pressure reflected at an open end and its length correction over the radius."""
    x = np.asarray(ka, dtype=float)
    if end == "flanged":
        magnitude = (1.0 + 0.323 * x - 0.077 * x**2) / (1.0 + 0.323 * x + 0.923 * x**2)
        return magnitude, 0.8216 / (1.0 + (0.77 * x) ** 2 / (1.0 + 0.77 * x))
    magnitude = (1.0 + 0.2 * x - 0.084 * x**2) / (1.0 + 0.2 * x + 0.416 * x**2)
    return magnitude, 0.6133 * ((1.0 + 0.044 * x**2) / (1.0 + 0.19 * x**2) - 0.02 * np.sin(2.0 * x) ** 2)


def piston_impedance(ka: Any) -> Complex:
    """Return the radiation impedance of a rigid round piston in an infinite baffle, over density c / area.

    Source: Rayleigh; L. E. Kinsler et al., "Fundamentals of Acoustics": 1 - 2 J1(x) / x + j 2 H1(x) / x with
    x = 2 ka and the Struve function H1. Zero at ka = 0.
    """
    x = 2.0 * np.asarray(ka, dtype=float)
    safe = np.where(x == 0.0, 1.0, x)
    value = 1.0 - 2.0 * j1(safe) / safe + 2j * struve(1, safe) / safe
    return np.asarray(np.where(x == 0.0, 0.0, value))
