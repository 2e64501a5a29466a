"""Sizing: fold every guide that fits the plan, at every height allowed, and rank them by what they would do."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace

from kerfwave.acoustics import driver as drivers
from kerfwave.acoustics import sizing
from kerfwave.acoustics.air import air as air_at
from kerfwave.acoustics.cases import SMALLEST_CHAMBER, duct_length_m
from kerfwave.body import measure
from kerfwave.body.air import stands
from kerfwave.body.closed import closed_fold
from kerfwave.body.fold import Fold
from kerfwave.body.places import CannotFold
from kerfwave.body.rules import BodyRules, LayerCount, body_rules, layer_counts
from kerfwave.body.search import Folds, all_folds
from kerfwave.body.storeys import IN_ONE_PLANE, Arrangement, levels
from kerfwave.body.supply import Supply
from kerfwave.engine.errors import StageError
from kerfwave.model.spec import Driver, Enclosure, Target
from kerfwave.numfmt import several

TAPERS = (1.0, 0.6, 0.8, 1.3, 1.7)  # last lane to first
MOST_BODIES = 200  # folds times heights whose sound is worked out
ON_STOREYS = (*(Arrangement(n) for n in (2, 3)), *(Arrangement(n, part) for n in (1, 2) for part in (1.0, 0.5)))
COURSES = {  # of the lanes, in the order in which they are tried
    "never": (("straight",),),
    "when-needed": (("straight",), ("around",)),
    "weighed": (("straight", "around"),),
    "always": (("around",),),
}
NEARLY = 0.9  # of the longest guide, where none is as long as asked


@dataclass(frozen=True, slots=True)
class SizedDesign:
    """One ranked design: the fold, the stack it stands in, and what it promises."""

    fold: Fold
    counts: LayerCount
    design: sizing.Design


@dataclass(frozen=True, slots=True)
class Sized:
    """What sizing found, best first."""

    rules: BodyRules
    designs: tuple[SizedDesign, ...]
    least_guide_mm: float
    long_enough: bool  # whether any guide reached `least_guide_mm`
    folds: int
    tried: int
    feasible: int
    binding: tuple[tuple[str, float], ...]
    reach: tuple[tuple[str, float], ...]

    @property
    def out_of_reach(self) -> str:
        """The promises that no body keeps even by itself, as text: "level (nearest: 3.00 dB short)"; or nothing."""
        return ", ".join(f"{name} (nearest: {short:.2f} dB short)" for name, short in self.reach)


def run(
    driver: Driver,
    target: Target,
    enclosure: Enclosure,
    supply: Supply,
    volts: float,
    space: str,
    *,
    progress: Callable[[float, str], None],
) -> Sized:
    """Run the stage.

    Raises:
        StageError: if nothing at all can be folded into the enclosure, with what stands in the way.
    """
    air = air_at()
    rules = body_rules(enclosure, driver, supply.insets_mm, supply)
    _check_faces(enclosure, rules)
    counts = layer_counts(rules, driver, enclosure.height_mm)
    if not counts:
        raise StageError(_too_low(rules, enclosure), ("enclosure", "height_mm"))
    least_m, longest_m = duct_length_m(enclosure.case, target.relief_from_hz, air)
    least = round(1e3 * least_m, 1) if enclosure.guide_least_mm is None else enclosure.guide_least_mm
    progress(0.1, "folding")
    if enclosure.case == "closed":
        least, long_enough, folds = 0.0, True, _closed(enclosure, rules)
    else:
        folds, long_enough = _folded(enclosure, rules, counts, least, 1e3 * longest_m)
    progress(0.6, f"{len(folds)} folds")
    bodies = _spread_out(rules, folds, counts)
    candidates = _candidates(bodies, rules, driver, enclosure)
    if not candidates:
        raise StageError("the driver takes up all the air of every chamber that fits", ("driver", "displacement_cm3"))
    result = sizing.size(
        candidates,
        drivers.complete(driver, air),
        target,
        air,
        volts=volts,
        setting=setting_of(enclosure, target, space),
        excursion_limit_mm=target.excursion_mm or driver.xmax_mm,
    )
    return Sized(
        rules=rules,
        designs=tuple(SizedDesign(*bodies[d.label], d) for d in result.designs),
        least_guide_mm=least,
        long_enough=long_enough,
        folds=len(folds),
        tried=result.tried,
        feasible=result.feasible,
        binding=result.binding,
        reach=result.reach,
    )


def _check_faces(enclosure: Enclosure, rules: BodyRules) -> None:
    if enclosure.corner_mm > enclosure.wall_mm:
        text = f"corners of {enclosure.corner_mm:g} mm cut into walls of {enclosure.wall_mm:g} mm: at most wall_mm"
        raise StageError(text, ("enclosure", "corner_mm"))
    if enclosure.terminal_face == "front" and rules.stack == "upright":
        text = (
            f"the front carries the driver's ring of {rules.seat_width_mm:.0f} mm, and the terminals cannot share it: "
            "name another face, or auto"
        )
        raise StageError(text, ("enclosure", "terminal_face"))


def _candidates(
    bodies: tuple[tuple[Fold, LayerCount], ...], rules: BodyRules, driver: Driver, enclosure: Enclosure
) -> tuple[sizing.Candidate, ...]:
    """Return those of `bodies` that leave the driver some air, each labelled with its number among them."""
    found = []
    for label, (fold, count) in enumerate(bodies):
        promise = measure.promised(fold, rules, count, driver, enclosure.plan)
        if promise is not None and promise.chamber_m3 > 0:
            found.append(
                sizing.Candidate(
                    label,
                    count.total,
                    promise.chamber_m3,
                    promise.closed_m3,
                    promise.guide,
                    promise.chamber,
                    promise.outside,
                )
            )
    return tuple(found)


def setting_of(enclosure: Enclosure, target: Target, space: str) -> sizing.Setting:
    """Return what is the same for all bodies of one spec."""
    return sizing.Setting(space, enclosure.leak_ql, target.relief_from_hz)


def _closed(enclosure: Enclosure, rules: BodyRules) -> tuple[Fold, ...]:
    try:
        return (closed_fold(enclosure.plan, rules),)
    except CannotFold as error:
        raise StageError(f"no closed box has this plan: {error}", ("enclosure", "plan")) from error


def _folded(
    enclosure: Enclosure, rules: BodyRules, counts: tuple[LayerCount, ...], least_mm: float, longest_mm: float
) -> tuple[tuple[Fold, ...], bool]:
    """Return the folds of an enclosure with a guide, and whether any is as long as asked.

    Raises:
        StageError: if nothing folds.
    """
    several = tuple(a for a in ON_STOREYS if any(levels(rules, count, a) for count in counts))
    ways: dict[str, list[tuple[Arrangement, ...]]] = {
        "never": [(IN_ONE_PLANE,)],
        "when-needed": [(IN_ONE_PLANE,), several],
        "always": [several],
        "weighed": [(IN_ONE_PLANE, *several)],
    }
    courses = COURSES[enclosure.around]
    attempts = tuple(itertools.product(ways[enclosure.storeys], courses))

    def folded(
        least_length_mm: float,
        tapers: tuple[float, ...],
        arrangements: tuple[Arrangement, ...],
        courses: tuple[str, ...],
    ) -> Folds:
        found = all_folds(
            enclosure.plan,
            rules,
            least_duct_mm=enclosure.least_duct_mm,
            least_length_mm=least_length_mm,
            tapers=tapers,
            arrangements=arrangements,
            courses=courses,
        )
        standing = tuple(f for f in found.folds if any(stands(rules, count, f) for count in counts))
        return replace(found, folds=standing)

    for arrangements, along in attempts:
        found = folded(least_mm, TAPERS, arrangements, along)
        if found.folds:
            break
    long_enough = bool(found.folds)
    if not long_enough:
        # Lanes along walls fill a storey better than straight ones, but for the longest of all few need be tried.
        every = tuple(a for some in ways[enclosure.storeys] for a in some)
        found = _longest([folded(0.0, (1.0,), every if k == 0 else attempts[0][0], c) for k, c in enumerate(courses)])
    if not found.folds:
        raise StageError(_nothing_folds(found, enclosure), ("enclosure", "plan"))
    return _of_case(found.folds, enclosure.case, longest_mm), long_enough


def _longest(searches: list[Folds]) -> Folds:
    """Return the folds of several searches that come nearest to a length that none of them reaches."""
    every = tuple(fold for found in searches for fold in found.folds)
    most = max((fold.length_mm for fold in every), default=0.0)
    refused = Counter[str]()
    for found in searches:
        refused.update(dict(found.refused))
    order = sorted(refused.items(), key=lambda item: (-item[1], item[0]))
    return Folds(tuple(fold for fold in every if fold.length_mm >= NEARLY * most), tuple(order))


def _spread_out(
    rules: BodyRules, folds: tuple[Fold, ...], counts: tuple[LayerCount, ...]
) -> tuple[tuple[Fold, LayerCount], ...]:
    """Return folds with the heights they stand in, lowest first: all if they are few, else some, evenly among them."""
    every = tuple((fold, count) for count in counts for fold in folds if stands(rules, count, fold))
    if len(every) <= MOST_BODIES:
        return every
    return tuple(every[round(i * (len(every) - 1) / (MOST_BODIES - 1))] for i in range(MOST_BODIES))


def _of_case(folds: tuple[Fold, ...], case: str, longest_mm: float) -> tuple[Fold, ...]:
    """Return the folds that are what the case says they shall be.

    Raises:
        StageError: if every duct is too long for a vented box.
    """
    short = tuple(f for f in folds if f.length_mm <= longest_mm)
    if not short:
        least = min(f.length_mm for f in folds)
        raise StageError(
            f"the shortest duct that folds into this plan is {least:.0f} mm long; in a vented box it must stay below "
            f"{longest_mm:.0f} mm, an eighth of the wave at relief_from_hz",
            ("enclosure", "case"),
        )
    if case != "quarter-wave":
        return short
    # A line has no chamber worth the name: what is left over is there for the driver's own depth.
    smallest = min(f.chamber_area_mm2 for f in short)
    return tuple(f for f in short if f.chamber_area_mm2 <= SMALLEST_CHAMBER * smallest)


def _too_low(rules: BodyRules, enclosure: Enclosure) -> str:
    need = rules.bore_mm if rules.stack == "upright" else rules.reach_mm - rules.wall_mm
    sources = (*rules.supply.plates, *rules.supply.layers)
    thick = ", ".join(f"{t:g}" for t in dict.fromkeys(source.thickness_mm for source in sources))
    few = all(source.most is not None for source in rules.supply.layers)
    most = f", of which the sheets give {sum(source.most or 0 for source in rules.supply.layers)}," if few else ""
    return (
        f"no stack of {thick} mm layers{most} within {enclosure.height_mm:g} mm takes this driver: it needs "
        f"{need:.0f} mm inside, between walls of {rules.wall_mm:g} mm, and whole layers for its ring of "
        f"{rules.frame_mm:.0f} mm"
    )


def _nothing_folds(found: Folds, enclosure: Enclosure) -> str:
    reasons = "; ".join(f"{text} ({several(times, 'fold')})" for text, times in found.refused[:3])
    return f"no guide at least {enclosure.least_duct_mm:g} mm wide folds into this plan: {reasons or 'it is too small'}"
