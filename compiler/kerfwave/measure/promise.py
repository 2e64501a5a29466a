"""Is the body what the package promised, by its impedance; and if not, what the bench made otherwise.

Peaks and dips are placed by the same local quadratic on both curves, at the frequencies that were measured, so that
what the method leans to one side cancels. The verdict is about them; the as-built fit then says why.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from kerfwave.measure.fit import Estimate
from kerfwave.measure.impedance import LEAST_ROWS, Complex, ImpedanceSweep
from kerfwave.measure.promise_features import Extremum, extrema, matched
from kerfwave.measure.promise_fit import Explained, explain
from kerfwave.measure.promise_model import (
    AsBuilt,
    NoPromise,
    Promised,
    impedances,
    leak_of,
    level_db,
    play,
    promised_of,
)

FROM_HZ, TO_HZ = 15.0, 500.0  # where a network of one dimension may be believed, and the guide has its say
TOLERANCE_PERCENT = 5.0
CURVES_APART = 0.01  # report and network recomputed: more, and the report is of another version
UNEXPLAINED_PERCENT = 5.0
WEAK_PROMINENCE = 0.1  # of ln |Z|
CLEAR = 2.0  # standard uncertainties


@dataclass(frozen=True, slots=True)
class Mark:
    """One peak or dip, promised and measured; None where the measurement shows none near it."""

    name: str  # such as "peak 1"; the first dip is the guide's tuning
    promised_hz: float
    measured: Estimate | None  # Hz
    promised_ohm: float
    measured_ohm: float | None
    percent: Estimate | None  # measured over promised, less 100
    weak: bool  # promised to stand out so little that it may be missing

    def keeps(self, tolerance_percent: float) -> bool:
        """Tell whether it is near enough: beyond the tolerance only where the uncertainty does not reach back to it.

        That is how ISO 14253-1 proves that a part does not conform (from memory). A weak one may be missing.
        """
        if self.percent is None:
            return self.weak
        return abs(self.percent.value) - CLEAR * self.percent.standard <= tolerance_percent


@dataclass(frozen=True, slots=True)
class Finding:
    """One as-built quantity. `percent` is against the promise; None for the leak, whose promise may be none."""

    key: str
    name: str
    unit: str
    promised: float
    found: Estimate
    percent: Estimate | None
    tuning_percent: float | None  # by how much it alone moves the first dip (the first peak of a closed box)

    @property
    def clear(self) -> bool:
        """Tell whether it differs from the promise by more than chance."""
        return abs(self.found.value - self.promised) > CLEAR * self.found.standard


@dataclass(frozen=True, slots=True)
class Overlay:
    """The three curves at the measured frequencies; phases are None where none was measured."""

    frequency_hz: tuple[float, ...]
    measured_ohm: tuple[float, ...]
    promised_ohm: tuple[float, ...]
    explained_ohm: tuple[float, ...]
    measured_degrees: tuple[float, ...] | None
    promised_degrees: tuple[float, ...]
    explained_degrees: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Effect:
    """What the as-built body does to the sound, by the network: against the promise, at the same drive."""

    frequency_hz: tuple[float, ...]
    level_db: tuple[float, ...]  # as built less promised
    excursion_db: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Comparison:
    """Measured impedance beside the promised one."""

    marks: tuple[Mark, ...]
    extra: tuple[Extremum, ...]  # measured, but not promised
    tolerance_percent: float
    within: bool
    deviation_percent: float  # root mean square of |Z|, measured against promised
    explained: Explained
    findings: tuple[Finding, ...]
    reference_hz: float
    overlay: Overlay
    effect: Effect
    doubts: tuple[str, ...]

    @property
    def tuning(self) -> Mark | None:
        """Return the first dip: where guide and chamber answer each other."""
        return next((m for m in self.marks if m.name == "dip 1"), None)


def compare(
    report: Mapping[str, Any],
    measured: ImpedanceSweep,
    *,
    tolerance_percent: float = TOLERANCE_PERCENT,
    from_hz: float = FROM_HZ,
    to_hz: float = TO_HZ,
) -> Comparison:
    """Lay a measured impedance over the one of a package's report.

    Raises:
        NoPromise: if the report holds no network, or too little was measured between the two frequencies.
    """
    promised = promised_of(report)
    sweep = measured.band(from_hz, to_hz)
    if len(sweep.frequency_hz) < LEAST_ROWS:
        raise NoPromise(
            f"{measured.name}: {len(sweep.frequency_hz)} rows between {from_hz:g} and {to_hz:g} Hz are too few to "
            "compare"
        )
    frequency = np.asarray(sweep.frequency_hz)
    (design,) = impedances(promised, (AsBuilt(leak=_own_leak(promised)),), frequency, promised.network.driver.fs_hz)
    there = extrema(_as_sweep("promised", frequency, design))
    reference = next((e.hz for e in there if e.kind == "dip"), promised.network.driver.fs_hz)
    seen = extrema(sweep)
    marks = _marks(matched(there, seen))
    used = {mark.measured.value for mark in marks if mark.measured is not None}
    explained = explain(promised, sweep, reference)
    (best,) = impedances(promised, (explained.made,), frequency, reference)
    deviation = np.log(np.asarray(sweep.ohm) / np.abs(design))
    return Comparison(
        marks=marks,
        extra=tuple(e for e in seen if e.hz not in used),
        tolerance_percent=tolerance_percent,
        within=bool(marks) and all(mark.keeps(tolerance_percent) for mark in marks),
        deviation_percent=100.0 * float(np.sqrt(np.mean(deviation**2))),
        explained=explained,
        findings=_findings(promised, explained, frequency, reference),
        reference_hz=reference,
        overlay=Overlay(
            sweep.frequency_hz,
            sweep.ohm,
            _floats(np.abs(design)),
            _floats(np.abs(best)),
            sweep.degrees,
            _floats(np.degrees(np.angle(design))),
            _floats(np.degrees(np.angle(best))),
        ),
        effect=_effect(promised, explained.made, reference, from_hz, to_hz),
        doubts=_doubts(report, promised, explained, marks, sweep),
    )


def _own_leak(promised: Promised) -> float:
    return leak_of(promised.network, promised.air, promised.network.driver.fs_hz)


def _as_sweep(name: str, frequency: Any, impedance: Complex) -> ImpedanceSweep:
    return ImpedanceSweep(name, _floats(frequency), _floats(np.abs(impedance)))


def _marks(pairs: tuple[tuple[Extremum, Extremum | None], ...]) -> tuple[Mark, ...]:
    count = {"peak": 0, "dip": 0}
    marks = []
    for promise, found in pairs:
        count[promise.kind] += 1
        marks.append(
            Mark(
                name=f"{promise.kind} {count[promise.kind]}",
                promised_hz=promise.hz,
                measured=None if found is None else Estimate(found.hz, found.standard_hz),
                promised_ohm=promise.ohm,
                measured_ohm=None if found is None else found.ohm,
                percent=None
                if found is None
                else Estimate(100.0 * (found.hz / promise.hz - 1.0), 100.0 * found.standard_hz / promise.hz),
                weak=promise.prominence < WEAK_PROMINENCE,
            )
        )
    return tuple(marks)


def _findings(promised: Promised, explained: Explained, frequency: Any, reference_hz: float) -> tuple[Finding, ...]:
    """Return every fitted quantity in its own unit, and what each alone does to the tuning."""
    network, made = promised.network, explained.made
    fibre = max([network.chamber_flow_resistivity_pa_s_m2, *(s.flow_resistivity_pa_s_m2 for s in network.guide)])
    rest = leak_of(network, promised.air, reference_hz)
    about = {
        "chamber": ("chamber volume", "L", 1e3 * network.chamber_m3),
        "length": ("guide length", "mm", 1e3 * math.fsum(s.length_m for s in network.guide)),
        "leak": ("leak 1/QL", "", rest),
        "fill": ("fibre, most resistive", "Pa s/m2", fibre),
        "fs": ("driver fs", "Hz", network.driver.fs_hz),
        "qms": ("driver Qms", "", network.driver.qms),
        "re": ("Re with leads", "ohm", network.driver.re_ohm),
        "le": ("coil inductance", "mH", 1e3 * (network.driver.le_h + network.driver.l2_h)),
    }
    as_designed = AsBuilt(leak=rest)
    alone = [replace(as_designed, **{key: getattr(made, key)}) for key in explained.keys]
    places = [_tuning_of(frequency, z) for z in impedances(promised, (as_designed, *alone), frequency, reference_hz)]
    findings = []
    for key, standard, place in zip(explained.keys, explained.standard, places[1:], strict=True):
        name, unit, promise = about[key]
        factor = getattr(made, key)
        moved = None if place is None or places[0] is None else 100.0 * (place / places[0] - 1.0)
        if key == "leak":
            findings.append(Finding(key, name, unit, promise, Estimate(factor, standard), None, moved))
        else:
            percent = Estimate(100.0 * (factor - 1.0), 100.0 * factor * standard)
            value = Estimate(promise * factor, promise * factor * standard)
            findings.append(Finding(key, name, unit, promise, value, percent, moved))
    return tuple(findings)


def _tuning_of(frequency: Any, impedance: Complex) -> float | None:
    """Return the first dip, or the first peak where there is none."""
    found = extrema(_as_sweep("", frequency, impedance))
    for kind in ("dip", "peak"):
        for one in found:
            if one.kind == kind:
                return one.hz
    return None


def _effect(promised: Promised, made: AsBuilt, reference_hz: float, from_hz: float, to_hz: float) -> Effect:
    """Return how level and excursion change, 36 points an octave."""
    count = max(round(36 * math.log2(to_hz / max(from_hz, 20.0))), 2)
    frequency = np.geomspace(max(from_hz, 20.0), to_hz, count + 1)
    rest = leak_of(promised.network, promised.air, reference_hz)
    before = play(promised, AsBuilt(leak=rest), frequency, reference_hz)
    after = play(promised, made, frequency, reference_hz)
    return Effect(
        _floats(frequency),
        _floats(level_db(promised, after) - level_db(promised, before)),
        _floats(20.0 * np.log10(after.excursion_peak() / before.excursion_peak())),
    )


def _doubts(
    report: Mapping[str, Any],
    promised: Promised,
    explained: Explained,
    marks: tuple[Mark, ...],
    sweep: ImpedanceSweep,
) -> tuple[str, ...]:
    doubts = []
    if explained.residual_percent > UNEXPLAINED_PERCENT:
        doubts.append(
            f"{explained.residual_percent:.1f} % (root mean square) of the impedance stays unexplained: something is "
            "at work that the network does not know, such as a rattle, a blocked guide or a wrong sweep"
        )
    if explained.stuck:
        doubts.append(
            f"the fit ran into the bounds of {', '.join(WORDS[key] for key in explained.stuck)}: nothing that a bench "
            "would make explains this curve, so the as-built values mean little"
        )
    doubts += [
        f"{WORDS[a]} and {WORDS[b]} can hardly be told apart by impedance alone (correlation {r:+.2f}); weigh or "
        "measure one of them"
        for a, b, r in explained.together
    ]
    if not marks:
        doubts.append("the promised curve has no peak in the band that was measured: sweep from 20 to 500 Hz")
    thin = (len(sweep.frequency_hz) - 1) / math.log2(sweep.frequency_hz[-1] / sweep.frequency_hz[0])
    if thin < 12.0:
        doubts.append(f"{thin:.0f} points an octave are few; 24 and more place peaks and dips well")
    if _strays(report, promised):
        doubts.append("the report's own curve is not what this version computes: build the package again")
    return tuple(doubts)


def _strays(report: Mapping[str, Any], promised: Promised) -> bool:
    """Tell whether the report's impedance differs from that of its network, computed now."""
    response = report["acoustics"].get("response", {})
    frequency, ohm = response.get("frequency_hz", ()), response.get("impedance_ohm", ())
    if len(frequency) == 0 or len(frequency) != len(ohm):
        return False
    now = play(promised, AsBuilt(leak=_own_leak(promised)), frequency, promised.network.driver.fs_hz)
    return bool(np.max(np.abs(np.abs(now.electrical_impedance) / np.asarray(ohm, dtype=float) - 1.0)) > CURVES_APART)


WORDS = {
    "chamber": "chamber volume",
    "length": "guide length",
    "leak": "leak",
    "fill": "fibre",
    "fs": "the driver's fs",
    "qms": "the driver's Qms",
    "re": "Re",
    "le": "coil inductance",
}


def _floats(values: Any) -> tuple[float, ...]:
    return tuple(float(v) for v in values)
