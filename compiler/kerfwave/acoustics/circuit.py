"""Driver, chamber, guide and mouth as one circuit, solved for one body or for many at once.

The cone's rear pushes into the chamber (`chamber`: one spring, or a duct); the guide leads from there to the mouth and
the load of the air outside; what leaks from the chamber gets out through a resistance beside the driver. Front, mouth
and leak radiate as point sources, in phase or not as the circuit has it. The moving mass includes the air load of the
cone's front, as Mms does. A closed box has neither guide nor mouth; a vented box has a guide of one short segment.

SI throughout, r.m.s., time factor e^{+j omega t}.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from kerfwave.acoustics.chamber import Rear, rear
from kerfwave.acoustics.duct import Complex, Real
from kerfwave.acoustics.radiation import SOLID_ANGLE, loads_of_two, mouth_impedance
from kerfwave.acoustics.segments import SegmentLike, towards_chamber
from kerfwave.model.acoustic import Air, ChamberDuct, DriverParameters


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
    chamber_pressure: Complex  # at the driver, Pa
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


@dataclass(frozen=True, slots=True)
class Guide:
    """What the chamber sees of guide and mouth; each of shape (F,) or (C, F)."""

    pressure: Complex  # at the inlet, for a flow of 1 m^3/s out of the mouth (1 Pa at the rigid end, without one)
    flow: Complex  # into the inlet, likewise
    out: Complex  # of the mouth: 1, or 0 without one
    coupled: tuple[Complex, Complex, Complex, Complex] | None = None
    # If cone and mouth hear each other: own and mutual load, and pressure and flow at the inlet for 1 Pa at the mouth.


def guide_to_mouth(
    segments: Sequence[SegmentLike],
    mouth_area_m2: Any,
    mouth_end: str | None,
    omega: Real,
    air: Air,
    *,
    cone_area_m2: Any = 0.0,
    spacing_m: Any = 0.0,
    wall_m: Any = 0.0,
    cone_wall_m: Any = 0.0,
    space: str = "half",
) -> Guide:
    """Return the guide with its mouth, as the chamber sees it. Parameters as `solve`."""
    zero, one = np.zeros_like(omega, dtype=complex), np.ones_like(omega, dtype=complex)
    if mouth_end is None:
        return Guide(*towards_chamber(segments, omega, air, one, zero), zero)
    if not np.any(np.asarray(spacing_m) > 0.0):
        load = mouth_impedance(mouth_area_m2, mouth_end, omega, air, wall_m)
        return Guide(*towards_chamber(segments, omega, air, load, one), one)
    own, mutual, load = loads_of_two(
        spacing_m, cone_area_m2, mouth_area_m2, mouth_end, omega, air, space, wall_m, cone_wall_m
    )
    of_pressure = towards_chamber(segments, omega, air, one, zero)
    return Guide(*towards_chamber(segments, omega, air, load, one), one, (own, mutual, *of_pressure))


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
    cone_wall_m: Any = 0.0,
    space: str = "half",
    chamber_duct: ChamberDuct | None = None,
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
        leak_pa_s_m3: resistance from the chamber to the outside; 0: tight (see `chamber.leak_resistance`).
        spacing_m: between cone and mouth; 0 in all: neither feels the other (see `radiation.loads_of_two`).
        wall_m: from a mouth "near-wall" to that wall.
        cone_wall_m: from the cone to it; 0: as far as the mouth.
        space: "half" or "full"; with a spacing only.
        chamber_duct: the chamber's shape; its fields may be arrays too. None: its pressure is the same everywhere.

    Raises:
        ValueError: for a frequency that is not above 0 or an unknown kind of end or space.
    """
    omega = np.asarray(omega, dtype=float)
    if not (omega > 0.0).all():
        raise ValueError("frequencies must be above 0")
    guide = guide_to_mouth(
        segments,
        mouth_area_m2,
        mouth_end,
        omega,
        air,
        cone_area_m2=driver.sd_m2,
        spacing_m=spacing_m,
        wall_m=wall_m,
        cone_wall_m=cone_wall_m,
        space=space,
    )
    chamber = rear(chamber_m3, chamber_flow_resistivity, leak_pa_s_m3, chamber_duct, omega, air)
    return join(driver, chamber, guide, mouth_area_m2, omega, air, volts)


def join(
    driver: DriverParameters, rear: Rear, guide: Guide, mouth_area_m2: Any, omega: Real, air: Air, volts: float
) -> Solution:
    """Return what driver, chamber and guide do together. Parameters as `solve`."""
    pressure, flow = rear.from_guide(guide.pressure, guide.flow)
    rear_admittance = rear.beside + flow / pressure
    # Per volume velocity of the cone's front: a cone that moves outwards thins the air behind it. The mutual load
    # appears alone beside the pressure because the way to the mouth is reciprocal (A D - B C = 1).
    chamber = -1.0 / rear_admittance
    mouth = chamber * (guide.out / pressure)
    on_cone = -chamber
    if guide.coupled is not None:
        own, mutual, *of_mouth = guide.coupled
        of_mouth_pressure, _ = rear.from_guide(*of_mouth)
        chamber = chamber * (1.0 - mutual / pressure)
        mouth = (chamber - of_mouth_pressure * mutual) / pressure
        on_cone = own + mutual * mouth - chamber
    electrical = voice_coil_impedance(driver, omega)
    mechanical = driver.rms_kg_s + 1j * (omega * driver.mms_kg - 1.0 / (omega * driver.cms_m_n))
    moving = mechanical + driver.sd_m2**2 * on_cone
    cone = driver.bl_tm * volts / (electrical * moving + driver.bl_tm**2)
    front = driver.sd_m2 * cone
    area = np.asarray(mouth_area_m2, dtype=float)
    return Solution(
        omega=omega,
        density=air.density,
        cone_velocity=cone,
        front_volume_velocity=front,
        mouth_volume_velocity=front * mouth,
        mouth_velocity=front * mouth / np.where(area > 0.0, area, 1.0),
        leak_volume_velocity=front * chamber * rear.leak,
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
