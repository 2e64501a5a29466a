"""The promised network, and the same with a few quantities as the bench may really have made them."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np

from kerfwave.acoustics.chamber import leak_resistance
from kerfwave.acoustics.circuit import Solution, solve, voice_coil_impedance
from kerfwave.acoustics.network import REFERENCE_PA, solve_network
from kerfwave.acoustics.segments import stack
from kerfwave.measure.impedance import Complex, Real
from kerfwave.model.acoustic import Air, ChamberDuct, DriverParameters, Mouth, Network, Segment

T = TypeVar("T")


class NoPromise(ValueError):
    """The report holds no network to compare with."""


@dataclass(frozen=True, slots=True)
class Promised:
    """What the package says of the body's sound."""

    network: Network
    air: Air
    volts: float
    distance_m: float
    space: str


@dataclass(frozen=True, slots=True)
class AsBuilt:
    """Factors on what was promised, 1 for exactly so, and the leak as 1 / QL, 0 for a tight body."""

    chamber: float = 1.0  # volume
    length: float = 1.0  # of the guide
    leak: float = 0.0  # 1 / QL at the reference frequency
    fill: float = 1.0  # flow resistivity of all fibre
    fs: float = 1.0  # of the driver
    qms: float = 1.0
    re: float = 1.0  # direct-current resistance, leads and all
    le: float = 1.0


def promised_of(report: Mapping[str, Any]) -> Promised:
    """Return the network of a package's report.

    Raises:
        NoPromise: if it is not there or not whole; the message names the place.
    """
    try:
        acoustics = report["acoustics"]
        network = acoustics["network"]
        mouth, duct = network.get("mouth"), network.get("chamber_duct")
        return Promised(
            Network(
                driver=_made(DriverParameters, network["driver"], "driver"),
                chamber_m3=_number(network["chamber_m3"], "chamber_m3"),
                chamber_flow_resistivity_pa_s_m2=_number(
                    network.get("chamber_flow_resistivity_pa_s_m2", 0.0), "chamber_flow_resistivity_pa_s_m2"
                ),
                guide=tuple(_made(Segment, one, "guide") for one in network["guide"]),
                mouth=None if mouth is None else _made(Mouth, mouth, "mouth"),
                leak_pa_s_m3=_number(network.get("leak_pa_s_m3", 0.0), "leak_pa_s_m3"),
                spacing_m=_number(network.get("spacing_m", 0.0), "spacing_m"),
                cone_wall_m=_number(network.get("cone_wall_m", 0.0), "cone_wall_m"),
                chamber_duct=None if duct is None else _made(ChamberDuct, duct, "chamber_duct"),
            ),
            air=_made(Air, acoustics["air"], "air"),
            volts=_number(acoustics["drive_volts"], "drive_volts"),
            distance_m=_number(acoustics["distance_m"], "distance_m"),
            space=str(acoustics["space"]),
        )
    except (KeyError, TypeError, AttributeError) as error:
        raise NoPromise(f"the report holds no complete acoustics: {error}") from error


def _made(cls: type[T], data: Mapping[str, Any], place: str) -> T:
    """Build one dataclass of numbers and words from plain data, leaving out keys of later versions."""
    values: dict[str, Any] = {}
    for field in dataclasses.fields(cls):  # type: ignore[arg-type]
        if field.name in data:
            values[field.name] = _value(data[field.name], field.type, f"{place}.{field.name}")
        elif field.default is dataclasses.MISSING:
            raise NoPromise(f"the report's {place} has no {field.name}")
    return cls(**values)


def _value(value: Any, kind: Any, place: str) -> Any:
    if kind not in ("str", str):
        return _number(value, place)
    if not isinstance(value, str):
        raise NoPromise(f"the report's {place} is {value!r}, which is no word")
    return value


def _number(value: Any, place: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise NoPromise(f"the report's {place} is {value!r}, which is no number")
    return float(value)


def leak_of(network: Network, air: Air, reference_hz: float) -> float:
    """Return the promised leak as 1 / QL at a frequency, 0 for a tight body."""
    if network.leak_pa_s_m3 <= 0.0:
        return 0.0
    return leak_resistance(1.0, reference_hz, network.chamber_m3, air) / network.leak_pa_s_m3


def built(promised: Promised, made: AsBuilt, reference_hz: float) -> Network:
    """Return the network with the factors in it.

    A driver of another fs keeps its moving mass and motor: only the suspension differs. A longer guide is longer by
    the same share everywhere, its bends and steps too; a larger chamber is wider by that share, not longer. The leak is
    1 / QL of the promised chamber at `reference_hz`.
    """
    network, old = promised.network, promised.network.driver
    fs, qms = old.fs_hz * made.fs, old.qms * made.qms
    omega, re_ohm = 2.0 * math.pi * fs, old.re_ohm * made.re
    qes = omega * old.mms_kg * re_ohm / old.bl_tm**2
    driver = dataclasses.replace(
        old,
        fs_hz=fs,
        qms=qms,
        qes=qes,
        qts=1.0 / (1.0 / qms + 1.0 / qes),
        vas_m3=old.vas_m3 / made.fs**2,
        cms_m_n=old.cms_m_n / made.fs**2,
        rms_kg_s=omega * old.mms_kg / qms,
        re_ohm=re_ohm,
        le_h=old.le_h * made.le,
        l2_h=old.l2_h * made.le,
        r2_ohm=old.r2_ohm * made.le,
    )
    guide = tuple(
        dataclasses.replace(
            one,
            length_m=one.length_m * made.length,
            extra_inertance_kg_m4=one.extra_inertance_kg_m4 * made.length,
            flow_resistivity_pa_s_m2=one.flow_resistivity_pa_s_m2 * made.fill,
        )
        for one in network.guide
    )
    leak = 0.0
    if made.leak > 0.0:
        leak = leak_resistance(1.0 / made.leak, reference_hz, network.chamber_m3, promised.air)
    return dataclasses.replace(
        network,
        driver=driver,
        chamber_m3=network.chamber_m3 * made.chamber,
        chamber_flow_resistivity_pa_s_m2=network.chamber_flow_resistivity_pa_s_m2 * made.fill,
        guide=guide,
        leak_pa_s_m3=leak,
        chamber_duct=None
        if (duct := network.chamber_duct) is None
        else dataclasses.replace(duct, area_m2=duct.area_m2 * made.chamber),
    )


def play(promised: Promised, made: AsBuilt, frequency_hz: Any, reference_hz: float) -> Solution:
    """Solve the body with the factors and the leak in it."""
    network = built(promised, made, reference_hz)
    frequency = np.asarray(frequency_hz, dtype=float)
    return solve_network(network, frequency, promised.air, promised.volts, promised.space)


def impedances(promised: Promised, bodies: Sequence[AsBuilt], frequency_hz: Any, reference_hz: float) -> Complex:
    """Return the electrical impedance in ohm of several bodies at once, shape (C, F).

    Most bodies of a fit differ in the driver only. So the air is solved once for each different chamber, guide, leak
    and fibre, with the promised driver; what it does to the cone is read off, and the other drivers are put before it.
    """
    frequency = np.asarray(frequency_hz, dtype=float)
    omega = 2.0 * np.pi * frequency
    airs = [dataclasses.replace(made, fs=1.0, qms=1.0, re=1.0, le=1.0) for made in bodies]
    different = list(dict.fromkeys(airs))
    networks = [built(promised, made, reference_hz) for made in different]
    mouth, driver, duct = promised.network.mouth, promised.network.driver, promised.network.chamber_duct
    if duct is not None:
        areas = _column([n.chamber_duct.area_m2 for n in networks if n.chamber_duct is not None])
        duct = dataclasses.replace(duct, area_m2=areas)  # type: ignore[arg-type]
    solution = solve(
        driver,
        _column([n.chamber_m3 for n in networks]),
        _column([n.chamber_flow_resistivity_pa_s_m2 for n in networks]),
        stack([n.guide for n in networks]),
        mouth.area_m2 if mouth else 0.0,
        mouth.end if mouth else None,
        omega,
        promised.air,
        promised.volts,
        leak_pa_s_m3=_column([n.leak_pa_s_m3 for n in networks]),
        spacing_m=promised.network.spacing_m,
        wall_m=mouth.wall_m if mouth else 0.0,
        cone_wall_m=promised.network.cone_wall_m,
        space=promised.space,
        chamber_duct=duct,
    )
    moving = driver.bl_tm**2 / (solution.electrical_impedance - voice_coil_impedance(driver, omega))
    load = np.broadcast_to(moving - _suspended(driver, omega), (len(networks), len(omega)))
    rows = dict(zip(different, load, strict=True))
    found = []
    for made, its_air in zip(bodies, airs, strict=True):
        its = built(promised, made, reference_hz).driver
        found.append(voice_coil_impedance(its, omega) + its.bl_tm**2 / (_suspended(its, omega) + rows[its_air]))
    return np.stack(found)


def _suspended(driver: DriverParameters, omega: Real) -> Complex:
    """Return the mechanical impedance of the moving parts, kg/s."""
    return np.asarray(driver.rms_kg_s + 1j * (omega * driver.mms_kg - 1.0 / (omega * driver.cms_m_n)))


def _column(values: list[float]) -> Real:
    return np.array(values)[:, np.newaxis]


def level_db(promised: Promised, solution: Solution) -> Real:
    """Return the level at the listener in dB re 20 uPa, cone, mouth and leaks at one place."""
    pressure = np.abs(solution.pressure(promised.distance_m, promised.space))
    return np.asarray(20.0 * np.log10(np.maximum(pressure, 1e-12) / REFERENCE_PA))
