"""Pieces too large for the bed, split with staggered seams."""

import dataclasses
import itertools

import pytest
from shapely.geometry import LineString

from bodies import made, rectangle, square_room, trapezoid
from kerfwave.body import checks, shapes
from kerfwave.body.seams import check_seams
from kerfwave.body.splitting import CLEAR_MM, STAGGER_MM, CannotSplit, fits, split_layers, wasteful
from kerfwave.model.kinds import kinds
from kerfwave.model.spec import SheetStock, Stock
from kerfwave.stages.sparing import Shop, least_stock


@pytest.mark.parametrize("plan", [trapezoid(186, 156, 212), rectangle(190, 220)])
def test_every_part_fits_and_together_they_are_the_layer(plan):
    body, cut, *_ = made(plan, dowel_mm=3.0)
    room = ((170.0, 170.0),)
    split = split_layers(body, cut, (room,))
    wood = {p.id: shapes.polygon(p.outline, p.holes) for p in split.pieces}
    assert len(wood) == len(split.pieces) > len(cut.pieces)
    assert all(fits(shape, room) for shape in wood.values())
    before = {p.id: shapes.polygon(p.outline, p.holes) for p in cut.pieces}
    for old, new in zip(cut.layers, split.layers, strict=True):
        assert sum(wood[n].area for n in new.pieces) == pytest.approx(sum(before[n].area for n in old.pieces), abs=1e-3)
        for a, b in itertools.combinations(new.pieces, 2):
            assert wood[a].intersection(wood[b]).area < 1e-6
    assert not checks.flood(body, split, ("driver", "mouth", "terminal"))


def test_seams_stagger_from_layer_to_layer():
    body, cut, *_ = made(rectangle(190, 220))
    split = split_layers(body, cut, square_room(200.0))
    seams = []
    for layer in split.layers:
        # A butt seam shows as the far side of one piece that is the near side of another, away from the outside.
        spans = [shapes.polygon(p.outline).bounds for p in split.pieces if p.id in layer.pieces]
        starts, ends = {round(b[1], 3) for b in spans}, {round(b[3], 3) for b in spans}
        seams.append({y for y in starts & ends if 30 < y < 190})
    assert seams[0] and seams[-1]  # the solid ones at least
    for below, above in itertools.pairwise(seams):
        assert all(abs(a - b) >= STAGGER_MM for a in below for b in above)


def test_what_fits_is_left_alone():
    body, cut, *_ = made(trapezoid(186, 156, 212))
    assert split_layers(body, cut, square_room(390.0)) == cut


def test_what_cannot_be_made_to_fit_is_named():
    body, cut, *_ = made(trapezoid(186, 156, 212))
    with pytest.raises(CannotSplit, match="L01"):
        split_layers(body, cut, square_room(20.0))


@pytest.mark.parametrize("keyed", [False, True])
def test_rings_in_parts_keep_wood_webs_and_tightness(keyed):
    body, cut, rules, *_ = made(rectangle(190, 220), dowel_mm=3.0)
    room = ((390.0, 390.0),)
    split = split_layers(body, cut, (room,), sparing_mm=130.0, keyed=keyed)
    assert len(split.pieces) > len(cut.pieces) + 8
    wood = {p.id: shapes.polygon(p.outline, p.holes) for p in split.pieces}
    before = {p.id: shapes.polygon(p.outline, p.holes) for p in cut.pieces}
    assert all(shape.is_valid and shape.exterior.is_ccw for shape in wood.values())
    # What is solid stays whole: splitting it would save nothing.
    assert {p.id for p in split.pieces} >= {p.id for p in cut.pieces if not wasteful(before[p.id])}
    for old, new in zip(cut.layers, split.layers, strict=True):
        assert sum(wood[n].area for n in new.pieces) == pytest.approx(sum(before[n].area for n in old.pieces), abs=1e-3)
        for a, b in itertools.combinations(new.pieces, 2):
            assert wood[a].intersection(wood[b]).area < 1e-4
    ids = {p.id for p in cut.pieces}
    new_webs = [checks.narrowest_web_mm(shape) for name, shape in wood.items() if name not in ids]
    assert min(new_webs) >= rules.least_web_mm - 0.15
    seam, overhang = check_seams(split)
    assert seam.level == "ok" and overhang.level == "ok" and seam.text != "no layer has a seam"
    assert not checks.flood(body, split, ("driver", "mouth", "terminal"))
    # No seam at a screw or a dowel, nor anything else that is cut into its layer.
    for layer in split.layers:
        middle = layer.z_mm + layer.thickness_mm / 2
        cuts = [p for p in body.air if p.kind not in ("chamber", "guide") and p.from_z_mm < middle < p.to_z_mm]
        for a, b in itertools.combinations(layer.pieces, 2):
            touch = wood[a].boundary.intersection(wood[b].buffer(0.005))
            if touch.length > 0.5:
                assert all(touch.distance(shapes.polygon(p.outline)) >= CLEAR_MM - 0.02 for p in cuts)
    assert split_layers(body, cut, (room,), sparing_mm=130.0, keyed=keyed) == split


def test_a_key_is_a_dovetail_that_cannot_be_pulled_out():
    body, cut, rules, *_ = made(rectangle(190, 220))
    butt, keyed = (split_layers(body, cut, square_room(200.0), keyed=k) for k in (False, True))
    one, other = (
        {p.id: shapes.polygon(p.outline, p.holes) for p in split.pieces if p.layer == 1} for split in (butt, keyed)
    )
    assert one.keys() == other.keys()
    tab = other["L01a"].difference(one["L01a"])
    assert tab.geom_type == "Polygon" and tab.area > 0
    x0, y0, x1, y1 = tab.bounds
    neck = tab.intersection(LineString([(x0 - 1, y0 + 0.01), (x1 + 1, y0 + 0.01)])).length
    head = tab.intersection(LineString([(x0 - 1, y1 - 0.01), (x1 + 1, y1 - 0.01)])).length
    assert head > 1.2 * neck and neck >= rules.least_web_mm
    assert other["L01b"].area == pytest.approx(one["L01b"].area - tab.area, abs=1e-3)


def test_stock_is_saved_or_left_alone():
    body, cut, *_ = made(rectangle(190, 220))
    # Two layers alone. A frame fills a sheet, and what lies in its parts' corners of the next is saved.
    layers = cut.layers[6:8]
    few = dataclasses.replace(cut, layers=layers, pieces=tuple(p for p in cut.pieces if p.layer in (7, 8)))
    for width, saved in ((205.0, True), (290.0, False)):
        stock = Stock("birch", "birch-plywood", "muf", 6.3, (6.3,), 680, (SheetStock(width, 235.0, 8),))
        shop = Shop(kinds(stock), 5.0, 2.0, None, "quarter", (400.0, 400.0), 1)
        less, said = least_stock(body, few, (), shop, keyed=False)
        assert (said.id, said.level) == ("split", "ok")
        if saved:
            assert said.value is not None and said.limit is not None and said.value < said.limit
            assert len(less.pieces) > len(few.pieces)
        else:
            assert less == few and "save no sheet" in said.text


def test_with_too_few_sheets_for_either_way_rings_stay_whole():
    body, cut, *_ = made(rectangle(190, 220))
    stock = Stock("birch", "birch-plywood", "muf", 6.3, (6.3,), 680, (SheetStock(205.0, 235.0, 1),))
    shop = Shop(kinds(stock), 5.0, 2.0, None, "quarter", (400.0, 400.0), 1)
    same, said = least_stock(body, cut, (), shop, keyed=False)
    assert same == cut and "do not fit" in said.text


def test_what_counts_are_the_sheets_that_are_opened_not_their_blanks():
    """Two frames on one sheet that is cut in two for the bed: whole they take one, so nothing can be saved."""
    body, cut, *_ = made(rectangle(190, 220))
    few = dataclasses.replace(cut, layers=cut.layers[6:8], pieces=tuple(p for p in cut.pieces if p.layer in (7, 8)))
    stock = Stock("birch", "birch-plywood", "muf", 6.3, (6.3,), 680, (SheetStock(410.2, 235.0, 8),))
    shop = Shop(kinds(stock), 5.0, 2.0, None, "quarter", (205.0, 235.0), 1)
    same, said = least_stock(body, few, (), shop, keyed=False)
    assert same == few and "save no sheet" in said.text
