"""Responses of networks: one in full, or thousands of them side by side. `circuit` has the physics."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from kerfwave.acoustics.chamber import Rear, chamber_admittance, leak_admittance, leak_resistance, rear
from kerfwave.acoustics.circuit import Guide, Solution, guide_to_mouth, join, solve, voice_coil_impedance
from kerfwave.acoustics.duct import Complex, Real
from kerfwave.acoustics.radiation import mouth_impedance
from kerfwave.acoustics.segments import is_steep, stack, towards_chamber
from kerfwave.model.acoustic import Air, ChamberDuct, DriverParameters, Mouth, Network, Response

__all__ = [
    "BatchResponse",
    "Solution",
    "chamber_admittance",
    "input_impedance",
    "leak_admittance",
    "leak_resistance",
    "response",
    "responses",
    "solve",
    "solve_network",
    "voice_coil_impedance",
]

REFERENCE_PA = 20e-6
CHUNK = 78  # candidates at a time: the work arrays stay in the processor's cache
DELAY_STEP = 1e-4  # relative step of omega; the error is its square


@dataclass(frozen=True, slots=True)
class BatchResponse:
    """What C networks do at one drive level. Arrays of shape (C, F)."""

    frequency_hz: Real  # (F,)
    spl_db: Real  # re 20 uPa
    excursion_peak_mm: Real  # one way
    mouth_velocity_peak_m_s: Real  # zeros for a closed box


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
        load = mouth_impedance(network.mouth.area_m2, network.mouth.end, omega, air, network.mouth.wall_m)
        pressure, flow = towards_chamber(network.guide, omega, air, load, one)
    return pressure / flow


def solve_network(network: Network, frequency_hz: Any, air: Air, volts: float, space: str = "half") -> Solution:
    """Solve one network; see `solve`. `space` matters to a network with a spacing only."""
    mouth = network.mouth
    return solve(
        network.driver,
        network.chamber_m3,
        network.chamber_flow_resistivity_pa_s_m2,
        network.guide,
        mouth.area_m2 if mouth else 0.0,
        mouth.end if mouth else None,
        2.0 * np.pi * np.asarray(frequency_hz, dtype=float),
        air,
        volts,
        leak_pa_s_m3=network.leak_pa_s_m3,
        spacing_m=network.spacing_m,
        wall_m=mouth.wall_m if mouth else 0.0,
        cone_wall_m=network.cone_wall_m,
        space=space,
        chamber_duct=network.chamber_duct,
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
    solution = solve_network(network, frequency, air, volts, space)
    pressure = solution.pressure(distance_m, space)
    # The slope of the phase at each frequency by itself: no unwrapping, so the grid may be as coarse as it likes.
    above = solve_network(network, frequency * (1.0 + DELAY_STEP), air, volts, space).pressure(distance_m, space)
    below = solve_network(network, frequency * (1.0 - DELAY_STEP), air, volts, space).pressure(distance_m, space)
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
    alike: dict[tuple[Any, ...], list[int]] = {}
    for index, network in enumerate(networks):
        end = network.mouth.end if network.mouth else None
        steep = tuple(is_steep(s) for s in network.guide)
        kind = (network.driver, end, network.spacing_m > 0.0, network.chamber_duct is None, steep)
        alike.setdefault(kind, []).append(index)
    for (driver, *_), members in alike.items():
        for first in range(0, len(members), CHUNK):
            rows = members[first : first + CHUNK]
            chunk = [networks[i] for i in rows]
            solution = join(
                driver,
                _rears(chunk, omega, air),
                _guides(chunk, driver, omega, air, space),
                _column([n.mouth.area_m2 if n.mouth else 0.0 for n in chunk]),
                omega,
                air,
                volts,
            )
            level[rows] = _level(solution.pressure(distance_m, space))
            excursion[rows] = 1e3 * solution.excursion_peak()
            velocity[rows] = np.sqrt(2.0) * np.abs(solution.mouth_velocity)
    return BatchResponse(frequency, level, excursion, velocity)


# A search tries every guide with every chamber: each is worked out once.


def _rears(networks: list[Network], omega: Real, air: Air) -> Rear:
    keys = [(n.chamber_m3, n.chamber_flow_resistivity_pa_s_m2, n.leak_pa_s_m3, n.chamber_duct) for n in networks]
    different, rows = _different(keys)
    volume, fibre, leak = (_column([key[i] for key in different]) for i in range(3))
    ducts = [duct for *_, duct in different if duct is not None]
    duct: Any = None
    if ducts:
        sizes: dict[str, Any] = {f.name: _column([getattr(d, f.name) for d in ducts]) for f in fields(ChamberDuct)}
        duct = ChamberDuct(**sizes)
    return cast(Rear, _picked(rear(volume, fibre, leak, duct, omega, air), rows))


def _guides(networks: list[Network], driver: DriverParameters, omega: Real, air: Air, space: str) -> Guide:
    different, rows = _different([(n.guide, n.mouth, n.spacing_m, n.cone_wall_m) for n in networks])
    mouths: list[Mouth | None] = [mouth for _, mouth, *_ in different]
    found = guide_to_mouth(
        stack([guide for guide, *_ in different]),
        _column([m.area_m2 if m else 0.0 for m in mouths]),
        mouths[0].end if mouths[0] else None,
        omega,
        air,
        cone_area_m2=driver.sd_m2,
        spacing_m=_column([spacing for *_, spacing, _ in different]),
        wall_m=_column([m.wall_m if m else 0.0 for m in mouths]),
        cone_wall_m=_column([wall for *_, wall in different]),
        space=space,
    )
    return cast(Guide, _picked(found, rows))


def _different(keys: list[Any]) -> tuple[list[Any], Any]:
    """Return each key once, in the order in which they come, and for every key which of those it is."""
    index: dict[Any, int] = {}
    rows = np.array([index.setdefault(key, len(index)) for key in keys])
    return list(index), rows


def _picked(found: Any, rows: Any) -> Any:
    """Return the same with these rows of all its arrays of shape (C, F) or (C, 1)."""
    if isinstance(found, tuple):
        return tuple(_picked(value, rows) for value in found)
    if isinstance(found, Rear | Guide):
        return replace(found, **{f.name: _picked(getattr(found, f.name), rows) for f in fields(found)})
    return found[rows] if np.ndim(found) == 2 else found


def _level(pressure: Complex) -> Real:
    return 20.0 * np.log10(np.abs(pressure) / REFERENCE_PA)


def _column(values: list[float]) -> Real:
    return np.array(values)[:, np.newaxis]


def _floats(values: NDArray[Any]) -> tuple[float, ...]:
    return tuple(float(v) for v in values)
