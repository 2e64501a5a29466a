"""Driver, chamber, guide and mouth as one circuit, solved for one body or for many at once.

The cone's rear pushes into the chamber (a compliance, or fibre of the same volume); the guide leads from there to
the mouth and the load of the air outside; what leaks from the chamber gets out through a resistance. Front, mouth
and leak radiate as point sources, in phase or not as the circuit has it. The moving mass includes the air load of the
cone's front, as Mms does. A closed box has neither guide nor mouth; a vented box has a guide of one short segment.

SI throughout, r.m.s., time factor e^{+j omega t}.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from kerfwave.acoustics.duct import Complex, Real
from kerfwave.acoustics.porous import miki
from kerfwave.acoustics.radiation import SOLID_ANGLE, loads_of_two, mouth_impedance
from kerfwave.acoustics.segments import SegmentLike, towards_chamber
from kerfwave.model.acoustic import Air, DriverParameters


@dataclass(frozen=True, slots=True)
class Solution:
    """Complex r.m.s. amplitudes, each of shape (F,), or (C, F) for C candidates at once."""

    omega: Real  # rad/s
    density: float  # of the air, kg/m^3
    cone_velocity: Complex  # outwards, m/s
    front_volume_velocity: Complex  # m^3/s
    mouth_volume_velocity: Complex  # outwards, m^3/s; zero without a mouth
    mouth_velocity: Complex  # mean over the mouth's area, m/s
    leak_volume_velocity: Complex  # outwards, m^3/s; zero for a tight chamber
    chamber_pressure: Complex  # Pa
    electrical_impedance: Complex  # ohm

    def pressure(self, distance_m: float, space: str) -> Complex:
        """Return the sound pressure in Pa, without the travel time to the listener.

        Raises:
            ValueError: if `space` is neither "half" (on or in a wall) nor "full" (free standing).
        """
        if space not in SOLID_ANGLE:
            raise ValueError(f"space is {space!r}; it must be 'half' or 'full'")
        total = self.front_volume_velocity + self.mouth_volume_velocity + self.leak_volume_velocity
        return 1j * self.omega * self.density / (SOLID_ANGLE[space] * distance_m) * total

    def excursion_peak(self) -> Real:
        """Return the cone's one-way peak excursion in m."""
        return np.asarray(np.sqrt(2.0) * np.abs(self.cone_velocity) / self.omega)


def solve(
    driver: DriverParameters,
    chamber_m3: Any,
    chamber_flow_resistivity: Any,
    segments: Sequence[SegmentLike],
    mouth_area_m2: Any,
    mouth_end: str | None,
    omega: Any,
    air: Air,
    volts: float,
    *,
    leak_pa_s_m3: Any = 0.0,
    spacing_m: Any = 0.0,
    wall_m: Any = 0.0,
    space: str = "half",
) -> Solution:
    """Solve the circuit for one body or for C of them at once.

    Args:
        driver: the complete set.
        chamber_m3: rear volume; a number, or an array of shape (C, 1), as are all that follow and the segments' fields.
        chamber_flow_resistivity: of fibre that fills the chamber, Pa s/m^2; 0: none, and a lossless chamber.
        segments: the guide, from the chamber outwards.
        mouth_area_m2: of the open end.
        mouth_end: "flanged", "free", "near-wall", or None: the guide ends at a rigid wall, and without segments the
            box is closed.
        omega: angular frequency, rad/s, above 0, shape (F,).
        air: the medium.
        volts: r.m.s. at the terminals.
        leak_pa_s_m3: resistance from the chamber to the outside; 0: tight (see `leak_resistance`).
        spacing_m: between cone and mouth; 0 in all: neither feels the other (see `radiation.loads_of_two`).
        wall_m: from a mouth "near-wall" to that wall.
        space: "half" or "full"; with a spacing only.

    Raises:
        ValueError: for a frequency that is not above 0 or an unknown kind of end or space.
    """
    omega = np.asarray(omega, dtype=float)
    if not (omega > 0.0).all():
        raise ValueError("frequencies must be above 0")
    zero, one = np.zeros_like(omega, dtype=complex), np.ones_like(omega, dtype=complex)
    coupled = mouth_end is not None and bool(np.any(np.asarray(spacing_m) > 0.0))
    own = mutual = zero
    if mouth_end is None:
        start, flow = one, zero
    elif coupled:
        own, mutual, start = loads_of_two(spacing_m, driver.sd_m2, mouth_area_m2, mouth_end, omega, air, space, wall_m)
        flow = one
    else:
        start, flow = mouth_impedance(mouth_area_m2, mouth_end, omega, air, wall_m), one
    guide_pressure, guide_flow = towards_chamber(segments, omega, air, start, flow)
    leak = leak_admittance(leak_pa_s_m3)
    beside_guide = chamber_admittance(chamber_m3, chamber_flow_resistivity, omega, air) + leak
    rear_admittance = beside_guide + guide_flow / guide_pressure

    # Per volume velocity of the cone's front: a cone that moves outwards thins the air behind it. The mutual load
    # appears alone beside the guide's pressure because the guide is reciprocal (A D - B C = 1).
    chamber = -1.0 / rear_admittance
    mouth = chamber * (flow / guide_pressure)
    on_cone = -chamber
    if coupled:
        of_mouth_pressure, _ = towards_chamber(segments, omega, air, one, zero)
        chamber = chamber * (1.0 - mutual / guide_pressure)
        mouth = (chamber - of_mouth_pressure * mutual) / guide_pressure
        on_cone = own + mutual * mouth - chamber
    electrical = voice_coil_impedance(driver, omega)
    mechanical = driver.rms_kg_s + 1j * (omega * driver.mms_kg - 1.0 / (omega * driver.cms_m_n))
    moving = mechanical + driver.sd_m2**2 * on_cone
    cone = driver.bl_tm * volts / (electrical * moving + driver.bl_tm**2)
    front = driver.sd_m2 * cone
    return Solution(
        omega=omega,
        density=air.density,
        cone_velocity=cone,
        front_volume_velocity=front,
        mouth_volume_velocity=front * mouth,
        mouth_velocity=front * mouth / mouth_area_m2 if mouth_end is not None else np.zeros_like(front),
        leak_volume_velocity=front * chamber * leak,
        chamber_pressure=front * chamber,
        electrical_impedance=electrical + driver.bl_tm**2 / moving,
    )


def voice_coil_impedance(driver: DriverParameters, omega: Any) -> Complex:
    """Return Re + j omega Le + (j omega L2 beside R2), ohm: the coil held still.

    One lossy pair is the usual model of a coil on an iron pole (common practice); what it stands for is in J.
    Vanderkooy, "A Model of Loudspeaker Driver Impedance Incorporating Eddy Currents", JAES 37 (1989) 119 (from memory).
    """
    omega = np.asarray(omega, dtype=float)
    coil = driver.re_ohm + 1j * omega * driver.le_h
    if driver.l2_h > 0.0 and driver.r2_ohm > 0.0:
        lossy = 1j * omega * driver.l2_h
        coil = coil + lossy * driver.r2_ohm / (lossy + driver.r2_ohm)
    return np.asarray(coil)


def chamber_admittance(volume_m3: Any, flow_resistivity: Any, omega: Any, air: Air) -> Complex:
    """Return j omega V / K in m^3/(Pa s): K is density c^2, or Miki's bulk modulus Zc omega / k with fibre inside."""
    omega = np.asarray(omega, dtype=float)
    fibre = np.asarray(flow_resistivity, dtype=float)
    stiffness: Any = air.density * air.speed**2
    if (fibre > 0.0).any():
        impedance, wavenumber = miki(omega, np.where(fibre > 0.0, fibre, 1.0), air)
        stiffness = np.where(fibre > 0.0, impedance * omega / wavenumber, stiffness)
    return np.asarray(1j * omega * volume_m3 / stiffness)


def leak_admittance(leak_pa_s_m3: Any) -> Any:
    """Return 1 / resistance, 0 for a tight chamber."""
    leak = np.asarray(leak_pa_s_m3, dtype=float)
    return np.where(leak > 0.0, 1.0 / np.where(leak > 0.0, leak, 1.0), 0.0)


def leak_resistance(ql: float, tuning_hz: float, chamber_m3: float, air: Air) -> float:
    """Return the acoustic resistance in Pa s/m^3 of the leaks that a box of this QL has at its tuning.

    QL = omega_B C_AB R_L with C_AB = V / (density c^2). Well built boxes have 5 to 20, 7 is what designs reckon with.

    Raises:
        ValueError: for a value that is not above 0.

    Source: R. H. Small, "Vented-Box Loudspeaker Systems Part I", JAES 21 (1973) 363 (from memory).
    """
    if not (ql > 0.0 and tuning_hz > 0.0 and chamber_m3 > 0.0):
        raise ValueError("QL, tuning and chamber must be above 0")
    return ql * air.density * air.speed**2 / (2.0 * np.pi * tuning_hz * chamber_m3)
