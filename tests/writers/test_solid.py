"""The two views in space: what is in them, what hides what, and that they stay small and still."""

from xml.etree import ElementTree

import pytest
from shapely.geometry import Polygon

from kerfwave.model.parts import Layer, Piece
from kerfwave.writers import solid
from kerfwave.writers.solid import closed_view_svg, exploded_view_svg

SVG = "{http://www.w3.org/2000/svg}"
VIEWS = [closed_view_svg, exploded_view_svg]


def groups(text):
    root = ElementTree.fromstring(text)
    return {g.get("id"): g for g in root.iter(f"{SVG}g") if g.get("id")}


def square(name, x0, y0, x1, y1, *holes):
    return Piece(name, "layer", ((x0, y0), (x1, y0), (x1, y1), (x0, y1)), holes, 6.0, 1)


@pytest.mark.parametrize("stack", ["upright", "facing"])
@pytest.mark.parametrize("view", VIEWS)
def test_each_layer_is_in_the_view_from_the_bottom_up(body, view, stack):
    text = view(body.layers, body.pieces, stack=stack)
    found = [ident for ident in groups(text) if ident[-2:].isdigit()]
    order = [f"{view.__name__.split('_')[0]}-{layer.index:02d}" for layer in body.layers]
    assert found == (order if stack == "upright" else order[::-1])
    root = ElementTree.fromstring(text)
    assert root.get("role") == "img"
    assert root.find(f"{SVG}title").text
    assert "14 layers" in root.find(f"{SVG}desc").text
    assert len(text) < 150_000


@pytest.mark.parametrize("view", VIEWS)
def test_everything_lies_on_the_page(body, view):
    root = ElementTree.fromstring(view(body.layers, body.pieces))
    _, _, width, height = map(float, root.get("viewBox").split())
    for path in root.iter(f"{SVG}path"):
        for pair in path.get("d").replace("Z", "").replace("M", "L").split("L")[1:]:
            x, y = map(float, pair.split())
            assert 0 < x < width
            assert 0 < y < height
    for text in root.iter(f"{SVG}text"):
        assert float(text.get("x")) + 0.58 * float(text.get("font-size")) * len(text.text) < width


def test_the_exploded_view_names_every_piece_that_stands_alone(body):
    words = [t.text for t in ElementTree.fromstring(exploded_view_svg(body.layers, body.pieces)).iter(f"{SVG}text")]
    assert len(words) == len(body.layers)
    for layer, text in zip(body.layers, words, strict=True):
        assert layer.pieces[0] in text
        assert layer.pieces[-1] in text


def test_a_block_shows_its_top_and_two_walls():
    group = groups(closed_view_svg([Layer(1, 0.0, 6.0, "s", ("a",))], [square("a", 0, 0, 40, 30)]))["closed-01"]
    paths = list(group.iter(f"{SVG}path"))
    assert len(paths) == 3  # front, right, top
    assert paths[-1].get("class") == "kw-wood"  # the upper face comes last
    front = [p for p in paths if p.get("class") == "kw-wood-dark"]
    assert len(front) == 1


def test_what_is_wholly_hidden_is_left_out():
    """A frame under a lid: the walls of its hole and its upper face cannot be seen, its front and right wall can."""
    hole = ((10, 10), (10, 20), (30, 20), (30, 10))
    frame, lid = square("a", 0, 0, 40, 30, hole), square("b", 0, 0, 40, 30)
    stack = [Layer(1, 0.0, 6.0, "s", ("a",)), Layer(2, 6.0, 6.0, "s", ("b",))]
    seen = groups(closed_view_svg(stack, [frame, lid]))
    assert len(list(seen["closed-01"].iter(f"{SVG}path"))) == 2
    alone = groups(closed_view_svg(stack[:1], [frame]))
    assert len(list(alone["closed-01"].iter(f"{SVG}path"))) == 5  # two walls outside, two in the hole, the face


def test_nearer_walls_are_drawn_later(body):
    """The long wall's middle is nearer than that of the short one that stands before its far end."""
    pieces = [square("long", 0, 0, 200, 5), square("short", 120, -12, 130, -6)]
    layer = Layer(1, 0.0, 6.0, "s", ("long", "short"))
    slab = solid._slab(layer, {p.id: p for p in pieces}, False, 0.1)
    for walls in (slab.walls, *(solid._slab(s, {p.id: p for p in body.pieces}, False, 0.1).walls for s in body.layers)):
        for i, one in enumerate(walls):
            for two in walls[i + 1 :]:
                low, high = max(one.across[0], two.across[0]), min(one.across[-1], two.across[-1])
                for part in (0.1, 0.5, 0.9) if high - low > 1e-3 else ():
                    place = low + part * (high - low)
                    assert solid._at(one, place) <= solid._at(two, place) + 1e-6


def test_a_facing_stack_is_turned_over_not_mirrored():
    """An L of wood keeps its hand: seen from the front of the body its foot stays on the same side."""
    ell = Piece("a", "layer", ((0, 0), (40, 0), (40, 10), (10, 10), (10, 60), (0, 60)), (), 6.0, 1)
    slab = solid._slab(Layer(1, 0.0, 6.0, "s", ("a",)), {"a": ell}, True, 0.1)
    ring = slab.faces[0][0]
    assert Polygon(ring).exterior.is_ccw
    assert Polygon(ring).area == Polygon(ell.outline).area
    assert set(ring) == {(x, -y) for x, y in ell.outline}


@pytest.mark.parametrize("view", VIEWS)
def test_same_layers_same_bytes(body, view):
    assert view(body.layers, body.pieces) == view(body.layers, tuple(reversed(body.pieces)))


@pytest.mark.parametrize("view", VIEWS)
def test_the_sense_in_which_a_ring_runs_does_not_matter(view):
    hole = ((10, 10), (10, 20), (30, 20), (30, 10))
    one = square("a", 0, 0, 40, 30, hole)
    two = Piece("a", "layer", one.outline[::-1], (hole[::-1],), 6.0, 1)
    layers = [Layer(1, 0.0, 6.0, "s", ("a",))]
    drawn = [
        sorted(p.get("class") or p.get("fill") for p in ElementTree.fromstring(view(layers, [x])).iter(f"{SVG}path"))
        for x in (one, two)
    ]
    assert drawn[0] == drawn[1]
    assert len(drawn[0]) == 5
