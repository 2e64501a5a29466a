"""What arrives at the listener: cone and mouth at their true places, the edges of the front, the wall behind.

Everything is seen from the front: u to the right, v up, w from the front towards the listener, the driver's centre at
the origin. In half space the body hangs on a wall that its back touches; the wall's doing is that of a second body
behind it, seen in a mirror. Or it is let into the wall, and its front has no edges at all.

An opening in the front sounds as `diffraction` has it: 2 - E forwards, and E backwards, which the wall returns. An
opening in any other face sounds the same to all sides, but for the beam of its own size, and so does its mirror image;
what the body itself shades or turns is left out for it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from kerfwave.acoustics.circuit import Solution, voice_coil_impedance
from kerfwave.acoustics.diffraction import edge_wave, piston_directivity
from kerfwave.acoustics.duct import Complex, Real
from kerfwave.model.acoustic import Air, DriverParameters

Vector = tuple[float, float, float]
FLUSH_M = 1e-3  # an opening within that of the front is in it


@dataclass(frozen=True, slots=True)
class Source:
    """An opening that sounds: its centre and outward normal, seen from the front; m and m^2."""

    centre_m: Vector
    normal: Vector
    area_m2: float


@dataclass(frozen=True, slots=True)
class Scene:
    """Where everything is."""

    cone: Source
    mouth: Source | None
    front: tuple[tuple[float, float], ...]  # corners (u, v) of the face with the driver, convex, counter-clockwise
    listener_m: Vector
    wall_m: float | None = None  # from the front back to the wall; None: free standing; 0: the front is flush with it


def pressure(scene: Scene, solution: Solution, air: Air, cone_gain: Any = 1.0) -> Complex:
    """Return the sound pressure in Pa at the listener, without the travel time of the straight way from the driver.

    Args:
        scene: where everything is.
        solution: volume velocities of cone, mouth and leak; what leaks is taken to come out beside the cone.
        air: the medium.
        cone_gain: on what the cone sends out, e.g. from `laid_over`.
    """
    front = solution.front_volume_velocity * cone_gain + solution.leak_volume_velocity
    total = transfer(scene, scene.cone, solution.omega, air) * front
    if scene.mouth is not None:
        total = total + transfer(scene, scene.mouth, solution.omega, air) * solution.mouth_volume_velocity
    return np.asarray(total)


def transfer(scene: Scene, source: Source, omega: Any, air: Air) -> Complex:
    """Return the pressure at the listener for a volume velocity of 1 m^3/s through an opening; Pa s/m^3."""
    omega = np.asarray(omega, dtype=float)
    k = omega / air.speed
    reference = math.dist(scene.cone.centre_m, scene.listener_m)
    way, beam = _way_and_beam(source.centre_m, source.normal, source.area_m2, scene.listener_m, k)
    total = beam
    if scene.wall_m == 0.0:
        total = 2.0 * beam
    elif _in_front(scene, source):
        place = source.centre_m[:2]
        radius = math.sqrt(source.area_m2 / math.pi)
        total = 2.0 * beam - edge_wave(scene.front, place, radius, scene.listener_m, omega, air.speed)
        if scene.wall_m is not None:
            behind = 2.0 * scene.wall_m
            total = total + edge_wave(scene.front, place, radius, scene.listener_m, omega, air.speed, behind)
    elif scene.wall_m is not None:
        (u, v, w), (nu, nv, nw) = source.centre_m, source.normal
        mirrored = (u, v, -2.0 * scene.wall_m - w)
        further, mirrored_beam = _way_and_beam(mirrored, (nu, nv, -nw), source.area_m2, scene.listener_m, k)
        total = total + mirrored_beam * way / further * np.exp(-1j * k * (further - way))
    return np.asarray(1j * omega * air.density / (4.0 * np.pi * way) * np.exp(-1j * k * (way - reference)) * total)


def baffle_step(scene: Scene, omega: Any, air: Air) -> Real:
    """Return what the front's edges do to the cone in free space, dB against an endless wall: -6 at the low end."""
    if scene.wall_m == 0.0:
        return np.zeros(np.shape(omega))
    place, radius = scene.cone.centre_m[:2], math.sqrt(scene.cone.area_m2 / math.pi)
    wave = edge_wave(scene.front, place, radius, scene.listener_m, omega, air.speed)
    return np.asarray(20.0 * np.log10(np.abs(1.0 - wave / 2.0)))


def laid_over(
    driver: DriverParameters, measured_hz: Any, measured_db: Any, frequency_hz: Any, air: Air
) -> tuple[Real, tuple[float, float]]:
    """Return the gain that turns the model's piston into the measured cone, and the octave in which it comes in.

    The measured curve is held against the same driver in the model, in an endless wall with nothing behind it. Below
    ka = 1/2 the gain is 1; up to ka = 1 the difference in dB comes in evenly over the octave; above, the measured
    curve counts alone. The two are made equal in the mean over that octave. Between its points the curve is straight
    in dB over the logarithm of the frequency; beyond its ends the difference stays as it is there.

    Args:
        driver: the complete set.
        measured_hz: rising, shape (M,).
        measured_db: relative levels.
        frequency_hz: where the gain is wanted, shape (F,).
        air: the medium.
    """
    radius = math.sqrt(driver.sd_m2 / math.pi)
    low = air.speed / (4.0 * math.pi * radius)
    log_measured = np.log(np.asarray(measured_hz, dtype=float))

    def difference(hz: Real) -> Real:
        inside = np.clip(hz, measured_hz[0], measured_hz[-1])
        curve = np.interp(np.log(inside), log_measured, np.asarray(measured_db, dtype=float))
        return np.asarray(curve - _piston_db(driver, inside, air))

    level = float(difference(np.geomspace(low, 2.0 * low, 25)).mean())
    f = np.asarray(frequency_hz, dtype=float)
    weight = np.clip(np.log2(f / low), 0.0, 1.0)
    return np.asarray(10.0 ** (weight * (difference(f) - level) / 20.0)), (low, 2.0 * low)


def _piston_db(driver: DriverParameters, frequency_hz: Real, air: Air) -> Real:
    """Return the model's level in an endless wall without anything behind, on any scale."""
    omega = 2.0 * np.pi * frequency_hz
    coil = voice_coil_impedance(driver, omega)
    mechanical = driver.rms_kg_s + 1j * (omega * driver.mms_kg - 1.0 / (omega * driver.cms_m_n))
    velocity = driver.bl_tm / (coil * mechanical + driver.bl_tm**2)
    return np.asarray(20.0 * np.log10(omega * air.density * np.abs(velocity)))


def _way_and_beam(centre: Vector, normal: Vector, area_m2: float, listener: Vector, k: Any) -> tuple[float, Any]:
    towards = [b - a for a, b in zip(centre, listener, strict=True)]
    way = math.hypot(*towards)
    cosine = sum(n * t for n, t in zip(normal, towards, strict=True)) / way
    return way, piston_directivity(area_m2, cosine, k)


def _in_front(scene: Scene, source: Source) -> bool:
    return abs(source.centre_m[2]) < FLUSH_M and source.normal[2] > 0.99
