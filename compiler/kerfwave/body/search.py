"""All folds of a plan, on a grid of lane counts, widths and tapers."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

from kerfwave.body import shapes
from kerfwave.body.fold import Fold, FoldKey, Rooms, fold_in
from kerfwave.body.places import CannotFold
from kerfwave.body.rules import BodyRules
from kerfwave.model.spec import Plan


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
) -> Folds:
    """Try every fold on a grid of widths, lane counts and tapers. Folds that sound alike are kept once.

    Tapered guides are tried at every other width.
    """
    rooms = Rooms(plan, rules)
    folds: list[Fold] = []
    alike: set[tuple[float, ...]] = set()
    refused: dict[str, int] = {}
    x0, y0, x1, y1 = shapes.polygon(plan.outline).bounds
    for along in (False, True):
        across_mm = (x1 - x0) if along else (y1 - y0)
        # The chamber of an upright body lies behind its front; lanes from side to side must lie behind that.
        flips_v = (False, True) if along or rules.stack == "facing" else (False,)
        for flip_v in flips_v:
            for flip_u in (False, True):
                for lanes, taper in itertools.product(range(1, most_lanes + 1), tapers):
                    if lanes == 1 and taper != 1.0:
                        continue
                    step = step_mm if taper == 1.0 else 2 * step_mm
                    # The narrowest lane keeps the least width.
                    width = least_duct_mm * (1 + taper) / (2 * min(1.0, taper))
                    while lanes * (width + rules.separator_mm) < across_mm and width <= 60.0:
                        key = FoldKey(along, flip_u, flip_v, lanes, round(width, 3), taper)
                        width += step
                        try:
                            found = fold_in(rooms, key, least_length_mm)
                        except CannotFold as error:
                            refused[str(error)] = refused.get(str(error), 0) + 1
                            if "leave nothing" in str(error):
                                break
                            continue
                        sound = (
                            lanes,
                            taper,
                            key.width_mm,
                            round(found.length_mm, 2),
                            round(found.chamber_area_mm2, 0),
                        )
                        if sound not in alike:
                            alike.add(sound)
                            folds.append(found)
    order = sorted(refused.items(), key=lambda item: (-item[1], item[0]))
    return Folds(tuple(folds), tuple(order))
