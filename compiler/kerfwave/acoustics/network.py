"""Driver, chamber, guide and mouth as one circuit.

The cone's rear pushes into the chamber (a compliance, or fibre of the same volume); the guide leads from there to
the mouth and the load of the air outside. Front and mouth radiate as two point sources at the same place, in
phase or not as the circuit has it. The moving mass includes the air load of the cone's front, as Mms does. A closed
box has neither guide nor mouth; a vented box has a guide of one short segment. Semi-inductance is left out: the
voice coil is Re in series with Le.

SI throughout, r.m.s., time factor e^{+j omega t}.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kerfwave.acoustics.duct import Complex, Real
from kerfwave.acoustics.porous import miki
from kerfwave.acoustics.radiation import mouth_impedance
from kerfwave.acoustics.segments import SegmentLike, stack, towards_chamber
from kerfwave.model.acoustic import Air, DriverParameters, Network, Response

REFERENCE_PA = 20e-6
SOLID_ANGLE = {"half": 2.0 * np.pi, "full": 4.0 * np.pi}
CHUNK = 64  # candidates at a time: the work arrays stay in the processor's cache
DELAY_STEP = 1e-4  # relative step of omega; the error is its square


@dataclass(frozen=True, slots=True)
class Solution:
    """Complex r.m.s. amplitudes, each of shape (F,), or (C, F) for C candidates at once."""

    omega: Real  # rad/s
    density: float  # of the air, kg/m^3
    cone_velocity: Complex  # outwards, m/s
    front_volume_velocity: Complex  # m^3/s
    mouth_volume_velocity: Complex  # outwards, m^3/s; zero without a mouth
    mouth_velocity: Complex  # mean over the mouth's area, m/s
    chamber_pressure: Complex  # Pa
    electrical_impedance: Complex  # ohm

    def pressure(self, distance_m: float, space: str) -> Complex:
        """Return the sound pressure in Pa, without the travel time to the listener.

        Raises:
            ValueError: if `space` is neither "half" (on or in a wall) nor "full" (free standing).
        """
        total = self.front_volume_velocity + self.mouth_volume_velocity
        return 1j * self.omega * self.density / (_solid_angle(space) * distance_m) * total

    def excursion_peak(self) -> Real:
        """Return the cone's one-way peak excursion in m."""
        return np.asarray(np.sqrt(2.0) * np.abs(self.cone_velocity) / self.omega)


@dataclass(frozen=True, slots=True)
class BatchResponse:
    """What C networks do at one drive level. Arrays of shape (C, F)."""

    frequency_hz: Real  # (F,)
    spl_db: Real  # re 20 uPa
    excursion_peak_mm: Real  # one way
    mouth_velocity_peak_m_s: Real  # zeros for a closed box


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
) -> Solution:
    """Solve the circuit for one body or for C of them at once.

    Args:
        driver: the complete set.
        chamber_m3: rear volume; a number, or an array of shape (C, 1), as are all that follow and the segments' fields.
        chamber_flow_resistivity: of fibre that fills the chamber, Pa s/m^2; 0: none, and a lossless chamber.
        segments: the guide, from the chamber outwards.
        mouth_area_m2: of the open end.
        mouth_end: "flanged", "free", or None: the guide ends at a rigid wall, and without segments the box is closed.
        omega: angular frequency, rad/s, above 0, shape (F,).
        air: the medium.
        volts: r.m.s. at the terminals.

    Raises:
        ValueError: for a frequency that is not above 0 or an unknown kind of end.
    """
    omega = np.asarray(omega, dtype=float)
    if not (omega > 0.0).all():
        raise ValueError("frequencies must be above 0")
    if mouth_end is None:
        start, flow = np.ones_like(omega, dtype=complex), np.zeros_like(omega, dtype=complex)
    else:
        start, flow = mouth_impedance(mouth_area_m2, mouth_end, omega, air), np.ones_like(omega, dtype=complex)
    guide_pressure, guide_flow = towards_chamber(segments, omega, air, start, flow)
    rear_admittance = chamber_admittance(chamber_m3, chamber_flow_resistivity, omega, air) + guide_flow / guide_pressure

    electrical = driver.re_ohm + 1j * omega * driver.le_h
    mechanical = driver.rms_kg_s + 1j * (omega * driver.mms_kg - 1.0 / (omega * driver.cms_m_n))
    moving = mechanical + driver.sd_m2**2 / rear_admittance
    cone = driver.bl_tm * volts / (electrical * moving + driver.bl_tm**2)
    chamber_pressure = -driver.sd_m2 * cone / rear_admittance  # a cone that moves outwards thins the air behind it
    mouth_flow = chamber_pressure * (flow / guide_pressure)
    return Solution(
        omega=omega,
        density=air.density,
        cone_velocity=cone,
        front_volume_velocity=driver.sd_m2 * cone,
        mouth_volume_velocity=mouth_flow,
        mouth_velocity=mouth_flow / mouth_area_m2 if mouth_end is not None else np.zeros_like(mouth_flow),
        chamber_pressure=chamber_pressure,
        electrical_impedance=electrical + driver.bl_tm**2 / moving,
    )


def chamber_admittance(volume_m3: Any, flow_resistivity: Any, omega: Any, air: Air) -> Complex:
    """Return j omega V / K in m^3/(Pa s): K is density c^2, or Miki's bulk modulus Zc omega / k with fibre inside."""
    omega = np.asarray(omega, dtype=float)
    fibre = np.asarray(flow_resistivity, dtype=float)
    stiffness: Any = air.density * air.speed**2
    if (fibre > 0.0).any():
        impedance, wavenumber = miki(omega, np.where(fibre > 0.0, fibre, 1.0), air)
        stiffness = np.where(fibre > 0.0, impedance * omega / wavenumber, stiffness)
    return np.asarray(1j * omega * volume_m3 / stiffness)


def input_impedance(network: Network, omega: Any, air: Air) -> Complex:
    """Return the acoustic impedance of the guide alone, mouth load and all, seen from the chamber; Pa s/m^3.

    Raises:
        ValueError: if the network has no guide and no mouth: a rigid wall has no finite impedance.
    """
    omega = np.asarray(omega, dtype=float)
    one = np.ones_like(omega, dtype=complex)
    if network.mouth is None:
        if not network.guide:
            raise ValueError("a closed box has no guide to look into")
        pressure, flow = towards_chamber(network.guide, omega, air, one, np.zeros_like(one))
    else:
        load = mouth_impedance(network.mouth.area_m2, network.mouth.end, omega, air)
        pressure, flow = towards_chamber(network.guide, omega, air, load, one)
    return pressure / flow


def solve_network(network: Network, frequency_hz: Any, air: Air, volts: float) -> Solution:
    """Solve one network; see `solve`."""
    return solve(
        network.driver,
        network.chamber_m3,
        network.chamber_flow_resistivity_pa_s_m2,
        network.guide,
        network.mouth.area_m2 if network.mouth else 0.0,
        network.mouth.end if network.mouth else None,
        2.0 * np.pi * np.asarray(frequency_hz, dtype=float),
        air,
        volts,
    )


def response(
    network: Network, frequency_hz: Sequence[float], air: Air, volts: float, distance_m: float, space: str
) -> Response:
    """Return all that is reported of one network.

    Args:
        network: driver, chamber, guide and mouth.
        frequency_hz: above 0, in any order.
        air: the medium.
        volts: r.m.s. at the terminals.
        distance_m: of the listener.
        space: "half" (on or in a wall) or "full" (free standing).

    Raises:
        ValueError: as `solve` and `Solution.pressure`.
    """
    frequency = np.asarray(frequency_hz, dtype=float)
    solution = solve_network(network, frequency, air, volts)
    pressure = solution.pressure(distance_m, space)
    # The slope of the phase at each frequency by itself: no unwrapping, so the grid may be as coarse as it likes.
    above = solve_network(network, frequency * (1.0 + DELAY_STEP), air, volts).pressure(distance_m, space)
    below = solve_network(network, frequency * (1.0 - DELAY_STEP), air, volts).pressure(distance_m, space)
    delay = -np.angle(above / below) / (2.0 * DELAY_STEP * solution.omega)
    return Response(
        frequency_hz=_floats(frequency),
        spl_db=_floats(_level(pressure)),
        excursion_peak_mm=_floats(1e3 * solution.excursion_peak()),
        impedance_ohm=_floats(np.abs(solution.electrical_impedance)),
        impedance_phase_deg=_floats(np.degrees(np.angle(solution.electrical_impedance))),
        group_delay_ms=_floats(1e3 * delay),
        mouth_velocity_peak_m_s=_floats(np.sqrt(2.0) * np.abs(solution.mouth_velocity)),
    )


def responses(
    networks: Sequence[Network], frequency_hz: Sequence[float], air: Air, volts: float, distance_m: float, space: str
) -> BatchResponse:
    """Return level, excursion and mouth velocity of many networks in one go, rows in their order.

    The networks may differ in every value, also in driver, number of segments and kind of mouth.
    Parameters and errors as `response`.
    """
    frequency = np.asarray(frequency_hz, dtype=float)
    omega = 2.0 * np.pi * frequency
    level, excursion, velocity = (np.zeros((len(networks), len(frequency))) for _ in range(3))
    alike: dict[tuple[DriverParameters, str | None], list[int]] = {}
    for index, network in enumerate(networks):
        alike.setdefault((network.driver, network.mouth.end if network.mouth else None), []).append(index)
    for (driver, end), members in alike.items():
        for first in range(0, len(members), CHUNK):
            rows = members[first : first + CHUNK]
            chunk = [networks[i] for i in rows]
            solution = solve(
                driver,
                _column([n.chamber_m3 for n in chunk]),
                _column([n.chamber_flow_resistivity_pa_s_m2 for n in chunk]),
                stack(chunk),
                _column([n.mouth.area_m2 if n.mouth else 0.0 for n in chunk]),
                end,
                omega,
                air,
                volts,
            )
            level[rows] = _level(solution.pressure(distance_m, space))
            excursion[rows] = 1e3 * solution.excursion_peak()
            velocity[rows] = np.sqrt(2.0) * np.abs(solution.mouth_velocity)
    return BatchResponse(frequency, level, excursion, velocity)


def _solid_angle(space: str) -> float:
    if space not in SOLID_ANGLE:
        raise ValueError(f"space is {space!r}; it must be 'half' or 'full'")
    return SOLID_ANGLE[space]


def _level(pressure: Complex) -> Real:
    return 20.0 * np.log10(np.abs(pressure) / REFERENCE_PA)


def _column(values: list[float]) -> Real:
    return np.array(values)[:, np.newaxis]


def _floats(values: NDArray[Any]) -> tuple[float, ...]:
    return tuple(float(v) for v in values)
