"""Drawings: well-formed, to scale, in the program's coordinates, described, and the same every time."""

import math
import re
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Polygon
from shapely.ops import unary_union

from kerfwave.model.parts import Contour, Move, Opening, Piece, Placement, Sheet, SheetProgram
from kerfwave.writers import drawings, svg
from kerfwave.writers.openings import crosses
from kerfwave.writers.words import slug

SVG = "{http://www.w3.org/2000/svg}"
NASTY = ("<script>alert(1)</script>", '"><svg onload=alert(1)>', "javascript:alert(1)", "a\x00b\u202ec ]]> &lt; --")


def root_of(text):
    return ElementTree.fromstring(text)


def points_of(data):
    return [(float(x), float(y)) for x, y in re.findall(r"(-?[\d.]+) (-?[\d.]+)", data)]


def rings_of(data):
    return [points_of(part) for part in data.split("Z") if part]


def wood_of(data):
    """Rebuild the polygon of an even-odd path."""
    area = Polygon()
    for ring in rings_of(data):
        area = area.symmetric_difference(Polygon(ring))
    return area


def sheet_of(body, **change):
    words = {"title": "A sheet", "stock": "Birch plywood 6.2 mm", "verified": True} | change
    return drawings.sheet_svg(body.sheets[0], body.placements, body.pieces, **words)


def every_drawing(body, coupon):
    return {
        "sheet": sheet_of(body),
        "coupon": drawings.coupon_svg(coupon, (), "Kerf coupon"),
        "layer": drawings.layer_svg(body.layers[6], body.pieces, body.of_layer(6), body.plan, openings=body.openings),
        "floor": drawings.layer_svg(body.layers[0], body.pieces, (), body.plan),
        "stack": drawings.stack_svg(body.layers, body.openings, body.plan),
        "stack-facing": drawings.stack_svg(body.layers, body.openings, body.plan, stack="facing"),
        "plan": drawings.plan_svg(body.air, body.plan, openings=body.openings),
        "pieces": drawings.pieces_svg(body.pieces, body.placements),
        "inset": drawings.inset_svg(body.pieces[-1], "Terminal plate"),
    }


def test_every_drawing_is_well_formed_described_and_repeatable(body, coupon):
    first, second = every_drawing(body, coupon), every_drawing(body, coupon)
    for name, text in first.items():
        assert text == second[name], name
        root = root_of(text)
        assert root.get("role") == "img", name
        assert root.get("aria-label"), name
        assert root[0].tag == f"{SVG}title" and root[0].text, name
        assert root[1].tag == f"{SVG}desc" and len(root[1].text) > 20, name
        ids = [e.get("id") for e in root.iter() if e.get("id")]
        assert len(ids) == len(set(ids)), name
        assert not re.search(r"https?://", re.sub(r'xmlns(:\w+)?="[^"]*"', "", text)), name
        assert "nan" not in text and "inf " not in text, name
        for paint in re.findall(r"url\(#([^)]*)\)", text):
            assert paint in ids, name


def test_a_sheet_is_true_to_scale_with_its_origin_at_the_lower_left(body):
    root = root_of(sheet_of(body))
    sheet = body.sheets[0]
    assert root.get("width") == "400mm"
    x, y, width, height = map(float, root.get("viewBox").split())
    assert (x, y, width) == (0, 0, sheet.width_mm)
    assert root.get("height") == f"{height:g}mm"
    floor = next(e for e in root.iter() if e.get("id") == "sheet-01-L01")
    # L01 is placed at (10, 10) without a turn: its corner (0, 0) lies 10 mm from the page's left and lower edges
    assert (10.0, height - 10.0) in points_of(floor.find(f"{SVG}path").get("d"))


def test_the_pieces_on_a_sheet_are_those_of_the_body_where_they_were_placed(body):
    root = root_of(sheet_of(body))
    height = float(root.get("viewBox").split()[3])
    by_id = {p.id: p for p in body.pieces}
    for placement in body.placements:
        groups = [e for e in root.iter() if e.get("id") == f"sheet-01-{placement.piece}"]
        assert len(groups) == (placement.sheet == 1)
        for group in groups:
            drawn = wood_of(group.find(f"{SVG}path").get("d"))
            piece = by_id[placement.piece]
            assert drawn.area == pytest.approx(Polygon(piece.outline, piece.holes).area, rel=1e-4)
            # put it back by hand: unturn, unflip, unmove
            back = []
            for x, y in rings_of(group.find(f"{SVG}path").get("d"))[0]:
                dx, dy = x - placement.x_mm, height - y - placement.y_mm
                turn = math.radians(-placement.turn_deg)
                back.append((dx * math.cos(turn) - dy * math.sin(turn), dx * math.sin(turn) + dy * math.cos(turn)))
            for got, wanted in zip(back, piece.outline, strict=True):
                assert got == pytest.approx(wanted, abs=2e-3)


def test_the_scale_bars_are_50_mm_and_2_in_long(body):
    for width in (400.0, 90.0):  # beside each other, and one under the other
        sheet = Sheet(1, width, 100.0, 3.0, 0.0, None)
        root = root_of(drawings.sheet_svg(sheet, (), (), title="t", stock="s", verified=True))
        bars = next(e for e in root.iter() if e.get("id") == "sheet-01-scale").findall(f"{SVG}path")
        spans = [max(p[0] for p in points_of(b.get("d"))) - min(p[0] for p in points_of(b.get("d"))) for b in bars]
        assert spans == pytest.approx([50.0, 50.8])
        assert max(p[0] for b in bars for p in points_of(b.get("d"))) < width


def test_an_unverified_recipe_stands_on_the_sheet(body):
    assert "Recipe not verified" in "".join(root_of(sheet_of(body, verified=False)).itertext())
    assert "Recipe not verified" not in "".join(root_of(sheet_of(body)).itertext())


def test_a_placement_without_its_piece_is_an_error(body):
    with pytest.raises(KeyError):
        drawings.sheet_svg(body.sheets[0], body.placements, (), title="t", stock="s", verified=True)


@given(st.floats(-360, 360), st.booleans(), st.floats(-300, 300), st.floats(-300, 300), st.sampled_from((0, 1, 2, 3)))
def test_a_placed_piece_keeps_its_shape(turn, flipped, x, y, quarter):
    piece = Piece("P", "layer", ((0.0, 0.0), (40.0, 0.0), (40.0, 10.0), (0.0, 25.0)), (), 6.0)
    for angle in (turn, 90.0 * quarter):
        there = svg.placed(piece, Placement("P", 1, x, y, angle, flipped))
        assert abs(Polygon(there.outline).area) == pytest.approx(Polygon(piece.outline).area, rel=1e-9)
        assert Polygon(there.outline).exterior.is_ccw != flipped
        assert math.dist(there.outline[0], (x, y)) < 1e-9


def test_flip_comes_before_turn():
    piece = Piece("P", "layer", ((0.0, 0.0), (3.0, 0.0), (3.0, 1.0)), (), 6.0)
    there = svg.placed(piece, Placement("P", 1, 10.0, 20.0, 90.0, True))
    # (3, 1) flipped is (-3, 1), turned a quarter counter-clockwise (-1, -3), moved (9, 17)
    assert there.outline[2] == (9.0, 17.0)


def test_labels_lie_in_the_wood_of_their_piece(body):
    for piece in body.pieces:
        at, size, upright = svg.room_for(piece.id, piece, 7.0)
        wide, high = svg.GLYPH * len(piece.id) * size, 0.72 * size
        if upright:
            wide, high = high, wide
        x, y = at
        label = Polygon(
            [
                (x - wide / 2, y - high / 2),
                (x + wide / 2, y - high / 2),
                (x + wide / 2, y + high / 2),
                (x - wide / 2, y + high / 2),
            ]
        )
        assert Polygon(piece.outline, piece.holes).buffer(0.2).covers(label), piece.id
        assert size >= 2.0, piece.id


def test_a_coupon_shows_each_cut_once_and_its_arcs_as_arcs(coupon):
    root = root_of(drawings.coupon_svg(coupon, (), "Kerf coupon"))
    assert root.get("width") == "90mm"
    cuts = next(e for e in root.iter() if e.get("id") == "coupon-kerf-cuts").get("d")
    assert cuts.count("A") == 2  # a full circle in two halves
    assert cuts.count("L") == 8  # two squares, though each is cut twice
    rapids = next(e for e in root.iter() if e.get("id") == "coupon-kerf-rapids").get("d")
    assert rapids.count("L") == 3


@pytest.mark.parametrize(("kind", "flag"), [("arc-ccw", 0), ("arc-cw", 1)])
def test_arcs_turn_the_way_the_machine_does(kind, flag):
    # from the right of a circle to its top: a quarter turn if counter-clockwise, three quarters if clockwise
    moves = (Move("rapid", 20.0, 10.0), Move(kind, 10.0, 20.0, 1.0, 100.0, 10.0, 10.0))
    contour = Contour("C", "hole", moves, 15.7)
    text = drawings.coupon_svg(SheetProgram("coupon", "s", 30.0, 30.0, (contour,), 0, 0, 0, True))
    cuts = next(e for e in root_of(text).iter() if e.get("id") == "coupon-cuts").get("d")
    arcs = re.findall(r"A10 10 0 0 (\d) (\S+) (\S+?)(?=A|$)", cuts)
    assert [int(a[0]) for a in arcs] == [flag] * (1 if kind == "arc-ccw" else 2)
    height = 30.0 + 30.0
    assert (float(arcs[-1][1]), height - float(arcs[-1][2])) == (10.0, 20.0)
    if kind == "arc-cw":  # half way round by the lower left
        half = 10 - 10 / math.sqrt(2)
        assert (float(arcs[0][1]), height - float(arcs[0][2])) == pytest.approx((half, half), abs=1e-3)


def test_wood_and_ghost_of_a_layer_are_what_they_should_be(body):
    root = root_of(drawings.layer_svg(body.layers[6], body.pieces, body.of_layer(6), body.plan, openings=body.openings))
    drawn = unary_union(
        [wood_of(g.find(f"{SVG}path").get("d")) for g in root.iter(f"{SVG}g") if g.get("class") == "kw-piece"]
    )
    wanted = sum(Polygon(p.outline, p.holes).area for p in body.of_layer(7))
    assert drawn.area == pytest.approx(wanted, rel=1e-4)
    ghosts = next(e for e in root.iter() if e.get("id") == "layer-07-below").findall(f"{SVG}path")
    assert len(ghosts) == len(body.of_layer(6))
    text = "".join(root.itertext())
    assert "240 mm" in text and "160 mm" in text and "front" in text and "mouth" in text


def test_glue_is_dotted_where_wood_lies_on_wood(body):
    root = root_of(drawings.layer_svg(body.layers[12], body.pieces, body.of_layer(12), body.plan))
    (glue,) = (e for e in root.iter() if e.get("class") == "kw-glue")
    here, there = (unary_union([Polygon(p.outline, p.holes) for p in body.of_layer(index)]) for index in (13, 12))
    assert wood_of(glue.get("d")).area == pytest.approx(here.intersection(there).area, rel=1e-4)
    dots = next(e for e in root.iter() if e.get("id") == "layer-13-glue-dots")
    assert glue.get("fill") == f"url(#{dots.get('id')})" and len(dots) == 2
    assert "glue on the layer below" in "".join(root.itertext())
    floor = root_of(drawings.layer_svg(body.layers[0], body.pieces, (), body.plan))
    assert not [e for e in floor.iter() if e.get("class") == "kw-glue"]


def test_the_front_is_at_the_bottom_of_the_page(body):
    root = root_of(drawings.layer_svg(body.layers[0], body.pieces, (), body.plan))
    path = next(e for e in root.iter() if e.get("id") == "layer-01-L01").find(f"{SVG}path")
    points = points_of(path.get("d"))
    lowest = [x for x, y in points if y == max(p[1] for p in points)]
    assert max(lowest) - min(lowest) == pytest.approx(240.0)  # the front is the long side of this trapezoid


def test_openings_are_named_only_where_they_pass(body):
    named = [
        "mouth"
        in "".join(root_of(drawings.layer_svg(y, body.pieces, (), body.plan, openings=body.openings)).itertext())
        for y in body.layers
    ]
    assert named == [False] + [True] * 12 + [False]
    through_the_lid = Opening("driver", "driver", (1.0, 1.0, 0.0), (0.0, 0.0, -1.0), 1.0, diameter_mm=70.0)
    assert not crosses(through_the_lid, body.layers[0])


def test_the_path_inside_names_passes_in_order(body):
    root = root_of(drawings.plan_svg(body.air, body.plan, openings=body.openings))
    desc = root.find(f"{SVG}desc").text
    places = [desc.index(word) for word in ("chamber", "1: throat", "2: left pass", "3: back pass", "4: right pass")]
    assert places == sorted(places)
    path = next(e for e in root.iter() if e.get("id") == "inside-path")
    assert path is not None
    colours = {e.get("fill") for e in root.iter(f"{SVG}path") if "kw-pass" in (e.get("class") or "")}
    assert len(colours) == 4


def test_the_path_ends_in_the_mouth(body):
    root = root_of(drawings.plan_svg(body.air, body.plan, openings=body.openings))
    plan = points_of(next(e for e in root.iter(f"{SVG}path") if "inside-wood" in (e.get("fill") or "")).get("d"))
    left, front = min(p[0] for p in plan), max(p[1] for p in plan)
    line = points_of(next(e for e in root.iter() if e.get("id") == "inside-path").find(f"{SVG}path").get("d"))
    assert line[-1] == pytest.approx((left + 205.0, front), abs=0.01)


@pytest.mark.parametrize("text", NASTY)
def test_text_of_a_spec_stays_text(body, coupon, text):
    plan = ((0.0, 0.0), (50.0, 0.0), (50.0, 50.0), (0.0, 50.0))
    piece = Piece(text, "layer", plan, (), 6.0, layer=1)
    sheet = Sheet(1, 100.0, 100.0, 5.0, 0.0, None)
    pages = (
        drawings.sheet_svg(sheet, (Placement(text, 1, 10, 10, 0),), (piece,), title=text, stock=text, verified=False),
        drawings.coupon_svg(coupon, (piece,), text),
        drawings.pieces_svg((piece,)),
        drawings.inset_svg(piece, text),
        drawings.plan_svg(
            (), plan, openings=(Opening(text, text, (1.0, 0.0, 1.0), (0.0, -1.0, 0.0), 1.0),), title=text
        ),
    )
    for page in pages:
        root = root_of(page)
        assert not [
            e for e in root.iter() if e.tag.rpartition("}")[2] in ("script", "foreignObject", "a", "image", "use")
        ]
        assert not [k for e in root.iter() for k in e.attrib if k.lower().startswith("on") or "href" in k]
        assert "\u202e" not in page


@pytest.mark.parametrize(
    ("text", "wanted"), [("L03a", "L03a"), ("3 <b>", "x-3-b"), ("ünïcode", "unicode"), ("", "x"), ("..", "x")]
)
def test_slugs(text, wanted):
    assert slug(text) == wanted
