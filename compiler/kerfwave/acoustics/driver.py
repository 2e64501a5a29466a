"""From the parameters a data sheet happens to give to the whole small-signal set, and where they contradict.

Relations: R. H. Small, "Direct-Radiator Loudspeaker System Analysis", JAES 20 (1972) 383. Plain `math` only, so
that checking a spec does not wait for numpy.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from kerfwave.model.acoustic import Air, DriverParameters
from kerfwave.model.spec import Driver
from kerfwave.numfmt import fixed


@dataclass(frozen=True, slots=True)
class Contradiction:
    """A stated parameter that the others do not bear out. `keys[0]` is the one to point at."""

    keys: tuple[str, ...]
    stated: float
    implied: float
    unit: str  # of both; empty for the quality factors
    percent: float  # stated over implied, less 100
    text: str


def complete(driver: Driver, air: Air) -> DriverParameters:
    """Return the whole small-signal set, every value consistent with every other.

    Where a data sheet says more than it takes, fs is kept; the moving mass decides before the compliance, and
    that before Vas; Qms and Qes before Qts; and Bl is used only if Qes, or the mass, cannot be had otherwise.
    `contradictions` tells what was passed over, `derivation.derived` what was stated and what follows.

    Raises:
        ValueError: if too little is known, or the values cannot belong to a driver (Qts above Qms, a value
            that is not a positive number, one half of the semi-inductance).
    """
    _all_positive(driver)
    if (driver.l2_mh is None) != (driver.r2_ohm is None):
        raise ValueError("l2_mh and r2_ohm go together: give both, or neither")
    sd_m2 = driver.sd_cm2 * 1e-4
    omega = 2.0 * math.pi * driver.fs_hz
    mms_kg = _moving_mass(driver, air)
    if mms_kg is None:
        raise ValueError("the suspension is unknown: give one of vas_l, cms_mm_n or mms_g")
    qms, qes = _quality_factors(driver, mms_kg)
    return DriverParameters(
        fs_hz=driver.fs_hz,
        qms=qms,
        qes=qes,
        qts=1.0 / (1.0 / qms + 1.0 / qes),
        vas_m3=air.density * air.speed**2 * sd_m2**2 / (omega**2 * mms_kg),
        sd_m2=sd_m2,
        re_ohm=driver.re_ohm,
        le_h=driver.le_mh * 1e-3,
        mms_kg=mms_kg,
        cms_m_n=1.0 / (omega**2 * mms_kg),
        rms_kg_s=omega * mms_kg / qms,
        bl_tm=math.sqrt(omega * mms_kg * driver.re_ohm / qes),
        l2_h=(driver.l2_mh or 0.0) * 1e-3,
        r2_ohm=driver.r2_ohm or 0.0,
    )


def contradictions(driver: Driver, air: Air, tolerance: float = 0.05) -> tuple[Contradiction, ...]:
    """Return every stated parameter that differs from what the others imply by more than `tolerance`.

    Only relations whose members are all stated are looked at, so an incomplete driver gives no false alarm.

    Raises:
        ValueError: for a value that is not a positive number.
    """
    _all_positive(driver)
    found = [
        _resonance(driver),
        _total_q(driver),
        *_equivalent_volume(driver, air),
        _force_factor(driver, air),
    ]
    return tuple(c for c in found if c is not None and abs(c.percent) > 100.0 * tolerance)


def _all_positive(driver: Driver) -> None:
    keys = ("fs_hz", "sd_cm2", "re_ohm", "qms", "qes", "qts", "vas_l", "cms_mm_n", "mms_g", "bl_tm", "l2_mh", "r2_ohm")
    for key in keys:
        value = getattr(driver, key)
        if value is not None and not (math.isfinite(value) and value > 0.0):
            raise ValueError(f"{key} is {value}; it must be a positive number")
    if not (math.isfinite(driver.le_mh) and driver.le_mh >= 0.0):
        raise ValueError(f"le_mh is {driver.le_mh}; it must be zero or a positive number")


def _moving_mass(driver: Driver, air: Air) -> float | None:
    """Return the moving mass in kg: stated, or from the suspension, or from Bl and the electrical Q."""
    mms_kg = _mass_and_spring(driver, air)
    qes = driver.qes
    if qes is None and driver.qms is not None and driver.qts is not None:
        qes = _other_q(driver.qts, driver.qms, "qms")
    if mms_kg is None and driver.bl_tm is not None and qes is not None:
        return qes * driver.bl_tm**2 / (2.0 * math.pi * driver.fs_hz * driver.re_ohm)
    return mms_kg


def _mass_and_spring(driver: Driver, air: Air) -> float | None:
    """Return the moving mass in kg: stated, or from fs and the compliance, or from fs and Vas."""
    omega = 2.0 * math.pi * driver.fs_hz
    if driver.mms_g is not None:
        return driver.mms_g * 1e-3
    if driver.cms_mm_n is not None:
        return 1.0 / (omega**2 * driver.cms_mm_n * 1e-3)
    if driver.vas_l is not None:
        compliance = driver.vas_l * 1e-3 / (air.density * air.speed**2 * (driver.sd_cm2 * 1e-4) ** 2)
        return 1.0 / (omega**2 * compliance)
    return None


def _quality_factors(driver: Driver, mms_kg: float) -> tuple[float, float]:
    """Return (Qms, Qes)."""
    qms, qes, qts = driver.qms, driver.qes, driver.qts
    if qes is None and qms is not None and qts is not None:
        return qms, _other_q(qts, qms, "qms")
    if qes is None and driver.bl_tm is not None:
        qes = 2.0 * math.pi * driver.fs_hz * mms_kg * driver.re_ohm / driver.bl_tm**2
    if qes is not None and qms is not None:
        return qms, qes
    if qes is not None and qts is not None:
        return _other_q(qts, qes, "qes" if driver.qes is not None else "the qes that follows from bl_tm,"), qes
    raise ValueError("the damping is unknown: give two of qts, qms and qes (bl_tm can stand for qes)")


def _other_q(qts: float, known: float, name: str) -> float:
    if qts >= known:
        raise ValueError(f"qts is {fixed(qts)} and {name} {fixed(known)}: the total must be the smaller one")
    return 1.0 / (1.0 / qts - 1.0 / known)


def _found(keys: tuple[str, ...], stated: float, implied: float, unit: str) -> Contradiction:
    percent = 100.0 * (stated / implied - 1.0)
    space = f" {unit}" if unit else ""
    others = ", ".join(keys[1:-1]) + " and " + keys[-1]
    way = "more" if percent > 0 else "less"
    text = (
        f"{keys[0]} is {_short(stated)}{space}, but {others} make it {_short(implied)}{space}: "
        f"stated {fixed(abs(percent), 1)} % {way}"
    )
    return Contradiction(keys, stated, implied, unit, percent, text)


def _short(value: float) -> str:
    """Return `value` to four figures."""
    return fixed(value, max(0, 3 - math.floor(math.log10(abs(value)))))


def _resonance(driver: Driver) -> Contradiction | None:
    if driver.mms_g is None or driver.cms_mm_n is None:
        return None
    implied = 1.0 / (2.0 * math.pi * math.sqrt(driver.mms_g * 1e-3 * driver.cms_mm_n * 1e-3))
    return _found(("fs_hz", "mms_g", "cms_mm_n"), driver.fs_hz, implied, "Hz")


def _total_q(driver: Driver) -> Contradiction | None:
    if driver.qts is None or driver.qms is None or driver.qes is None:
        return None
    return _found(("qts", "qms", "qes"), driver.qts, 1.0 / (1.0 / driver.qms + 1.0 / driver.qes), "")


def _equivalent_volume(driver: Driver, air: Air) -> list[Contradiction | None]:
    """Vas against Sd and Cms, and against fs, Sd and Mms: two relations, for either of Cms and Mms may be wrong."""
    if driver.vas_l is None:
        return []
    litres_per_compliance = air.density * air.speed**2 * (driver.sd_cm2 * 1e-4) ** 2 * 1e3
    found: list[Contradiction | None] = []
    if driver.cms_mm_n is not None:
        implied = litres_per_compliance * driver.cms_mm_n * 1e-3
        found.append(_found(("vas_l", "sd_cm2", "cms_mm_n"), driver.vas_l, implied, "L"))
    if driver.mms_g is not None:
        compliance = 1.0 / ((2.0 * math.pi * driver.fs_hz) ** 2 * driver.mms_g * 1e-3)
        found.append(
            _found(("vas_l", "fs_hz", "sd_cm2", "mms_g"), driver.vas_l, litres_per_compliance * compliance, "L")
        )
    return found


def _force_factor(driver: Driver, air: Air) -> Contradiction | None:
    """Bl against Qes, Re and Mms, where Qes may come from Qts and Qms, and Mms from fs and Cms or Vas."""
    mms_kg = _mass_and_spring(driver, air)
    if driver.bl_tm is None or mms_kg is None:
        return None
    q_keys: tuple[str, ...]
    if driver.qes is not None:
        qes, q_keys = driver.qes, ("qes",)
    elif driver.qts is not None and driver.qms is not None and driver.qts < driver.qms:
        qes, q_keys = 1.0 / (1.0 / driver.qts - 1.0 / driver.qms), ("qts", "qms")
    else:
        return None
    implied = math.sqrt(2.0 * math.pi * driver.fs_hz * mms_kg * driver.re_ohm / qes)
    mass_key = "mms_g" if driver.mms_g is not None else "cms_mm_n" if driver.cms_mm_n is not None else "vas_l"
    keys = ("bl_tm", *q_keys, "re_ohm", "fs_hz", mass_key)
    return _found(keys, driver.bl_tm, implied, "T·m")
