"""Single cases, each with an answer that can be worked out by hand."""

import dataclasses
import math
import random

import pytest
from shapely.geometry import Polygon

from kerfwave.model.spec import KeepOut, SheetStock
from kerfwave.nest import DoesNotFit, NotEnoughSheets, pack
from nest_samples import assert_legal, disc, ell, hole, on_sheet, piece, rectangle, trapezoid

SQUARE = (SheetStock(400.0, 400.0, 9),)
RULES = {"bed_mm": (400.0, 400.0), "margin_mm": 5.0, "spacing_mm": 2.0}


def ring_stack():
    """Invented: a small trapezoid ring stack, its braces, and what goes into the windows."""
    outer = trapezoid(0.6)
    window = tuple((x * 0.8, 9.0 + y * 0.83) for x, y in outer)[::-1]
    rings = [piece(f"ring-{k}", outer, window) for k in range(6)]
    plates = [piece(f"plate-{k}", outer) for k in range(2)]
    strips = [piece(f"strip-{k}", rectangle(60.0, 10.0)) for k in range(5)]
    eye = tuple((x + 20, y + 20) for x, y in disc(14))[::-1]
    baffles = [piece(f"baffle-{k}", rectangle(40.0, 40.0), eye) for k in range(2)]
    ells = [piece(f"ell-{k}", ell(30.0, 30.0, 7.0)) for k in range(3)]
    return (*rings, *plates, *strips, *baffles, *ells)


def test_no_pieces_no_sheets():
    nest = pack((), SQUARE, **RULES)
    assert (nest.sheets, nest.placements, nest.bound) == ((), (), 0)


def test_one_piece_lies_in_the_lower_left_corner():
    nest = pack((piece("a", rectangle(100.0, 50.0, -30.0, 12.0)),), SQUARE, **RULES)
    (shape,) = on_sheet(nest, (piece("a", rectangle(100.0, 50.0, -30.0, 12.0)),)).values()
    assert shape.bounds[:2] == (5.0, 5.0)
    assert nest.bound == 1
    assert math.isclose(nest.utilisation, 5000 / 160000)
    assert math.isclose(nest.outline_utilisation, 5000 / 160000)


def test_a_piece_as_large_as_the_usable_area_fits():
    pieces = (piece("a", rectangle(390.0, 390.0)),)
    assert_legal(pack(pieces, SQUARE, **RULES), pieces, SQUARE, **RULES)


def test_four_squares_that_fit_to_the_hair():
    pieces = tuple(piece(f"s{k}", rectangle(194.0, 194.0, 7.25 * k)) for k in range(4))
    nest = pack(pieces, SQUARE, **RULES)
    assert_legal(nest, pieces, SQUARE, **RULES)
    assert len(nest.sheets) == 1


def test_a_window_is_the_only_place():
    frame = piece("frame", rectangle(380.0, 380.0), hole(200.0, 200.0, 90.0, 90.0))
    plug = piece("plug", rectangle(190.0, 180.0))
    one = (SheetStock(400.0, 400.0, 1),)
    nest = pack((plug, frame), one, **RULES)
    assert_legal(nest, (plug, frame), one, **RULES)
    shapes = on_sheet(nest, (plug, frame))
    assert Polygon(shapes["frame"].interiors[0]).contains(shapes["plug"])
    # wood of both, but the outline of the frame alone: the plug lies in its waste
    assert math.isclose(nest.outline_utilisation, 380 * 380 / 160000)
    assert math.isclose(nest.utilisation, (380 * 380 - 200 * 200 + 190 * 180) / 160000)


def test_windows_in_windows():
    sizes = (380.0, 300.0, 220.0, 140.0)
    pieces = tuple(piece(f"f{k}", rectangle(s, s), hole(s - 60, s - 60, 30, 30)) for k, s in enumerate(sizes))
    nest = pack(pieces, SQUARE, **RULES)
    assert_legal(nest, pieces, SQUARE, **RULES)
    assert len(nest.sheets) == 1


def test_a_small_piece_prefers_a_window_to_open_wood():
    frame = piece("frame", rectangle(200.0, 200.0), hole(160.0, 160.0, 20.0, 20.0))
    plug = piece("plug", rectangle(50.0, 50.0))
    nest = pack((frame, plug), SQUARE, **RULES)
    shapes = on_sheet(nest, (frame, plug))
    assert Polygon(shapes["frame"].exterior).contains(shapes["plug"])
    x, y, w, h = nest.sheets[0].offcut_mm
    assert w * h == 193 * 400  # the frame ends at 205, 2 mm on the strip begins, over the full height of the sheet
    assert (x, y) in {(207, 0), (0, 207)}


def test_too_big_names_the_pieces_and_their_size():
    pieces = (
        piece("ok", rectangle(10.0, 10.0)),
        piece("L03a", rectangle(391.0, 20.0)),
        piece("L04", rectangle(20, 395)),
    )
    with pytest.raises(DoesNotFit) as caught:
        pack(pieces, SQUARE, **RULES)
    assert caught.value.pieces == ("L03a", "L04")
    assert "L03a is 391 x 20 mm" in str(caught.value)
    assert "390 x 390 mm" in str(caught.value)
    assert "ok" not in caught.value.pieces
    many = tuple(piece(f"p{k}", rectangle(391.0, 20.0)) for k in range(30))
    with pytest.raises(
        DoesNotFit, match=r"p11 is 391 x 20 mm; 26 more are too large as well\. .*split: when-needed"
    ) as caught:
        pack(many, SQUARE, **RULES)
    assert len(caught.value.pieces) == 30 and len(str(caught.value)) < 350


def test_grain_can_make_a_piece_too_big():
    sheet = (SheetStock(300.0, 400.0, 1),)
    long = piece("long", rectangle(350.0, 40.0), grain="x")
    pack((long,), sheet, **RULES)
    pack((long,), sheet, **RULES, sheet_grain="y")
    with pytest.raises(DoesNotFit, match="long is 350 x 40 mm with its grain along the sheet's"):
        pack((long,), sheet, **RULES, sheet_grain="x")


@pytest.mark.parametrize(("grain", "turns"), [("x", {0, 180}), ("y", {90, 270})])
def test_grain_turns_pieces_only_by_half(grain, turns):
    pieces = tuple(piece(f"t{k}", trapezoid(0.5), grain=grain) for k in range(9))
    nest = pack(pieces, SQUARE, **RULES, sheet_grain="x", effort=40)
    assert_legal(nest, pieces, SQUARE, **RULES, sheet_grain="x")
    assert {p.turn_deg for p in nest.placements} <= turns


def test_a_sheet_larger_than_the_bed_uses_its_lower_left_part():
    sheet = (SheetStock(1200.0, 600.0, 3),)
    pieces = tuple(piece(f"p{k}", rectangle(180.0, 120.0)) for k in range(7))
    nest = pack(pieces, sheet, **RULES)
    assert_legal(nest, pieces, sheet, **RULES)
    assert len(nest.sheets) == 2  # six to a bed, however large the sheet
    assert nest.sheets[0].width_mm == 1200
    x, _, w, _ = nest.sheets[0].offcut_mm
    assert x + w == 1200  # what lies beyond the bed is left for another job
    with pytest.raises(DoesNotFit):
        pack((piece("a", rectangle(395.0, 10.0)),), sheet, **RULES)


def test_not_enough_sheets_names_what_is_left():
    pieces = tuple(piece(f"p{k}", rectangle(300.0, 300.0)) for k in range(3))
    with pytest.raises(NotEnoughSheets, match="1 of 3 pieces found no place on the 2 sheets there are: p2") as caught:
        pack(pieces, (SheetStock(400.0, 400.0, 2),), **RULES)
    assert caught.value.pieces == ("p2",)
    with pytest.raises(NotEnoughSheets):
        pack(pieces, (SheetStock(400.0, 400.0, 0),), **RULES)


def test_the_smallest_sheet_that_does():
    sheets = (SheetStock(400.0, 400.0, 2), SheetStock(200.0, 150.0, 2), SheetStock(300.0, 200.0, 2))
    nest = pack((piece("a", rectangle(180.0, 120.0)),), sheets, **RULES)
    assert [(s.width_mm, s.height_mm) for s in nest.sheets] == [(200, 150)]
    nest = pack((piece("a", rectangle(250.0, 120.0)),), sheets, **RULES)
    assert [(s.width_mm, s.height_mm) for s in nest.sheets] == [(300, 200)]


def test_fewest_sheets_come_before_small_ones():
    sheets = (SheetStock(200.0, 150.0, 9), SheetStock(400.0, 400.0, 2))
    pieces = tuple(piece(f"p{k}", rectangle(180.0, 120.0)) for k in range(7))
    nest = pack(pieces, sheets, **RULES, effort=40)
    assert_legal(nest, pieces, sheets, **RULES)
    assert sorted(s.width_mm for s in nest.sheets) == [200, 400]


def test_the_one_long_sheet_is_kept_for_the_long_piece():
    sheets = (SheetStock(390.0, 80.0, 1), SheetStock(200.0, 200.0, 4))
    pieces = (*(piece(f"p{k}", rectangle(180.0, 65.0)) for k in range(4)), piece("long", rectangle(370.0, 30.0)))
    nest = pack(pieces, sheets, **RULES, effort=40)
    assert_legal(nest, pieces, sheets, **RULES)


def test_the_bound_counts_outlines_that_fit_no_window():
    # Rings of 230 mm have little wood (4 of them: 0.25 sheets), and by outline 4 need 2. But no two share a sheet's
    # 390 mm, as each is more than half of it wide and high.
    rings = tuple(piece(f"r{k}", rectangle(230.0, 230.0), hole(210.0, 210.0, 10.0, 10.0)) for k in range(4))
    nest = pack(rings, SQUARE, **RULES, effort=20)
    assert len(nest.sheets) == 4
    assert nest.bound == 4


def test_a_ring_stack_takes_fewer_sheets_than_its_boxes():
    pieces = ring_stack()
    nest = pack(pieces, (SheetStock(300.0, 300.0, 9),), **RULES, effort=100)
    assert_legal(nest, pieces, (SheetStock(300.0, 300.0, 9),), **RULES)
    assert len(nest.sheets) < _shelves(pieces, 290.0, 290.0, 2.0)
    shapes = on_sheet(nest, pieces)
    windows = [Polygon(shapes[f"ring-{k}"].interiors[0]) for k in range(6)]
    inside = [p.piece for p in nest.placements if any(w.contains(shapes[p.piece]) for w in windows)]
    assert len(inside) >= 5


def test_same_input_same_nest_whatever_the_order():
    pieces = ring_stack()
    shuffled = list(pieces)
    random.Random(3).shuffle(shuffled)
    first = pack(pieces, SQUARE, **RULES, effort=30)
    assert repr(pack(tuple(shuffled), SQUARE, **RULES, effort=30)) == repr(first)
    assert repr(pack(pieces, tuple(reversed((*SQUARE, SheetStock(9.0, 9.0, 1)))), **RULES, effort=30)) == repr(first)


def test_pieces_anywhere_in_their_own_coordinates():
    far = tuple(
        dataclasses.replace(p, outline=tuple((x + 1e4, y - 3e3) for x, y in p.outline), holes=()) for p in ring_stack()
    )
    assert_legal(pack(far, SQUARE, **RULES, effort=10), far, SQUARE, **RULES)


@pytest.mark.parametrize("seed", range(6))
def test_never_more_sheets_than_boxes_on_shelves(seed):
    dice = random.Random(seed)
    pieces = []
    for k in range(dice.randint(6, 16)):
        w, h = dice.uniform(30, 190), dice.uniform(30, 190)
        pieces.append(piece(f"p{k:02d}", rectangle(w, h) if dice.random() < 0.7 else ell(w, h, min(w, h) / 3)))
    sheets = (SheetStock(300.0, 400.0, 20),)
    nest = pack(tuple(pieces), sheets, **RULES, effort=40)
    assert_legal(nest, tuple(pieces), sheets, **RULES)
    assert len(nest.sheets) <= _shelves(pieces, 290.0, 390.0, 2.0)


def test_refuses_what_is_no_job():
    with pytest.raises(ValueError, match="ids must differ: a"):
        pack((piece("a", disc(5)), piece("a", disc(5))), SQUARE, **RULES)
    with pytest.raises(ValueError, match="piece bow"):
        pack((piece("bow", ((0, 0), (10, 10), (10, 0), (0, 10))),), SQUARE, **RULES)
    with pytest.raises(ValueError, match="negative"):
        pack((piece("a", disc(5)),), SQUARE, bed_mm=(400, 400), margin_mm=5, spacing_mm=-1)


def _shelves(pieces, width, height, spacing):
    """Sheets that boxes take on shelves, tallest first, each on the first shelf with room, in two turnings."""

    def count(lying):
        boxes = []
        for one in pieces:
            xs, ys = [x for x, _ in one.outline], [y for _, y in one.outline]
            w, h = max(xs) - min(xs), max(ys) - min(ys)
            flat, tall = (max(w, h), min(w, h)), (min(w, h), max(w, h))
            boxes.append(flat if lying and flat[0] <= width else tall if tall[1] <= height else flat)
        shelves, sheets = [], []  # shelf: sheet, height, used width; sheet: used height
        for w, h in sorted(boxes, key=lambda b: -b[1]):
            for shelf in shelves:
                if shelf[1] >= h and shelf[2] + spacing + w <= width:
                    shelf[2] += spacing + w
                    break
            else:
                for k, used in enumerate(sheets):
                    if used + spacing + h <= height:
                        sheets[k] += spacing + h
                        shelves.append([k, h, w])
                        break
                else:
                    sheets.append(h)
                    shelves.append([len(sheets) - 1, h, w])
        return len(sheets)

    return min(count(True), count(False))


def test_strips_that_fill_a_row_but_for_a_millimetre():
    # Ten to a row and two rows: 10 * 37.1 + 9 * 2 = 389 of 390 mm. On cells of just 1 mm only nine would go.
    strips = tuple(piece(f"s{k:02d}", rectangle(37.1, 180.0)) for k in range(20))
    nest = pack(strips, SQUARE, **RULES)
    assert_legal(nest, strips, SQUARE, **RULES)
    assert len(nest.sheets) == 1


LSHAPE = ((0.0, 0.0), (400.0, 0.0), (400.0, 200.0), (200.0, 200.0), (200.0, 400.0), (0.0, 400.0))


def test_an_offcut_takes_what_its_outline_takes():
    # Three squares of 190 lie in an L-shaped offcut, 5 mm from its edges; the box around it would take a fourth.
    offcut = (SheetStock(400.0, 400.0, 1, outline_mm=LSHAPE),)
    squares = tuple(piece(f"s{k}", rectangle(190.0, 190.0)) for k in range(4))
    nest = pack(squares[:3], offcut, **RULES)
    assert_legal(nest, squares[:3], offcut, **RULES)
    assert nest.sheets[0].outline == LSHAPE
    assert math.isclose(nest.utilisation, 3 * 190**2 / 120000)
    with pytest.raises(NotEnoughSheets, match="s3"):
        pack(squares, offcut, **RULES)
    with pytest.raises(DoesNotFit, match="leave no room that takes: s"):
        pack((piece("s", rectangle(300.0, 300.0)),), offcut, **RULES)


def test_a_clamp_in_the_corner_moves_the_piece_away_by_its_clearance():
    clamp = KeepOut("rectangle", "clamp", 0.0, 0.0, width_mm=30.0, height_mm=20.0)
    sheet = (SheetStock(400.0, 400.0, 1, keep_out=(clamp,)),)
    one = piece("a", rectangle(380.0, 100.0))
    nest = pack((one,), sheet, **RULES)
    assert on_sheet(nest, (one,))["a"].bounds[1] == 20 + 2 + 10
    near = (SheetStock(400.0, 400.0, 1, keep_out=(dataclasses.replace(clamp, clearance_mm=0.0),)),)
    assert on_sheet(pack((one,), near, **RULES), (one,))["a"].bounds[1] == 20 + 2


def test_a_knot_lies_in_a_window_if_it_can():
    knot = KeepOut("circle", "knot", 200.0, 200.0, diameter_mm=30.0)
    sheet = (SheetStock(400.0, 400.0, 1, keep_out=(knot,)),)
    frame = piece("frame", rectangle(380.0, 380.0), hole(200.0, 200.0, 90.0, 90.0))
    nest = pack((frame,), sheet, **RULES)
    assert_legal(nest, (frame,), sheet, **RULES)
    assert Polygon(on_sheet(nest, (frame,))["frame"].interiors[0]).contains(Polygon(nest.sheets[0].keep_out[0].outline))
    with pytest.raises(DoesNotFit):
        pack((piece("plate", rectangle(380.0, 380.0)),), sheet, **RULES)


def test_an_offcut_with_a_knot_is_no_rectangle_to_keep():
    knot = KeepOut("circle", "knot", 300.0, 300.0, diameter_mm=2.0)
    magnet = dataclasses.replace(knot, what="magnet")
    one = (piece("a", rectangle(390.0, 100.0)),)
    for place, size in ((magnet, (400.0, 293.0)), (knot, (298.0, 293.0))):
        nest = pack(one, (SheetStock(400.0, 400.0, 1, keep_out=(place,)),), **RULES)
        assert nest.sheets[0].offcut_mm[2:] == size


def test_what_is_left_over_never_sticks_out_of_its_sheet_by_a_hair():
    height = 120.99999999999994
    sheets = (SheetStock(120.0, height, 1),)
    nest = pack((piece("a", rectangle(20, 20)),), sheets, **(RULES | {"margin_mm": 0.0, "spacing_mm": 0.0}))
    x, y, w, h = nest.sheets[0].offcut_mm
    assert (w, h) != (0, 0)
    assert x + w <= 120 and y + h <= height


def test_any_angle_lays_a_long_strip_across():
    strip = piece("strip", rectangle(460.0, 20.0))
    with pytest.raises(DoesNotFit):
        pack((strip,), SQUARE, **RULES)
    nest = pack((strip,), SQUARE, **RULES, turns="any")
    assert_legal(nest, (strip,), SQUARE, **RULES, turns="any")
    assert nest.placements[0].turn_deg % 90 == 45


def test_any_angle_lays_a_slanted_edge_level():
    # A strip drawn at 20 degrees: only straightened does it go on the narrow sheet.
    c, s = math.cos(math.radians(20)), math.sin(math.radians(20))
    slanted = piece("slanted", tuple((c * x - s * y, s * x + c * y) for x, y in rectangle(300.0, 40.0)))
    narrow = (SheetStock(320.0, 60.0, 1),)
    nest = pack((slanted,), narrow, **RULES, turns="any")
    assert_legal(nest, (slanted,), narrow, **RULES, turns="any")
    assert nest.placements[0].turn_deg in (160, 340)
    with pytest.raises(DoesNotFit):
        pack((slanted,), narrow, **RULES)


def test_grain_keeps_to_half_turns_whatever_the_angle():
    pieces = tuple(piece(f"t{k}", trapezoid(0.5), grain="x") for k in range(5))
    nest = pack(pieces, SQUARE, **RULES, sheet_grain="x", effort=20, turns="any")
    assert {p.turn_deg for p in nest.placements} <= {0, 180}


def test_any_angle_is_never_worse_than_quarter_turns():
    pieces = ring_stack()
    sheets = (SheetStock(300.0, 300.0, 9),)
    quarter = pack(pieces, sheets, **RULES, effort=30)
    free = pack(pieces, sheets, **RULES, effort=30, turns="any")
    assert_legal(free, pieces, sheets, **RULES, turns="any")
    assert len(free.sheets) <= len(quarter.sheets)


def test_the_emptiest_sheet_is_pushed_together():
    # Row by row three strips take the whole width of the last sheet; on end they leave 400 x 295.
    strips = tuple(piece(f"s{k}", rectangle(31.0, 388.0)) for k in range(3))
    nest = pack(strips, SQUARE, **RULES)
    _, _, w, h = nest.sheets[0].offcut_mm
    assert w * h == 400 * (400 - 5 - 3 * 31 - 2 * 2 - 2)


def test_the_bound_knows_that_pieces_cannot_be_divided():
    # 150 x 250 is a quarter of 392 x 392, but only two fit one: 250 is more than half, their sum too much.
    plates = tuple(piece(f"p{k}", rectangle(150.0, 250.0)) for k in range(9))
    nest = pack(plates, SQUARE, **RULES, effort=10)
    assert (nest.bound, len(nest.sheets)) == (5, 5)
    # More than a third of each side, two to a row: four to a sheet, by area it would be nearly six.
    squares = tuple(piece(f"q{k}", rectangle(160.0, 160.0)) for k in range(9))
    nest = pack(squares, SQUARE, **RULES, effort=10)
    assert (nest.bound, len(nest.sheets)) == (3, 3)
