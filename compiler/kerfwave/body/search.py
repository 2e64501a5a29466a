"""All folds of a plan, on a grid of lane counts, widths and tapers.

The grid is walked with a wide step first and narrowed only while there is little to choose from: a large plan takes
hundreds of folds that differ by a millimetre, and nobody hears that.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

from kerfwave.body import shapes
from kerfwave.body.fold import Fold, FoldKey, Rooms, fold_in
from kerfwave.body.places import CannotFold
from kerfwave.body.rules import BodyRules
from kerfwave.body.storeys import IN_ONE_PLANE, Arrangement
from kerfwave.model.spec import Plan

STRIDES = (16, 8, 4, 2, 1)  # of the step in width
ENOUGH = 80  # folds to choose from
MOST_KEYS = 3400  # in one walk; a grid of more is only walked with wider steps
MOST_ON_STOREYS = 1200  # likewise, where every lane counts several times
WIDEST_MM = 60.0


@dataclass(frozen=True, slots=True)
class Folds:
    """All folds that fit, and how often each reason stood in the way of the others."""

    folds: tuple[Fold, ...]
    refused: tuple[tuple[str, int], ...]


def all_folds(
    plan: Plan,
    rules: BodyRules,
    *,
    least_duct_mm: float,
    least_length_mm: float = 0.0,
    step_mm: float = 1.0,
    most_lanes: int = 12,
    tapers: tuple[float, ...] = (1.0,),
    arrangements: tuple[Arrangement, ...] = (IN_ONE_PLANE,),
) -> Folds:
    """Try every fold on a grid of widths, lane counts and tapers. Folds that sound alike are kept once.

    Tapered guides are tried at every other width, and in one plane only.
    """
    rooms = Rooms(plan, rules)
    series = tuple(_series(plan, rules, least_duct_mm, step_mm, most_lanes, tapers, arrangements))
    known: dict[FoldKey, Fold | str] = {}
    found = _walk(rooms, series, STRIDES[0], least_length_mm, known)
    most = MOST_KEYS if arrangements == (IN_ONE_PLANE,) else MOST_ON_STOREYS
    for stride in STRIDES[1:]:
        if len(found.folds) >= ENOUGH or sum(len(one[::stride]) for one in series) > most:
            break
        found = _walk(rooms, series, stride, least_length_mm, known)
    return found


def _series(
    plan: Plan,
    rules: BodyRules,
    least_duct_mm: float,
    step_mm: float,
    most_lanes: int,
    tapers: tuple[float, ...],
    arrangements: tuple[Arrangement, ...],
) -> Iterator[tuple[FoldKey, ...]]:
    """Yield the keys that differ in their width only, narrow ones first."""
    x0, y0, x1, y1 = shapes.polygon(plan.outline).bounds
    for arrangement, along in itertools.product(arrangements, (False, True)):
        across_mm = (x1 - x0) if along else (y1 - y0)
        # The chamber of an upright body lies behind its front; lanes from side to side must lie behind that.
        flips_v = (False, True) if along or rules.stack == "facing" or arrangement.under else (False,)
        for flip_v, flip_u in itertools.product(flips_v, (False, True)):
            for lanes, taper in itertools.product(range(1, most_lanes + 1), tapers):
                if taper != 1.0 and (lanes == 1 or not arrangement.in_one_plane):
                    continue
                # The narrowest lane keeps the least width.
                width = least_duct_mm * (1 + taper) / (2 * min(1.0, taper))
                keys = []
                while lanes * (width + rules.separator_mm) < across_mm and width <= WIDEST_MM:
                    way = (along, flip_u, flip_v, lanes, round(width, 3), taper)
                    keys.append(FoldKey(*way, arrangement.storeys, arrangement.under))
                    width += step_mm if taper == 1.0 else 2 * step_mm
                yield tuple(keys)


def _walk(
    rooms: Rooms,
    series: tuple[tuple[FoldKey, ...], ...],
    stride: int,
    least_length_mm: float,
    known: dict[FoldKey, Fold | str],
) -> Folds:
    """Try every so many keys of each series; `known` remembers what became of each."""
    folds: list[Fold] = []
    alike: set[tuple[float, ...]] = set()
    refused: dict[str, int] = {}
    for key in itertools.chain.from_iterable(_until_full(one[::stride], known) for one in series):
        if key not in known:
            try:
                known[key] = fold_in(rooms, key, least_length_mm)
            except CannotFold as error:
                known[key] = str(error)
        found = known[key]
        if isinstance(found, str):
            refused[found] = refused.get(found, 0) + 1
            continue
        way = (key.lanes, key.taper, key.width_mm, key.storeys, key.under)
        sound = (*way, round(found.length_mm, 2), round(found.chamber_area_mm2, 0))
        if sound not in alike:
            alike.add(sound)
            folds.append(found)
    return Folds(tuple(folds), tuple(sorted(refused.items(), key=lambda item: (-item[1], item[0]))))


def _until_full(keys: tuple[FoldKey, ...], known: dict[FoldKey, Fold | str]) -> Iterator[FoldKey]:
    """Yield keys until one has left nothing for the chamber: no wider one will do better."""
    for key in keys:
        yield key
        reason = known[key]
        if isinstance(reason, str) and "leave nothing" in reason:
            return
