"""Nests of sheets that nothing can be moved between, put behind each other: one for each thickness of sheet."""

from __future__ import annotations

import math
from dataclasses import replace

from kerfwave.model.breakdown import Breakdown
from kerfwave.model.parts import Nest


def joined(nests: tuple[Nest, ...]) -> Nest:
    """Return one nest of all sheets, numbered on from nest to nest.

    Raises:
        ValueError: if there is none.
    """
    if not nests:
        raise ValueError("there is no nest to join")
    if len(nests) == 1:
        return nests[0]
    starts = [sum(len(before.sheets) for before in nests[:k]) for k in range(len(nests))]
    areas = [_area(nest) for nest in nests]
    total = math.fsum(areas) or 1.0
    return Nest(
        sheets=tuple(
            replace(sheet, number=start + sheet.number)
            for start, nest in zip(starts, nests, strict=True)
            for sheet in nest.sheets
        ),
        placements=tuple(
            sorted(
                (
                    replace(placement, sheet=start + placement.sheet)
                    for start, nest in zip(starts, nests, strict=True)
                    for placement in nest.placements
                ),
                key=lambda placement: placement.piece,
            )
        ),
        utilisation=math.fsum(n.utilisation * area for n, area in zip(nests, areas, strict=True)) / total,
        outline_utilisation=math.fsum(n.outline_utilisation * a for n, a in zip(nests, areas, strict=True)) / total,
        bound=sum(nest.bound for nest in nests),
    )


def joined_breakdowns(plans: tuple[Breakdown, ...]) -> Breakdown:
    """Return one plan of all sheets that are taken from the stock, numbered on from plan to plan."""
    opened = [one for plan in plans for one in plan.opened]
    return Breakdown(tuple(replace(one, number=number) for number, one in enumerate(opened, 1)), plans[0].line_mm)


def _area(nest: Nest) -> float:
    wood = math.fsum(sheet.pieces_area_mm2 for sheet in nest.sheets)
    return wood / nest.utilisation if nest.utilisation > 0 else 0.0
