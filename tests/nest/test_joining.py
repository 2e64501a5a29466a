"""Nests of two thicknesses, put behind each other."""

from dataclasses import replace

import pytest

from kerfwave.model.parts import Nest
from kerfwave.model.spec import SheetStock
from kerfwave.nest import joined, pack
from nest_samples import hole, piece, rectangle

RULES = {"bed_mm": (400.0, 400.0), "margin_mm": 5.0, "spacing_mm": 2.0, "effort": 4}


def nest_of(sheet: SheetStock, *names: str, side: float = 90.0) -> Nest:
    rings = rectangle(side, side), hole(side / 3, side / 3, side / 3, side / 3)
    return pack(tuple(piece(name, *rings) for name in names), (sheet,), **RULES)


def test_sheets_are_numbered_on_and_shares_are_of_all_the_wood():
    thin = nest_of(SheetStock(100.0, 100.0, 2), "c", "a")
    thick = nest_of(SheetStock(220.0, 120.0, 1), "b", "d")
    both = joined((thin, thick))
    assert [sheet.number for sheet in both.sheets] == [1, 2, 3]
    assert [(p.piece, p.sheet) for p in both.placements] == [
        *((p.piece, p.sheet) for p in thin.placements if p.piece == "a"),
        ("b", 3),
        *((p.piece, p.sheet) for p in thin.placements if p.piece == "c"),
        ("d", 3),
    ]
    where = {p.piece: replace(p, sheet=0) for p in (*thin.placements, *thick.placements)}
    assert {p.piece: replace(p, sheet=0) for p in both.placements} == where
    # By hand: four plates of 90 by 90 less a window of 30 by 30, on two sheets of 100 by 100 and one of 220 by 120.
    assert both.utilisation == pytest.approx(4 * (8100 - 900) / (20000 + 26400))
    assert both.outline_utilisation == pytest.approx(4 * 8100 / (20000 + 26400))
    assert both.bound == thin.bound + thick.bound == 3


def test_one_nest_stays_as_it_is_and_none_is_refused():
    one = nest_of(SheetStock(100.0, 100.0, 1), "a")
    assert joined((one,)) is one
    with pytest.raises(ValueError, match="no nest"):
        joined(())
