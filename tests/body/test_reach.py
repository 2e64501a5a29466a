"""Seams, overhangs, clamps, ways in, the room behind the magnet: each found where it was put."""

import dataclasses

import pytest
from shapely.geometry import Point, box

from bodies import DRIVER, made, rectangle, square_room, trapezoid
from kerfwave.body import checks, shapes
from kerfwave.body.insets import insets
from kerfwave.body.reach import CLAMP_MM, WAY_MM, check_clamps, check_driver_depth, check_ways
from kerfwave.body.seams import OVERHANG_MM, check_seams
from kerfwave.body.slices import Slices
from kerfwave.body.splitting import split_layers
from kerfwave.model.parts import Layer, Piece
from kerfwave.model.spec import Plan, Terminals


def stack(*layers):
    """Slices of boxes: for each layer the (x0, y0, x1, y1) of its pieces."""
    pieces, found = [], []
    for index, boxes in enumerate(layers, 1):
        names = []
        for k, corners in enumerate(boxes):
            outline, holes = shapes.rings_of(box(*corners))
            pieces.append(Piece(f"L{index:02d}{'abc'[k]}", "layer", outline, holes, 6.0, layer=index))
            names.append(pieces[-1].id)
        found.append(Layer(index, 6.0 * (index - 1), 6.0, "sheet", tuple(names)))
    return Slices(tuple(found), tuple(pieces))


def test_a_seam_with_air_on_both_sides_is_found_and_placed():
    halves = [(0, 0, 50, 40), (50, 0, 100, 40)]
    frame = [(0, 0, 100, 10)]
    seam, _ = check_seams(stack(halves, frame))
    assert seam.level == "fail" and seam.value == pytest.approx(30.0, abs=0.05)
    (spot,) = seam.at
    assert (spot.layer, spot.x_mm) == (1, pytest.approx(50.0, abs=0.02)) and 10 < spot.y_mm < 40
    lapped, _ = check_seams(stack(halves, [(0, 0, 100, 40)], frame))
    assert lapped.level == "ok" and "every one of 1" in lapped.text
    none, _ = check_seams(stack(frame, frame))
    assert none.text == "no layer has a seam"


def test_a_tongue_over_air_is_measured_from_where_it_is_held():
    plate = [(0, 0, 30, 100)]
    for reach, level in ((20.0, "ok"), (40.0, "warn")):
        _, overhang = check_seams(stack(plate, [(0, 0, 30 + reach, 100)], plate))
        assert overhang.level == level and overhang.value == pytest.approx(reach, abs=0.02)
        assert overhang.limit == OVERHANG_MM and overhang.at[0].layer == 2


def test_split_layers_have_lapped_seams():
    body, cut, *_ = made(rectangle(190, 220))
    split = split_layers(body, cut, square_room(200.0))
    seam, overhang = check_seams(split)
    assert seam.level == "ok" and overhang.level == "ok"


def test_clamps_reach_a_small_body_and_not_the_middle_of_a_large_one():
    small, cut, *_ = made(trapezoid(150, 140, 170))
    assert check_clamps(small, cut).level == "ok"
    large = dataclasses.replace(small, skin=((-200, 0), (200, 0), (200, 400), (-200, 400)))
    wide = stack([(-200, 0, 200, 400)], [(-200, 0, 200, 400)])
    said = check_clamps(large, wide)
    assert said.level == "warn" and said.value == pytest.approx(200.0) and said.limit == CLAMP_MM
    assert (said.at[0].x_mm, said.at[0].y_mm) == (0.0, 200.0)


def test_a_wing_before_a_seat_keeps_the_inset_out():
    body, *_ = made(trapezoid(186, 156, 212))
    assert check_ways(body).level == "ok"
    # The same seats in a plan with a wing 20 mm before the front, beside the driver.
    winged = (
        (-93, 0),
        (-60, 0),
        (-60, -20),
        (-100, -20),
        (-100, -30),
        (60, -30),
        (60, -20),
        (-50, -20),
        (-50, 0),
        (93, 0),
    )
    plan = Plan("polygon", (*body.plan.outline[:2], *body.plan.outline[2:]), body.plan.faces)
    outline = (*winged, *body.plan.outline[2:])
    faces = ("a", "b", "c", "d", "e", "f", "g", "h", "front", *body.plan.faces[1:])
    blocked = dataclasses.replace(body, plan=dataclasses.replace(plan, outline=outline, faces=faces))
    said = check_ways(blocked)
    assert said.level == "fail" and said.value == pytest.approx(20.0, abs=0.2) and said.limit == WAY_MM


@pytest.mark.parametrize("how", ["upright", "facing"])
def test_the_room_behind_the_magnet_is_what_the_pieces_leave(how):
    body, cut, rules, fold, counts = made(rectangle(190, 230), stack=how)
    said = check_driver_depth(body, cut, DRIVER)
    assert said.level == "ok" and said.value > 8.0
    # By hand: upright to the chamber's rear wall, facing to the first layer of the lid.
    x = fold.driver.x_mm
    wall = shapes.polygon(fold.chamber).intersection(box(x - 25, 0, x + 25, 400)).bounds[3]
    room = wall if how == "upright" else (counts.floor + counts.inner) * rules.thickness_mm
    assert said.value == pytest.approx(room - DRIVER.depth_mm, abs=0.1)
    longer = dataclasses.replace(DRIVER, depth_mm=room - 3.0)
    assert check_driver_depth(body, cut, longer).level == "warn"
    assert check_driver_depth(body, cut, dataclasses.replace(DRIVER, depth_mm=room + 1.0)).level == "fail"


def test_every_check_with_a_place_has_it_on_its_wood_or_its_hole():
    body, cut, *_ = made(trapezoid(186, 156, 212), dowel_mm=3.0)
    found = {c.id: c for c in checks.check_body(body, cut, insets(body, DRIVER, Terminals()), DRIVER)}
    assert {
        "web",
        "smallest-hole",
        "glue",
        "seam-lap",
        "overhang",
        "clamp-reach",
        "way-in",
        "driver-depth",
    } <= found.keys()
    skin = shapes.polygon(body.skin).buffer(0.01)
    for check in found.values():
        assert all(skin.covers(Point(s.x_mm, s.y_mm)) and 1 <= s.layer <= len(cut.layers) for s in check.at)
    (web,) = found["web"].at
    wood = [shapes.polygon(p.outline, p.holes) for p in cut.pieces if p.layer == web.layer]
    # The neck lies on wood, half a web from its edge.
    here = Point(web.x_mm, web.y_mm)
    assert min(w.boundary.distance(here) for w in wood) <= found["web"].value / 2 + 0.2
