"""What the air outside does to an opening."""

from __future__ import annotations

from typing import Any

import numpy as np

from kerfwave.acoustics.duct import Complex
from kerfwave.model.acoustic import Air

END_OF_FIT = 3.5  # of ka, for both fits: the plane wave loses its monopoly in the pipe at 3.83
ENDS = ("flanged", "free", "near-wall")
SOLID_ANGLE = {"half": 2.0 * np.pi, "full": 4.0 * np.pi}


def mouth_impedance(area_m2: Any, end: str, omega: Any, air: Air, wall_m: Any = 0.0) -> Complex:
    """Return the acoustic radiation impedance of a pipe's open end, Pa s/m^3.

    Args:
        area_m2: of the opening; one that is not round counts as a circle of the same area.
        end: "flanged": in a large flat wall; "free": a thin pipe in the open; "near-wall": flanged by a large face
            that meets a wall at right angles, which the mouth's mirror image behind that wall stands for.
        omega: angular frequency, rad/s; broadcast against the area.
        air: the medium.
        wall_m: "near-wall" only: from the mouth's centre to the wall.

    From ka = 3.5 up the impedance stays what it is there, within 21 % of density c / area: so little comes back from
    the mouth that no resonance of any use lies so high.

    Raises:
        ValueError: for another kind of end, or "near-wall" without a distance.

    Sources: flanged: A. N. Norris and I. C. Sheng, J. Sound Vib. 135 (1989) 85; free: H. Levine and J. Schwinger,
    Phys. Rev. 73 (1948) 383, fit by R. Causse et al., JASA 75 (1984) 241.
    """
    if end not in ENDS:
        raise ValueError(f"mouth end is {end!r}; it must be 'flanged', 'free' or 'near-wall'")
    if end == "near-wall":
        if not (np.asarray(wall_m) > 0.0).all():
            raise ValueError("a mouth near a wall must say how near: wall_m above 0")
        alone = mouth_impedance(area_m2, "flanged", omega, air)
        image = coupling(2.0 * np.asarray(wall_m, dtype=float), 2.0 * _radius(area_m2), omega, air)
        return alone + alone.real * image
    area = np.asarray(area_m2, dtype=float)
    ka = np.minimum(np.asarray(omega, dtype=float) / air.speed * np.sqrt(area / np.pi), END_OF_FIT)
    magnitude, correction = end_reflection(ka, end)
    reflection = -magnitude * np.exp(-2j * ka * correction)
    return np.asarray(air.density * air.speed / area * (1.0 + reflection) / (1.0 - reflection))


def loads_of_two(
    spacing_m: Any,
    front_area_m2: Any,
    mouth_area_m2: Any,
    mouth_end: str,
    omega: Any,
    air: Air,
    space: str,
    wall_m: Any = 0.0,
    cone_wall_m: Any = 0.0,
) -> tuple[Complex, Complex, Complex]:
    """Return what the air does to a cone and a mouth that hear each other: own load of the cone, mutual, of the mouth.

    Mutual is the pressure on one per volume velocity of the other, Pa s/m^3, either way round (`coupling`). The
    cone's own load is its resistance only, as the mass is part of Mms. With a mouth "near-wall" the cone has an image
    behind that wall too. The matrix of the three has a positive semidefinite
    real part: two sources never give out more than they are given.

    Args:
        spacing_m: between the centres.
        front_area_m2: of the cone.
        mouth_area_m2: of the mouth.
        mouth_end: as `mouth_impedance` has it.
        omega: angular frequency, rad/s; broadcast against the rest.
        air: the medium.
        space: "half": the cone is in a large wall; "full": in the open.
        wall_m: as `mouth_impedance` has it.
        cone_wall_m: from the cone's centre to that wall; 0: as far as the mouth.

    Raises:
        ValueError: if `space` is neither, and as `mouth_impedance`.
    """
    if space not in SOLID_ANGLE:
        raise ValueError(f"space is {space!r}; it must be 'half' or 'full'")
    front = mouth_impedance(front_area_m2, "flanged" if space == "half" else "free", omega, air).real
    mouth = mouth_impedance(mouth_area_m2, mouth_end, omega, air, wall_m)
    alone = mouth if mouth_end != "near-wall" else mouth_impedance(mouth_area_m2, "flanged", omega, air)
    touching = _radius(front_area_m2) + _radius(mouth_area_m2)
    between = coupling(spacing_m, touching, omega, air)
    if mouth_end == "near-wall":
        near = np.asarray(wall_m, dtype=float)
        cone = np.where(np.asarray(cone_wall_m) > 0.0, cone_wall_m, near)
        # Of two places so far apart the one is so far from the other's image: seen along the wall both are as far.
        apart = np.maximum(np.asarray(spacing_m, dtype=float), np.abs(cone - near))
        images = coupling(np.sqrt(apart**2 + 4.0 * cone * near), touching, omega, air)
        between = coupling(apart, touching, omega, air) + images
        own = 1.0 + coupling(2.0 * cone, 2.0 * _radius(front_area_m2), omega, air).real
    else:
        own = np.ones_like(front)
    return (front * own).astype(complex), np.sqrt(front * alone.real) * between, mouth


def coupling(spacing_m: Any, touching_m: Any, omega: Any, air: Air) -> Complex:
    """Return the mutual impedance of two small sources over the geometric mean of their resistances: h0(kd).

    sin(kd) / kd + j cos(kd) / kd: for two openings in one wall, where each has the resistance omega^2 density /
    (2 pi c), that is j omega density / (2 pi d) exp(-j k d). Its real part is at most 1, which is why nothing built
    on it can be active. Openings nearer than `touching_m` act on each other's mass as if they touched.

    Source: R. L. Pritchard, "Mutual acoustic impedance between radiators in an infinite rigid plane", JASA 32
    (1960) 730, leading term.
    """
    k = np.asarray(omega, dtype=float) / air.speed
    true = k * np.asarray(spacing_m, dtype=float)
    apart = k * np.maximum(np.asarray(spacing_m, dtype=float), touching_m)
    return np.asarray(np.sinc(true / np.pi) + 1j * np.cos(apart) / apart)


def _radius(area_m2: Any) -> Any:
    return np.sqrt(np.asarray(area_m2, dtype=float) / np.pi)


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
    from scipy.special import j1, struve

    x = 2.0 * np.asarray(ka, dtype=float)
    safe = np.where(x == 0.0, 1.0, x)
    value = 1.0 - 2.0 * j1(safe) / safe + 2j * struve(1, safe) / safe
    return np.asarray(np.where(x == 0.0, 0.0, value))
