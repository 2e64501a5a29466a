"""Response: what the body as built does, beside the closed box of the same outside size, held against the target."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from kerfwave.acoustics import targets
from kerfwave.acoustics.air import air as air_at
from kerfwave.acoustics.network import response, responses
from kerfwave.acoustics.sizing import SECOND_ROUND_PER_OCTAVE
from kerfwave.model.acoustic import Air, Response
from kerfwave.model.parts import Check
from kerfwave.model.spec import Driver, Listening, Target
from kerfwave.numfmt import several
from kerfwave.stages.body import Built
from kerfwave.stages.sizing import Sized

REPORT_PER_OCTAVE = 36


@dataclass(frozen=True, slots=True)
class AsBuilt:
    """The responses that are reported, and the figures that the target asks about."""

    air: Air
    response: Response  # at the listening distance
    closed: Response
    level_db: float  # mean in the band, at the listening distance
    level_1m_db: float
    ripple_db: float
    relief_least_db: float
    relief_mean_db: float
    bass_gain_db: float
    excursion_mm: float
    mouth_m_s: float
    tuning_hz: float  # where the cone rests most, below the relief range's end
    below_mm: float  # greatest excursion below the relief range: what a high-pass has to prevent
    checks: tuple[Check, ...]


def run(built: Built, sized: Sized, driver: Driver, target: Target, volts: float, listening: Listening) -> AsBuilt:
    """Run the stage."""
    air = air_at()
    f = targets.grid(targets.LEAST_FREQUENCY_HZ, targets.MOST_FREQUENCY_HZ, REPORT_PER_OCTAVE)
    mine = response(built.network, f, air, volts, listening.distance_m, listening.space)
    closed = response(built.closed, f, air, volts, listening.distance_m, listening.space)

    dense = targets.target_grid(target, SECOND_ROUND_PER_OCTAVE)
    both = responses((built.network, built.closed), dense, air, volts, 1.0, listening.space)
    figures = targets.judge(
        target,
        both.frequency_hz,
        both.spl_db[0],
        both.excursion_peak_mm[0],
        both.mouth_velocity_peak_m_s[0],
        both.spl_db[1],
        both.excursion_peak_mm[1],
    )
    limit = target.excursion_mm or driver.xmax_mm
    missed = {name: float(v) for name, v in targets.shortfalls(target, figures, limit).items()}
    low = [i for i, hz in enumerate(f) if hz < target.relief_from_hz]
    reach = [i for i, hz in enumerate(f) if hz <= target.relief_to_hz]
    below_mm = max((mine.excursion_peak_mm[i] for i in low), default=0.0)
    ratio = np.array(mine.excursion_peak_mm) / np.array(closed.excursion_peak_mm)
    return AsBuilt(
        air=air,
        response=mine,
        closed=closed,
        level_db=float(figures.level_db) - 20 * math.log10(listening.distance_m),
        level_1m_db=float(figures.level_db),
        ripple_db=float(figures.ripple_db),
        relief_least_db=float(figures.relief_db),
        relief_mean_db=float(figures.relief_mean_db),
        bass_gain_db=float(figures.bass_gain_db),
        excursion_mm=float(figures.excursion_mm),
        mouth_m_s=float(figures.mouth_m_s),
        tuning_hz=f[min(reach, key=lambda i: (ratio[i], i))] if reach else f[0],
        below_mm=below_mm,
        checks=_checks(_Judged(target, figures, missed, limit, below_mm), built, sized),
    )


@dataclass(frozen=True, slots=True)
class _Judged:
    """What the body does beside what the target asks."""

    target: Target
    figures: targets.Figures
    missed: dict[str, float]  # by promise: how much it falls short
    limit_mm: float  # of the excursion
    below_mm: float

    def check(self, name: str, text: str, value: object, limit: float, broken: str = "fail") -> Check:
        """Return the check of one promise."""
        level = broken if self.missed[name] > 1e-9 else "ok"
        return Check(name, level, text, round(float(value), 3), limit)  # type: ignore[arg-type]


def _checks(judged: _Judged, built: Built, sized: Sized) -> tuple[Check, ...]:
    return (*_sound(judged), *_cone(judged), *_guide(judged, built, sized), _search(sized))


def _sound(judged: _Judged) -> tuple[Check, ...]:
    target, figures = judged.target, judged.figures
    band = f"{target.band_from_hz:g} to {target.band_to_hz:g} Hz"
    found = [
        judged.check(
            "level",
            f"mean level {float(figures.level_db):.1f} dB at 1 m, {band}; at least {target.level_db:g} dB asked",
            figures.level_db,
            target.level_db,
        ),
        judged.check(
            "ripple",
            f"{float(figures.ripple_db):.1f} dB from top to bottom, {band}; at most {target.ripple_db:g} dB asked",
            figures.ripple_db,
            target.ripple_db,
        ),
        judged.check(
            "relief",
            f"the cone moves at least {round(float(figures.relief_db), 2) + 0.0:.2f} dB less than in the closed box, "
            f"{target.relief_from_hz:g} to {target.relief_to_hz:g} Hz; {target.relief_least_db:g} dB asked",
            figures.relief_db,
            target.relief_least_db,
        ),
    ]
    if target.bass_at_hz is not None:
        found.append(
            judged.check(
                "bass",
                f"{float(figures.bass_gain_db):+.1f} dB against the closed box at {target.bass_at_hz:g} Hz; "
                f"at least {target.bass_gain_db:+g} dB asked",
                figures.bass_gain_db,
                target.bass_gain_db,
            )
        )
    return tuple(found)


def _cone(judged: _Judged) -> tuple[Check, ...]:
    from_hz, limit_mm, below_mm = judged.target.relief_from_hz, judged.limit_mm, judged.below_mm
    excursion_mm = judged.figures.excursion_mm
    return (
        judged.check(
            "excursion",
            f"greatest excursion {float(excursion_mm):.2f} mm peak from {from_hz:g} Hz up; limit {limit_mm:g} mm",
            excursion_mm,
            limit_mm,
        ),
        Check(
            "below-relief",
            "warn" if below_mm > limit_mm else "ok",
            f"below {from_hz:g} Hz the cone reaches {below_mm:.2f} mm peak"
            + (f", past {limit_mm:g} mm: use a high-pass filter there" if below_mm > limit_mm else ""),
            round(below_mm, 3),
            limit_mm,
        ),
    )


def _guide(judged: _Judged, built: Built, sized: Sized) -> tuple[Check, ...]:
    if not built.volumes.guide:
        return ()
    length_mm = 1e3 * sum(r.length_m for r in built.volumes.guide)
    return (
        judged.check(
            "mouth",
            f"air at the mouth reaches {float(judged.figures.mouth_m_s):.1f} m/s peak; "
            f"{targets.MOUTH_VELOCITY_M_S:g} m/s is where vents begin to be heard (common practice)",
            judged.figures.mouth_m_s,
            targets.MOUTH_VELOCITY_M_S,
            "warn",
        ),
        Check(
            "guide-length",
            "ok" if sized.long_enough else "fail",
            f"the guide is {length_mm:.0f} mm long; at least {sized.least_guide_mm:.0f} mm asked",
            round(length_mm, 1),
            sized.least_guide_mm,
        ),
    )


def _search(sized: Sized) -> Check:
    if not sized.binding:
        text = (
            f"{several(sized.folds, 'fold')}, {sized.tried} bodies with fibre tried; of the best, "
            f"{sized.feasible} keep the whole target"
        )
        return Check("search", "ok", text, float(sized.tried), None)
    alone = "each promise by itself is kept by some body, all of them by none"
    if sized.reach:
        alone = f"no body keeps {sized.out_of_reach} even by itself"
    worst = ", ".join(f"{name} by {short:.2f} dB" for name, short in sized.binding)
    text = f"no body in {sized.tried} tried keeps the whole target; the best compromise misses {worst}; {alone}"
    return Check("search", "fail", text, float(sized.tried), None)
