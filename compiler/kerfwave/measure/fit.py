"""Fit a driver's small-signal parameters to impedance sweeps: least squares on the whole curve.

One sweep in free air gives fs, the quality factors, Re and the coil. How heavy, how compliant and how strong the
driver is takes a second one, with a known mass on the cone or the driver in a known closed box; see `docs/fitting.md`
for how to take them. Every value comes with its standard uncertainty: from the slopes of the residuals, scaled by
their scatter, widened where neighbouring residuals go together, and with the uncertainty of what the person gave.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from kerfwave.measure.fit_problem import LINEAR, START_CORNERS_HZ, Curve, Solved, errors, solve
from kerfwave.measure.fit_start import NotADriver, Start, guess
from kerfwave.measure.impedance import ImpedanceSweep, Real
from kerfwave.model.acoustic import Air

WORST_RESIDUAL = 0.15  # root mean square; beyond it the curve is something else
DOUBTFUL_RESIDUAL = 0.03
RE_APART = 0.03
FINEST = 1e-4  # of |Z|: no meter sees less, so no coil is chosen for it
LEAST_RATIO = 0.15  # added over moving mass, or Vas over box
RESULTS = (
    *("fs_hz", "qms", "qes", "qts", "re_ohm", "zmax_ohm", "le_h", "l2_h", "r2_ohm"),
    *("mms_kg", "cms_m_n", "bl_tm", "vas_m3", "sd_m2"),
)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value and its standard uncertainty (k = 1), in the same unit; twice that covers about 95 %."""

    value: float
    standard: float

    def covers(self, truth: float, k: float = 2.0) -> bool:
        """Tell whether `truth` lies within k standard uncertainties."""
        return abs(truth - self.value) <= k * self.standard


@dataclass(frozen=True, slots=True)
class Given:
    """What the person knows beside the sweeps, all with one relative standard uncertainty."""

    re_ohm: float | None = None  # direct-current resistance at the terminals
    sd_m2: float | None = None
    added_mass_kg: float | None = None
    box_m3: float | None = None  # net volume behind the cone
    uncertainty: float = 0.01


@dataclass(frozen=True, slots=True)
class FittedCurve:
    """One sweep and the model through it. All tuples are of one length."""

    load: str
    frequency_hz: tuple[float, ...]
    ohm: tuple[float, ...]  # measured
    degrees: tuple[float, ...] | None
    fit_ohm: tuple[float, ...]
    fit_degrees: tuple[float, ...]
    error_percent: tuple[float, ...]  # of the magnitude
    error_degrees: tuple[float, ...] | None


@dataclass(frozen=True, slots=True)
class DriverFit:
    """What the sweeps say of the driver, SI units. None: these sweeps cannot tell (`missing` says what would)."""

    fs_hz: Estimate
    qms: Estimate
    qes: Estimate
    qts: Estimate
    re_ohm: Estimate
    le_h: Estimate | None  # L1; None where the curve does not need it
    l2_h: Estimate | None
    r2_ohm: Estimate | None
    zmax_ohm: Estimate
    mms_kg: Estimate | None
    cms_m_n: Estimate | None
    bl_tm: Estimate | None
    vas_m3: Estimate | None
    sd_m2: Estimate | None  # from mass and box together
    coil: str
    residual_percent: float  # root mean square of the magnitude
    residual_degrees: float | None
    correlation: float  # of neighbouring residuals; above 0 the model misses something
    curves: tuple[FittedCurve, ...]
    missing: tuple[str, ...]
    doubts: tuple[str, ...]


def fit(
    free_air: ImpedanceSweep,
    given: Given,
    air: Air,
    *,
    with_mass: ImpedanceSweep | None = None,
    in_box: ImpedanceSweep | None = None,
) -> DriverFit:
    """Return the parameters that the sweeps bear out.

    Args:
        free_air: the driver alone, away from walls.
        given: what is known beside the sweeps.
        air: the medium, for Vas.
        with_mass: the same with `given.added_mass_kg` on the cone.
        in_box: the same in a closed box of `given.box_m3`.

    Raises:
        NotADriver: if a curve has no resonance, or no driver's parameters come near it.
        ValueError: if a second sweep comes without its mass or volume.
    """
    if (with_mass is None) != (given.added_mass_kg is None) or (in_box is None) != (given.box_m3 is None):
        raise ValueError("a second sweep needs its mass or volume, and these need their sweep")
    loaded = (("free air", free_air), ("added mass", with_mass), ("known box", in_box))
    sweeps = [(load, sweep) for load, sweep in loaded if sweep is not None]
    curves = tuple(
        Curve(load, 2.0 * np.pi * np.asarray(s.frequency_hz), s.values(), s.degrees is not None) for load, s in sweeps
    )
    start = _start(sweeps, given)
    re_given = (math.log(given.re_ohm), max(given.uncertainty, 1e-6)) if given.re_ohm is not None else None
    kind, best = _simplest(curves, start, re_given)
    fitted = tuple(_fitted(curve, best) for curve in curves)
    rms = math.sqrt(float(np.mean([e**2 for c in fitted for e in c.error_percent]))) / 100.0
    if rms > WORST_RESIDUAL:
        raise NotADriver(
            f"{free_air.name}: the best driver is still {100 * rms:.0f} % off this curve (root mean square); "
            "is it really one driver in free air, in ohm, and the other sweeps of the same driver?"
        )
    together = _correlation(curves, best)
    widened = best.covariance * (1.0 + together) / (1.0 - together)
    phases = [e**2 for c in fitted for e in c.error_degrees or ()]
    values = _values(best, widened, given, air)
    return DriverFit(
        **values,  # type: ignore[arg-type]  # the first six are always there
        coil=kind,
        residual_percent=100.0 * rms,
        residual_degrees=math.sqrt(float(np.mean(phases))) if phases else None,
        correlation=together,
        curves=fitted,
        missing=_missing(values, given),
        doubts=_doubts(best, given, rms, together, sweeps, values),
    )


def _start(sweeps: list[tuple[str, ImpedanceSweep]], given: Given) -> dict[str, float]:
    """Return the logarithms to begin with."""
    guesses = {load: guess(sweep, given.re_ohm) for load, sweep in sweeps}
    free: Start = guesses["free air"]
    inductance = free.reactance_ohm / (2.0 * math.pi * free.at_hz)
    logs = {
        "re": math.log(free.re_ohm),
        "fs": math.log(free.fs_hz),
        "qms": math.log(free.qms),
        "qes": math.log(free.qes),
        "l1": math.log(inductance),
        "rise": math.log(free.rise_ohm),
    }
    if "added mass" in guesses:
        heavy = guesses["added mass"]
        logs["mass_ratio"] = math.log(max((free.fs_hz / heavy.fs_hz) ** 2 - 1.0, 0.02))
        logs["mass_qms"] = math.log(heavy.qms)
    if "known box" in guesses:
        boxed = guesses["known box"]
        logs["box_ratio"] = math.log(max((boxed.fs_hz / free.fs_hz) ** 2 - 1.0, 0.02))
        logs["box_fs"], logs["box_qms"] = math.log(boxed.fs_hz), math.log(boxed.qms)
    return logs


def _simplest(
    curves: tuple[Curve, ...], start: dict[str, float], re_given: tuple[float, float] | None
) -> tuple[str, Solved]:
    """Return the model of the coil that the curve asks for, and its solution.

    The coil is chosen on the free-air curve by Akaike's criterion (IEEE Trans. Autom. Control 19 (1974) 716), all
    candidates weighed with the scatter of the best. L1 is never left out where L2 and R2 are needed: it may come out
    as nothing, but with an uncertainty, which those of L2 and R2 then share.
    """
    alone = tuple(c for c in curves if c.load == "free air")

    def rough(kind: str, begin: Mapping[str, float]) -> Solved:
        return solve(kind, alone, begin, re_given=re_given, scatter=(0.01, 0.01))

    def logs_of(solved: Solved) -> dict[str, float]:
        return dict(zip(solved.names, map(float, solved.logs), strict=True))

    def corner(resistance: float, hz: float) -> dict[str, float]:
        return {"l2": resistance - math.log(2.0 * math.pi * hz), "r2": resistance}

    plain = rough("inductance", start)
    # The corner of L2 and R2 is not to be seen by eye. Either the coil still climbs at the end of the sweep, with R2
    # about as much as its reactance in the middle; or it has levelled off, at R2 above Re.
    middle = start["l1"] + math.log(2.0 * math.pi * START_CORNERS_HZ[1])
    climbing = [{**logs_of(plain), **corner(middle, hz)} for hz in START_CORNERS_HZ]
    level = [{**start, **corner(start["rise"], hz)} for hz in START_CORNERS_HZ[:2]]
    lossy = min((rough("lossy", one) for one in climbing + level), key=lambda s: s.cost)
    half = logs_of(lossy)["l2"] - math.log(2.0)
    both = [{**logs_of(lossy), "l1": half}, {**climbing[1], "l1": start["l1"] - math.log(4.0)}]
    candidates = [
        ("resistance", rough("resistance", start)),
        ("inductance", plain),
        ("semi-inductance", min((rough("semi-inductance", one) for one in both), key=lambda s: s.cost)),
    ]
    count = plain.count
    floor = count * (FINEST / 0.01) ** 2
    kind, best = min(candidates, key=lambda c: count * math.log(max(c[1].cost, floor)) + 2 * len(c[1].logs))
    return kind, solve(kind, curves, {**start, **logs_of(best)}, re_given=re_given)


def _fitted(curve: Curve, solved: Solved) -> FittedCurve:
    error, _, model = errors(curve, solved.names, solved.logs)
    return FittedCurve(
        load=curve.load,
        frequency_hz=_floats(curve.omega / (2.0 * np.pi)),
        ohm=_floats(np.abs(curve.measured)),
        degrees=_floats(np.degrees(np.angle(curve.measured))) if curve.has_phase else None,
        fit_ohm=_floats(np.abs(model)),
        fit_degrees=_floats(np.degrees(np.angle(model))),
        error_percent=_floats(100.0 * np.expm1(error.real)),
        error_degrees=_floats(np.degrees(error.imag)) if curve.has_phase else None,
    )


def _correlation(curves: tuple[Curve, ...], solved: Solved) -> float:
    """Return the correlation of neighbouring residuals, 0 where it may be chance.

    Residuals that go together carry less information than their number: (1 + r) / (1 - r) widens the covariance, as
    for a first-order autoregressive series (common practice in the statistics of time series).
    """
    above, below, count = 0.0, 0.0, 0
    for curve in curves:
        error, _, _ = errors(curve, solved.names, solved.logs)
        for part in (error.real / solved.scatter[0], error.imag / solved.scatter[1])[: 1 + curve.has_phase]:
            above += float(part[1:] @ part[:-1])
            below += float(part @ part)
            count += len(part)
    found = min(above / below, 0.95) if below > 0.0 else 0.0
    return found if found > 2.0 / math.sqrt(count) and max(solved.scatter) > 1e-6 else 0.0


Numbers = dict[str, float]


def _results(v: Numbers, air: Air) -> Numbers:
    """Return what follows from the fitted and the given values, all SI, by the names of `DriverFit`.

    Whatever cannot be had is not there: the mass comes from an added one, or from box and cone area.
    """
    stiffness, omega = air.density * air.speed**2, 2.0 * math.pi * v["fs"]
    found = {
        "fs_hz": v["fs"],
        "qms": v["qms"],
        "qes": v["qes"],
        "qts": v["qms"] * v["qes"] / (v["qms"] + v["qes"]),
        "re_ohm": v["re"],
        "zmax_ohm": v["re"] * (1.0 + v["qms"] / v["qes"]),
    }
    found |= {name: v[key] for name, key in (("le_h", "l1"), ("l2_h", "l2"), ("r2_ohm", "r2")) if key in v}
    boxed = v["box"] * v["box_ratio"] if "box" in v else None  # Vas by the box
    if "mass" in v:
        found["mms_kg"] = v["mass"] / v["mass_ratio"]
    elif boxed is not None and "sd" in v:
        found["mms_kg"] = stiffness * v["sd"] ** 2 / (boxed * omega**2)
    if "mms_kg" in found:
        found["cms_m_n"] = 1.0 / (omega**2 * found["mms_kg"])
        found["bl_tm"] = math.sqrt(omega * found["mms_kg"] * v["re"] / v["qes"])
    if "mass" in v and "sd" in v:
        found["vas_m3"] = stiffness * v["sd"] ** 2 * found["cms_m_n"]
    elif boxed is not None:
        found["vas_m3"] = boxed
    if "mass" in v and boxed is not None:
        found["sd_m2"] = math.sqrt(boxed / (stiffness * found["cms_m_n"]))
    return found


def _values(solved: Solved, covariance: Real, given: Given, air: Air) -> dict[str, Estimate | None]:
    """Return every result with its uncertainty: to the first order, the given values independent."""
    known = {"mass": given.added_mass_kg, "box": given.box_m3, "sd": given.sd_m2}
    inputs = {name: value for name, value in known.items() if value is not None}
    keys = (*solved.names, *inputs)
    point = np.array([*np.exp(solved.logs), *inputs.values()])
    whole = np.zeros((len(keys), len(keys)))
    whole[: len(solved.names), : len(solved.names)] = covariance
    for i in range(len(solved.names), len(keys)):
        whole[i, i] = given.uncertainty**2
    linear = np.array([1.0 if name in LINEAR else value for name, value in zip(keys, point, strict=True)])
    whole *= np.outer(linear, linear)  # now of the values

    def results(values: Real) -> Numbers:
        return _results(dict(zip(keys, map(float, values), strict=True)), air)

    best = results(point)
    slopes = {name: np.zeros(len(keys)) for name in best}
    for i, step in enumerate(1e-6 * point):
        up, down = (results(point + sign * step * np.eye(len(keys))[i]) for sign in (1.0, -1.0))
        for name in best:
            slopes[name][i] = (up[name] - down[name]) / (2.0 * step)
    found: dict[str, Estimate | None] = dict.fromkeys(RESULTS)
    for name, value in best.items():
        found[name] = Estimate(value, math.sqrt(max(float(slopes[name] @ whole @ slopes[name]), 0.0)))
    return found


def _missing(values: dict[str, Estimate | None], given: Given) -> tuple[str, ...]:
    """Say what these sweeps cannot tell, and what would."""
    if values["mms_kg"] is None and values["vas_m3"] is None:
        return (
            "Mms, Cms, Bl and Vas cannot be had from free air alone. Sweep again with a small known mass on the cone "
            "(--added-mass GRAMS FILE), or in a closed box of known volume (--known-box LITRES FILE); or give one of "
            "Vas, Cms and Mms from a data sheet.",
        )
    if values["mms_kg"] is None:
        return ("Mms, Cms and Bl need the effective cone area beside the box: give --sd CM2.",)
    if values["vas_m3"] is None:
        return ("Vas needs the effective cone area beside the mass: give --sd CM2.",)
    return ()


def _doubts(
    solved: Solved,
    given: Given,
    rms: float,
    together: float,
    sweeps: list[tuple[str, ImpedanceSweep]],
    values: dict[str, Estimate | None],
) -> tuple[str, ...]:
    """Say what a careful person would look at before trusting the figures."""
    doubts = []
    fs, re = values["fs_hz"], values["re_ohm"]
    assert fs is not None  # every fit has these two
    assert re is not None
    if rms > DOUBTFUL_RESIDUAL:
        doubts.append(
            f"the curve strays {100 * rms:.1f} % from the model (root mean square): look at the residual plot before "
            "you trust the figures"
        )
    if together > 0.3:
        doubts.append(
            f"neighbouring residuals go together (correlation {together:.2f}): the coil or the suspension does "
            "something the model does not, and the uncertainties were widened for it"
        )
    first, last = sweeps[0][1].frequency_hz[0], sweeps[0][1].frequency_hz[-1]
    if first > 0.5 * fs.value and given.re_ohm is None:
        doubts.append(f"the sweep begins at {first:g} Hz, close to the resonance: measure Re with a meter (--re OHM)")
    if last < 10.0 * fs.value:
        doubts.append(f"the sweep ends at {last:g} Hz: too low to see much of the coil's inductance")
    if given.re_ohm is not None and abs(re.value / given.re_ohm - 1.0) > RE_APART:
        doubts.append(
            f"Re given as {given.re_ohm:g} ohm, but the sweep asks for {re.value:.3g} ohm: check leads and meter"
        )
    for name, what, better in (("mass_ratio", "added mass", "heavier"), ("box_ratio", "known box", "smaller")):
        if name in solved.names and (ratio := math.exp(solved.log(name))) < LEAST_RATIO:
            doubts.append(
                f"the {what} is slight beside the driver's own ({100 * ratio:.0f} %): a {better} one tells more"
            )
    area = values["sd_m2"]
    if area is not None and given.sd_m2 is not None:
        apart = area.value / given.sd_m2 - 1.0
        if abs(apart) > 2.0 * math.hypot(area.standard / area.value, given.uncertainty):
            doubts.append(
                f"mass and box together make the cone area {1e4 * area.value:.3g} cm2, {100 * apart:+.0f} % from the "
                "one given"
            )
    return tuple(doubts)


def _floats(values: Real) -> tuple[float, ...]:
    return tuple(float(v) for v in values)


__all__ = ["DriverFit", "Estimate", "FittedCurve", "Given", "NotADriver", "fit"]
