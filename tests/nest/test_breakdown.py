"""Sheets larger than the bed: blanks that lie in them, cuts that free the blanks."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.affinity import affine_transform
from shapely.geometry import LineString, Polygon, box
from shapely.ops import unary_union

from kerfwave.model.spec import KeepOut, SheetStock
from kerfwave.nest import LEAST_MM, break_down, divide, pack_divided
from kerfwave.nest.areas import kept_out
from nest_samples import assert_legal, piece, rectangle

BED = (400.0, 300.0)
KERF = 0.2
RULES = {"bed_mm": BED, "margin_mm": 5.0, "spacing_mm": 2.0}


@st.composite
def stocks(draw):
    w, h = draw(st.integers(100, 1500)), draw(st.integers(100, 1500))
    bite = draw(st.sampled_from([None, (0.3, 0.4), (0.7, 0.2)]))
    outline = None
    if bite:
        x, y = round(w * bite[0]), round(h * bite[1])
        outline = tuple((float(a), float(b)) for a, b in ((0, 0), (w, 0), (w, y), (x, y), (x, h), (0, h)))
    return SheetStock(float(w), float(h), 2, outline_mm=outline)


@given(stocks(), st.booleans())
@settings(max_examples=60)
def test_blanks_lie_in_the_sheet_a_kerf_apart_and_on_the_bed(stock, may_turn):
    division = divide(0, stock, BED, KERF, may_turn=may_turn)
    wood = Polygon(stock.outline_mm or rectangle(stock.width_mm, stock.height_mm))
    fields = [box(b.x_mm, b.y_mm, b.x_mm + b.width_mm, b.y_mm + b.height_mm) for b in division.blanks]
    for k, (blank, field) in enumerate(zip(division.blanks, fields, strict=True)):
        assert wood.bounds[2] + 1e-6 >= field.bounds[2] and wood.bounds[3] + 1e-6 >= field.bounds[3]
        laid = (blank.height_mm, blank.width_mm) if blank.turned else (blank.width_mm, blank.height_mm)
        assert (blank.sheet.width_mm, blank.sheet.height_mm) == laid
        assert laid[0] <= BED[0] + LEAST_MM and laid[1] <= BED[1] + LEAST_MM
        assert may_turn or not blank.turned
        for other_blank, other in zip(division.blanks[:k], fields[:k], strict=True):
            if (blank.column, blank.row) != (other_blank.column, other_blank.row):
                assert field.distance(other) >= KERF - 1e-6
    area = sum(
        Polygon(b.sheet.outline_mm).area if b.sheet.outline_mm else b.width_mm * b.height_mm for b in division.blanks
    )
    assert area <= wood.area + 1e-3


@st.composite
def places(draw):
    x, y, w, h = (float(draw(st.integers(5, most))) for most in (900, 900, 300, 300))
    shape = draw(st.sampled_from(["rectangle", "circle", "polygon"]))
    if shape == "rectangle":
        return KeepOut(shape, "clamp", x, y, width_mm=w, height_mm=h)
    if shape == "circle":
        return KeepOut(shape, "magnet", x, y, diameter_mm=w)
    return KeepOut(shape, "knot", points_mm=((x, y), (x + w, y + h / 3), (x + w / 2, y + h)))


@given(stocks(), st.lists(places(), min_size=1, max_size=3), st.booleans())
@settings(max_examples=60)
def test_what_is_kept_free_stays_on_its_wood_when_a_sheet_is_cut_down(stock, kept, may_turn):
    division = divide(0, replace(stock, keep_out=tuple(kept)), BED, KERF, may_turn=may_turn)
    on_sheet = unary_union([Polygon(kept_out(place).outline) for place in kept])
    for blank in division.blanks:
        x, y = blank.x_mm, blank.y_mm
        field = box(x, y, x + blank.width_mm, y + blank.height_mm)
        turn = (0, 1, -1, 0, x, y + blank.height_mm) if blank.turned else (1, 0, 0, 1, x, y)
        on_blank = unary_union([affine_transform(Polygon(kept_out(p).outline), turn) for p in blank.sheet.keep_out])
        assert on_blank.intersection(field).symmetric_difference(on_sheet.intersection(field)).area < 1e-3


@given(stocks(), st.integers(1, 5))
@settings(max_examples=25)
def test_cuts_free_every_blank_that_is_used_and_run_through_none(stock, count):
    divisions = (divide(0, stock, BED, KERF),)
    pieces = tuple(piece(f"p{k}", rectangle(60, 40)) for k in range(count))
    try:
        nest = pack_divided(pieces, divisions, **RULES, effort=4)
    except Exception as error:  # a narrow sheet may hold none of them
        assert "place" in str(error) or "room" in str(error) or "cut" in str(error)
        return
    assert_legal(nest, pieces, tuple(b.sheet for b in divisions[0].blanks), **RULES)
    plan = break_down(nest, divisions, 390.0, KERF)
    used = [part.sheet for opened in plan.opened for part in opened.parts if part.sheet is not None]
    assert sorted(used) == [s.number for s in nest.sheets]
    for opened in plan.opened:
        kerfs = [LineString([c.start_mm, c.end_mm]).buffer(KERF / 2, cap_style="flat") for c in opened.cuts]
        outer = box(0, 0, opened.width_mm, opened.height_mm).exterior
        for part in opened.parts:
            if part.sheet is None:
                continue
            field = box(part.x_mm, part.y_mm, part.x_mm + part.width_mm, part.y_mm + part.height_mm)
            assert all(k.intersection(field).area < 1e-6 for k in kerfs)
            if not opened.outline:  # every side is an edge of the sheet, or lies along a cut from end to end
                edge = outer.buffer(1e-6)
                for kerf in kerfs:
                    edge = edge.union(kerf.buffer(1e-6))
                assert edge.covers(field.exterior)
        for cut in opened.cuts:
            length = math.dist(cut.start_mm, cut.end_mm)
            assert (cut.runs - 1) * (390 - 10) + 390 >= length + 4 or (cut.runs == 1 and length + 4 <= 390)
            assert cut.stop_mm == pytest.approx(cut.size_mm + KERF / 2)


def test_a_sheet_of_three_beds_by_one_and_a_half():
    division = divide(0, SheetStock(1220.0, 610.0, 1), (400.0, 400.0), KERF)
    assert division.columns_mm == (400.0, 400.0, 419.6)
    assert division.rows_mm == (400.0, 209.8)
    pieces = tuple(piece(f"p{k}", rectangle(380, 300)) for k in range(3))
    nest = pack_divided(pieces, (division,), **(RULES | {"bed_mm": (400.0, 400.0)}))
    (opened,) = break_down(nest, (division,), 390.0, KERF).opened
    assert [p.sheet is not None for p in opened.parts] == [True, False] * 3
    # One long cut takes the upper strip off, two short ones part the rest.
    assert [(c.start_mm, c.end_mm, c.runs) for c in opened.cuts] == [
        ((0.0, 400.1), (1220.0, 400.1), 4),
        ((400.1, 0.0), (400.1, 400.0), 2),
        ((800.3, 0.0), (800.3, 400.0), 2),
    ]
    assert [c.size_mm for c in opened.cuts] == [400.0, 400.0, 400.0]


def test_as_few_large_sheets_are_opened_as_will_do():
    division = divide(0, SheetStock(800.2, 610.0, 5), (400.0, 400.0), KERF)
    # Four plates: two on the large blanks, and two on the flat ones, of one sheet; by blanks alone two sheets also do.
    plates = [rectangle(380, 300), rectangle(380, 300), rectangle(380, 190), rectangle(380, 190)]
    pieces = tuple(piece(f"p{k}", ring) for k, ring in enumerate(plates))
    nest = pack_divided(pieces, (division,), **(RULES | {"bed_mm": (400.0, 400.0)}))
    assert len(break_down(nest, (division,), 390.0, KERF).opened) == 1


def test_a_sheet_that_the_bed_takes_stays_whole():
    stock = SheetStock(440.0, 340.0, 1, 5.0, keep_out=(KeepOut("circle", "knot", 50.0, 50.0, diameter_mm=9.0),))
    division = divide(3, stock, BED, KERF)
    assert division.whole and len(division.blanks) == 1
    nest = pack_divided((piece("a", rectangle(60, 40)),), (division,), **RULES)
    plan = break_down(nest, (division,), 390.0, KERF)
    assert not plan.cut_down
    assert [o.entry for o in plan.opened] == [3]
