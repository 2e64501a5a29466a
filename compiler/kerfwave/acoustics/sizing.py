"""Choosing among bodies that can be folded: which one, with how much fibre, keeps the target best.

The objective, smaller is better, all terms in dB:

    J = 10 * (level + ripple + 3 relief + bass + excursion + mouth shortfalls)
        + 3 * (what each promise lacks of half a decibel to spare, added up)
        + 0.2 ripple - 0.1 bass gain - 0.5 (least relief + mean relief) + 0.05 layers

The first line is zero for a body that keeps every promise, and such a body always goes before one that does not. The
second is for what builds differ in: a promise kept by a hair is broken by every other build. The third prefers the
smoother, the louder, the one whose cone rests more, and the flatter stack. Two rounds:
every candidate with every fill as a guide of one bore (bends' inertance spread along it), then the best with every
run of its guide in its place.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kerfwave.acoustics import targets
from kerfwave.acoustics.chamber import chamber_duct, leak_resistance
from kerfwave.acoustics.guide import Fill, segments
from kerfwave.acoustics.network import responses
from kerfwave.model.acoustic import (
    Air,
    ChamberDuct,
    ChamberShape,
    DriverParameters,
    GuideRun,
    Mouth,
    Network,
    Outside,
    Segment,
)
from kerfwave.model.spec import Target

FIRST_ROUND_PER_OCTAVE = 12
SECOND_ROUND_PER_OCTAVE = 96  # as the finished body is judged, or rounding would tell them apart
SECOND_ROUND = 120  # candidates that get there
SPARE_DB, SPARE_WEIGHT = 0.5, 3.0  # what a promise should be kept by, and what a decibel less than that costs
FEASIBLE_FIRST = 1000.0  # more than any difference in taste
PROMISES = ("level", "ripple", "relief", "bass", "excursion", "mouth")

GUIDE_FILLS = ((0.0, 0.0), *itertools.product((500.0, 1000.0, 2000.0, 4000.0), (1 / 3, 1 / 2, 1.0)))
CHAMBER_FILLS = (0.0, 1000.0, 4000.0)
FILLS = tuple(Fill(sigma, part, chamber) for (sigma, part), chamber in itertools.product(GUIDE_FILLS, CHAMBER_FILLS))


@dataclass(frozen=True, slots=True)
class Candidate:
    """A body that can be folded, as far as the sound is concerned; without a guide, a closed box.

    `label` is the caller's.
    """

    label: int
    layers: int
    chamber_m3: float
    closed_m3: float
    guide: tuple[GuideRun, ...]
    chamber: ChamberShape | None = None  # None: its pressure is the same everywhere
    outside: Outside | None = None  # None: cone and mouth do not hear each other


@dataclass(frozen=True, slots=True)
class Setting:
    """What is the same for all bodies of one search."""

    space: str = "half"
    leak_ql: float = math.inf  # of the chamber at `leak_hz`; infinity: tight
    leak_hz: float = 100.0


TIGHT = Setting()


@dataclass(frozen=True, slots=True)
class Design:
    """A candidate with its fibre, and what it does."""

    label: int
    fill: Fill
    network: Network
    closed: Network
    level_db: float
    ripple_db: float
    relief_db: float
    relief_mean_db: float
    bass_gain_db: float
    excursion_mm: float
    mouth_m_s: float
    shortfalls_db: tuple[float, ...]  # in the order of PROMISES
    objective: float


@dataclass(frozen=True, slots=True)
class Sizing:
    """The best designs, best first, and how the search went."""

    designs: tuple[Design, ...]
    tried: int  # candidates times fills
    feasible: int  # of the second round, keep every promise
    binding: tuple[tuple[str, float], ...]  # if none is feasible: what the best compromise misses, worst first, dB
    reach: tuple[
        tuple[str, float], ...
    ]  # likewise: promises that no body keeps even by itself, and the least shortfall


def network(candidate: Candidate, driver: DriverParameters, air: Air, fill: Fill, setting: Setting = TIGHT) -> Network:
    """Return a candidate as a network, every run of its guide in its place."""
    leak = leak_of(candidate, air, setting)
    if not candidate.guide:
        return Network(driver, candidate.chamber_m3, fill.chamber_pa_s_m2, leak_pa_s_m3=leak)
    last, outside = candidate.guide[-1], candidate.outside
    wall = outside.mouth_wall_m if outside is not None and setting.space == "half" else None
    return Network(
        driver=driver,
        chamber_m3=candidate.chamber_m3,
        chamber_flow_resistivity_pa_s_m2=fill.chamber_pa_s_m2,
        guide=segments(candidate.guide, air, fill),
        mouth=Mouth(last.width_out_m * last.height_m, "flanged" if wall is None else "near-wall", wall or 0.0),
        leak_pa_s_m3=leak,
        spacing_m=outside.spacing_m if outside is not None else 0.0,
        cone_wall_m=outside.cone_wall_m if outside is not None and wall is not None else 0.0,
        chamber_duct=_duct(candidate, air),
    )


def leak_of(candidate: Candidate, air: Air, setting: Setting) -> float:
    """Return the resistance of a candidate's leaks in Pa s/m^3, 0 for a tight one."""
    if math.isinf(setting.leak_ql):
        return 0.0
    return leak_resistance(setting.leak_ql, setting.leak_hz, candidate.chamber_m3, air)


def closed_box(candidate: Candidate, driver: DriverParameters, air: Air, setting: Setting = TIGHT) -> Network:
    """Return the closed box of the same outside size: of the same seams, which leak as much."""
    return Network(driver, candidate.closed_m3, leak_pa_s_m3=leak_of(candidate, air, setting))


def _fills(candidate: Candidate) -> tuple[Fill, ...]:
    """Return what fibre can be tried in a candidate: a closed box has no guide to fill."""
    return FILLS if candidate.guide else tuple(Fill(chamber_pa_s_m2=sigma) for sigma in CHAMBER_FILLS)


def _duct(candidate: Candidate, air: Air) -> ChamberDuct | None:
    if candidate.chamber is None:
        return None
    return chamber_duct(candidate.chamber, candidate.guide[0].width_in_m, air)


def _one_bore(candidate: Candidate, driver: DriverParameters, air: Air, setting: Setting) -> list[Network]:
    """Return a candidate with every fill, for the first round.

    Its guide is one even bore (two where fibre ends), and cone and mouth do not hear each other.
    """
    empty = replace(network(candidate, driver, air, Fill(), setting), spacing_m=0.0)
    if not empty.guide:
        return [replace(empty, chamber_flow_resistivity_pa_s_m2=fill.chamber_pa_s_m2) for fill in _fills(candidate)]
    length = sum(s.length_m for s in empty.guide)
    lump = sum(s.extra_inertance_kg_m4 for s in empty.guide)
    first, last = empty.guide[0], empty.guide[-1]

    def along(part: float) -> tuple[float, float]:
        """Return area and perimeter at a share of the length: a cone from throat to mouth."""
        area = first.area_in_m2 + (last.area_out_m2 - first.area_in_m2) * part
        return area, first.perimeter_in_m + (last.perimeter_out_m - first.perimeter_in_m) * part

    def bore(start: float, stop: float, sigma: float) -> Segment:
        (area_in, around_in), (area_out, around_out) = along(start), along(stop)
        part = stop - start
        return Segment("guide", part * length, area_in, area_out, around_in, around_out, part * lump, sigma)

    guides = {
        (sigma, part): tuple(bore(*ends) for ends in ((0.0, part, sigma), (part, 1.0, 0.0)) if ends[1] > ends[0])
        for sigma, part in GUIDE_FILLS
    }
    return [
        replace(
            empty,
            chamber_flow_resistivity_pa_s_m2=fill.chamber_pa_s_m2,
            guide=guides[fill.guide_pa_s_m2, fill.guide_fraction],
        )
        for fill in FILLS
    ]


def size(
    candidates: tuple[Candidate, ...],
    driver: DriverParameters,
    target: Target,
    air: Air,
    *,
    volts: float,
    setting: Setting,
    excursion_limit_mm: float,
    keep: int = 12,
) -> Sizing:
    """Rank candidates and fills by the objective above.

    Raises:
        ValueError: without candidates.
    """
    if not candidates:
        raise ValueError("no candidate to size")
    order = sorted(range(len(candidates)), key=lambda i: candidates[i].label)
    pairs = [(i, fill) for i in order for fill in _fills(candidates[i])]
    score, _, rough = _score(
        target,
        [bore for i in order for bore in _one_bore(candidates[i], driver, air, setting)],
        [candidates[i] for i, _ in pairs],
        air,
        volts,
        setting,
        excursion_limit_mm,
        FIRST_ROUND_PER_OCTAVE,
    )
    best = [pairs[k] for k in np.lexsort((np.arange(len(pairs)), np.round(score, 6)))[:SECOND_ROUND]]
    nets = [network(candidates[i], driver, air, fill, setting) for i, fill in best]
    score, figures, missed = _score(
        target, nets, [candidates[i] for i, _ in best], air, volts, setting, excursion_limit_mm, SECOND_ROUND_PER_OCTAVE
    )
    designs = [
        Design(
            label=candidates[i].label,
            fill=fill,
            network=nets[k],
            closed=closed_box(candidates[i], driver, air, setting),
            level_db=float(figures.level_db[k]),
            ripple_db=float(figures.ripple_db[k]),
            relief_db=float(figures.relief_db[k]),
            relief_mean_db=float(figures.relief_mean_db[k]),
            bass_gain_db=float(figures.bass_gain_db[k]),
            excursion_mm=float(figures.excursion_mm[k]),
            mouth_m_s=float(figures.mouth_m_s[k]),
            shortfalls_db=tuple(float(missed[name][k]) for name in PROMISES),
            objective=float(score[k]),
        )
        for k, (i, fill) in enumerate(best)
    ]
    ranked = [designs[k] for k in np.lexsort((np.arange(len(designs)), np.round(score, 6)))]
    feasible = sum(not any(d.shortfalls_db) for d in designs)
    binding = () if feasible else _binding(ranked)
    nearest = {name: min(float(rough[name].min()), float(missed[name].min())) for name in PROMISES}
    reach = () if feasible else tuple((name, short) for name, short in nearest.items() if short > 0.0)
    return Sizing(tuple(ranked[:keep]), len(pairs), feasible, binding, reach)


def _binding(ranked: list[Design]) -> tuple[tuple[str, float], ...]:
    """Return the promises that the best compromise breaks, worst first."""
    broken = [(name, short) for name, short in zip(PROMISES, ranked[0].shortfalls_db, strict=True) if short > 0.0]
    return tuple(sorted(broken, key=lambda b: (-b[1], b[0])))


def _score(
    target: Target,
    networks: list[Network],
    bodies: list[Candidate],
    air: Air,
    volts: float,
    setting: Setting,
    excursion_limit_mm: float,
    per_octave: int,
) -> tuple[NDArray[np.float64], targets.Figures, dict[str, NDArray[np.float64]]]:
    f = targets.target_grid(target, per_octave)
    mine = responses(networks, f, air, volts, 1.0, setting.space)
    boxes = {closed_box(b, networks[0].driver, air, setting): None for b in bodies}
    closed = responses([*boxes], f, air, volts, 1.0, setting.space)
    place = {box: row for row, box in enumerate(boxes)}
    row = [place[closed_box(b, networks[0].driver, air, setting)] for b in bodies]
    figures = targets.judge(
        target,
        mine.frequency_hz,
        mine.spl_db,
        mine.excursion_peak_mm,
        mine.mouth_velocity_peak_m_s,
        closed.spl_db[row],
        closed.excursion_peak_mm[row],
    )
    missed = targets.shortfalls(target, figures, excursion_limit_mm)
    weights = {"relief": 3.0}
    broken = sum(10.0 * weights.get(name, 1.0) * missed[name] for name in PROMISES)
    score = broken + np.where(broken > 0.0, FEASIBLE_FIRST, 0.0)
    scarce = targets.shortfalls(target, figures, excursion_limit_mm, SPARE_DB)
    score = score + SPARE_WEIGHT * sum(scarce[name] for name in PROMISES)
    score = score + 0.2 * figures.ripple_db - 0.1 * figures.bass_gain_db
    score = score - 0.5 * (figures.relief_db + figures.relief_mean_db)
    return score + 0.05 * np.array([b.layers for b in bodies]), figures, missed
