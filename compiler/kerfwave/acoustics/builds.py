"""Many bodies with everything a little off, solved side by side.

What varies, all by itself and all at once: moving mass, compliance, electrical Q and resistance of the driver; the
sheet's thickness and the kerf; the temperature; how densely the fibre is packed. Each is drawn by a Latin hypercube:
the distribution is cut into as many equally likely parts as there are draws, and each part is met once (M. D. McKay, R.
J. Beckman and W. J. Conover, Technometrics 21 (1979) 239; from memory). Tolerances are two standard deviations of a
normal distribution (nineteen in twenty), but for the temperature, which is as likely anywhere in its range.

A data sheet gives tolerances of fs and of Vas, which depend on each other. Mass and compliance do not, so they are what
is drawn: fs goes as 1 / sqrt(mass compliance), so the mass varies by sqrt(4 fs^2 - vas^2) for the fs that comes out to
vary as stated. A Vas that would move fs further than stated is held to 2 fs.

Not varied: cone area, mechanical Q, inductance, the driver's own volume; the suspension does not stiffen with cold, and
the chamber's outline does not move with the kerf (some 0.1 % of its volume).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from random import Random
from typing import Any

import numpy as np

from kerfwave.acoustics.air import air as air_at
from kerfwave.acoustics.circuit import Solution, solve
from kerfwave.acoustics.duct import Real
from kerfwave.acoustics.network import REFERENCE_PA
from kerfwave.acoustics.segments import SegmentArrays
from kerfwave.model.acoustic import Air, ChamberDuct, DriverParameters, Network, Segment

SOURCES = ("moving mass", "compliance", "Qes", "Re", "sheet thickness", "kerf", "temperature", "fibre")
SEED = 1
CLIMATES = 8  # temperatures, each for as many draws
CALLIPER_MM = 0.02  # no reading is finer than that


@dataclass(frozen=True, slots=True)
class Tolerances:
    """How far each thing varies. Percentages and `kerf_mm` are two standard deviations, `sheet_mm` is one."""

    fs_percent: float = 10.0
    vas_percent: float = 15.0
    qes_percent: float = 10.0
    re_percent: float = 3.0
    sheet_mm: float = 0.1
    kerf_mm: float = 0.05  # half of it on each wall of a duct
    temperature_c: tuple[float, float] = (10.0, 30.0)
    fibre_percent: float = 30.0


@dataclass(frozen=True, slots=True)
class Sizes:
    """What a network does not say of its body, and thickness and kerf act on. SI."""

    height_m: float  # of chamber and guide, along the stack
    sheet_m: float  # thickness of one layer
    displacement_m3: float  # of the driver, in the chamber


@dataclass(frozen=True, slots=True)
class Outcome:
    """What the builds do: arrays of shape (draws, F), at 1 m."""

    level_db: Real
    excursion_mm: Real
    mouth_m_s: Real
    impedance_ohm: Real


def sheet_deviation_mm(measured_mm: tuple[float, ...], label_mm: float) -> float:
    """Return the standard deviation of a sheet's thickness: that of its readings, or what the trade allows.

    One reading tells nothing about it; then it is a fifth of the band for sanded plywood of EN 315, 0.6 mm + 6 % of
    the thickness (as makers' tables give it; the text of the standard was not seen). Layers come out of the same
    sheets, so a whole stack counts as off the same way.
    """
    if len(measured_mm) < 2:
        return (0.6 + 0.06 * label_mm) / 5.0
    mean = math.fsum(measured_mm) / len(measured_mm)
    variance = math.fsum((x - mean) ** 2 for x in measured_mm) / (len(measured_mm) - 1)
    return max(CALLIPER_MM, math.sqrt(variance))


def normal_draws(count: int, sources: int) -> Real:
    """Return a Latin hypercube of standard normal values, shape (count, sources). The same every time."""
    from scipy.special import ndtri

    random = Random(SEED)
    columns = [np.argsort([random.random() for _ in range(count)], kind="stable") for _ in range(sources)]
    return np.asarray(ndtri((np.stack(columns, axis=1) + 0.5) / count))


def solve_all(
    network: Network,
    closed: Network,
    sizes: Sizes,
    tolerances: Tolerances,
    z: Real,
    f: Real,
    volts: float,
    space: str,
) -> tuple[Outcome, Outcome]:
    """Return what the builds of a design and of its closed box do.

    Args:
        network: as designed.
        closed: the closed box of the same size.
        sizes: see there.
        tolerances: see there.
        z: draws of shape (draws, sources), e.g. `normal_draws`.
        f: frequencies in Hz, shape (F,).
        volts: r.m.s.
        space: "half" or "full".
    """
    by_name = dict(zip(SOURCES, z.T, strict=True))
    low, high = tolerances.temperature_c
    rank = np.argsort(np.argsort(by_name["temperature"]))
    climate = rank * CLIMATES // len(z)
    found: list[tuple[Any, Any, Any]] = []
    for index in range(CLIMATES):
        rows = np.flatnonzero(climate == index)
        air = air_at(low + (high - low) * (index + 0.5) / CLIMATES)
        here = {name: values[rows, np.newaxis] for name, values in by_name.items()}
        one, two = (_solve(n, sizes, tolerances, here, f, air, volts, space) for n in (network, closed))
        found.append((rows, one, two))
    order = np.argsort(np.concatenate([rows for rows, _, _ in found]))
    return _joined([one for _, one, _ in found], order, space), _joined([two for _, _, two in found], order, space)


def _solve(
    network: Network,
    sizes: Sizes,
    tolerances: Tolerances,
    z: dict[str, Real],
    f: Real,
    air: Air,
    volts: float,
    space: str,
) -> Solution:
    stretch = 1.0 + tolerances.sheet_mm * 1e-3 / sizes.sheet_m * z["sheet thickness"]
    wider = tolerances.kerf_mm * 1e-3 / 2.0 * z["kerf"]
    packed = np.exp(tolerances.fibre_percent / 200.0 * z["fibre"])
    height, mouth, duct = sizes.height_m, network.mouth, network.chamber_duct
    return solve(
        _drivers(network.driver, tolerances, z),
        (network.chamber_m3 + sizes.displacement_m3) * stretch - sizes.displacement_m3,
        network.chamber_flow_resistivity_pa_s_m2 * packed,
        [_segments(s, height, stretch, wider, packed, air) for s in network.guide],
        (mouth.area_m2 / height + wider) * height * stretch if mouth else 0.0,
        mouth.end if mouth else None,
        2.0 * np.pi * f,
        air,
        volts,
        leak_pa_s_m3=network.leak_pa_s_m3,
        spacing_m=network.spacing_m,
        wall_m=mouth.wall_m if mouth else 0.0,
        cone_wall_m=network.cone_wall_m,
        space=space,
        chamber_duct=None if duct is None else _taller(duct, height, stretch, air),
    )


def _taller(duct: ChamberDuct, height: float, stretch: Real, air: Air) -> ChamberDuct:
    """Return the chamber of another height, in another air; its outline stays."""
    sides: dict[str, Any] = {
        "area_m2": duct.area_m2 * stretch,
        "perimeter_m": duct.perimeter_m + 2.0 * height * (stretch - 1.0),
        "step_kg_m4": duct.step_kg_m4 * air.density / air_at().density / stretch,
    }
    return replace(duct, **sides)


def _drivers(driver: DriverParameters, tolerances: Tolerances, z: dict[str, Real]) -> DriverParameters:
    """Return a set whose numbers are columns, as the circuit takes them."""
    fs, vas = tolerances.fs_percent / 200.0, tolerances.vas_percent / 200.0
    of_compliance = min(vas, 2.0 * fs)
    of_mass = math.sqrt(4.0 * fs**2 - of_compliance**2)
    mass = driver.mms_kg * np.exp(of_mass * z["moving mass"])
    compliance = driver.cms_m_n * np.exp(of_compliance * z["compliance"])
    qes = driver.qes * np.exp(tolerances.qes_percent / 200.0 * z["Qes"])
    re = driver.re_ohm * np.exp(tolerances.re_percent / 200.0 * z["Re"])
    omega = 1.0 / np.sqrt(mass * compliance)
    values: dict[str, Any] = {
        "fs_hz": omega / (2.0 * np.pi),
        "qms": driver.qms,
        "qes": qes,
        "qts": 1.0 / (1.0 / driver.qms + 1.0 / qes),
        "vas_m3": driver.vas_m3 * compliance / driver.cms_m_n,
        "sd_m2": driver.sd_m2,
        "re_ohm": re,
        "le_h": driver.le_h,
        "mms_kg": mass,
        "cms_m_n": compliance,
        "rms_kg_s": omega * mass / driver.qms,
        "bl_tm": np.sqrt(omega * mass * re / qes),
        "l2_h": driver.l2_h,
        "r2_ohm": driver.r2_ohm,
    }
    return DriverParameters(**values)


def _segments(segment: Segment, height: float, stretch: Real, wider: Real, packed: Real, air: Air) -> SegmentArrays:
    def area(designed: float) -> Real:
        return (designed / height + wider) * height * stretch

    def perimeter(designed: float) -> Real:
        return designed + 2.0 * wider + 2.0 * height * (stretch - 1.0)

    return SegmentArrays(
        length_m=segment.length_m,
        area_in_m2=area(segment.area_in_m2),
        area_out_m2=area(segment.area_out_m2),
        perimeter_in_m=perimeter(segment.perimeter_in_m),
        perimeter_out_m=perimeter(segment.perimeter_out_m),
        # A lump of a flat duct is density over height times a number; it was worked out in the design's air.
        extra_inertance_kg_m4=segment.extra_inertance_kg_m4 * air.density / air_at().density / stretch,
        flow_resistivity_pa_s_m2=segment.flow_resistivity_pa_s_m2 * packed,
        law=segment.law,
    )


def _joined(solutions: list[Solution], order: Any, space: str) -> Outcome:
    def rows(values: list[Any]) -> Real:
        return np.asarray(np.concatenate(values)[order])

    return Outcome(
        level_db=rows([20.0 * np.log10(np.abs(s.pressure(1.0, space)) / REFERENCE_PA) for s in solutions]),
        excursion_mm=rows([1e3 * s.excursion_peak() for s in solutions]),
        mouth_m_s=rows(
            [np.broadcast_to(np.sqrt(2.0) * np.abs(s.mouth_velocity), s.cone_velocity.shape) for s in solutions]
        ),
        impedance_ohm=rows([np.abs(s.electrical_impedance) for s in solutions]),
    )
