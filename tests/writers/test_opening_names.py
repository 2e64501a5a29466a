"""Names of openings run into nothing: not into the body, not into the dimension line, not off the page."""

import dataclasses
import re
from xml.etree import ElementTree

import pytest
from shapely.affinity import rotate
from shapely.geometry import Polygon, box

from bodies import made, rectangle, trapezoid
from kerfwave.writers import drawings
from kerfwave.writers.svg import GLYPH

SVG = "{http://www.w3.org/2000/svg}"
NAMES = ("mouth", "terminals", "driver")


def boxes(text):
    """The boxes of the names, as wide as the drawings themselves reckon with."""
    found = {}
    for e in ElementTree.fromstring(text).iter(f"{SVG}text"):
        if e.text.split(" (")[0] in NAMES and "kw-halo" not in e.get("class"):
            x, y, size = (float(e.get(k)) for k in ("x", "y", "font-size"))
            wide = GLYPH * len(e.text) * size
            left = {"start": x, "middle": x - wide / 2, "end": x - wide}[e.get("text-anchor")]
            lying = box(left, y - 0.75 * size, left + wide, y + 0.2 * size)
            found[e.text] = rotate(lying, -90, origin=(x, y)) if e.get("transform") else lying
    return found


def page(text):
    return box(0, 0, *(float(v) for v in re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', text).groups()))


@pytest.mark.parametrize(
    ("plan", "stack", "pick"), [(trapezoid(186, 156, 212), "upright", 1), (rectangle(190, 230), "facing", 0)]
)
def test_names_stand_clear(plan, stack, pick):
    body, cut, *_ = made(plan, stack=stack, pick=pick)
    layer = drawings.layer_svg(cut.layers[7], cut.pieces, (), body.skin, openings=body.openings, stack=stack)
    inside = drawings.plan_svg(body.air, body.skin, openings=body.openings)
    for text in (layer, inside):
        outline = next(
            Polygon([(float(x), float(y)) for x, y in re.findall(r"(-?[\d.]+) (-?[\d.]+)", e.get("d"))])
            for e in ElementTree.fromstring(text).iter(f"{SVG}path")
            if e.get("class") in ("kw-air", "kw-ink") and e.get("d", "").endswith("Z")
        )
        names = boxes(text)
        assert {"mouth", "terminals"} <= names.keys()
        for name in names.values():
            assert page(text).covers(name) and not name.intersects(outline)
            assert name.bounds[0] > 0.02 * page(text).bounds[2]
    whole = drawings.stack_svg(cut.layers, body.openings, body.skin, stack=stack)
    names = list(boxes(whole).values())
    assert len(names) == 3
    for i, name in enumerate(names):
        assert page(whole).covers(name)
        assert not any(name.intersects(other) for other in names[:i])


@pytest.mark.parametrize(("width_mm", "turned"), [(14.0, True), (20.0, False)])
def test_a_name_stands_within_its_mouth_along_the_longer_side_if_it_must(width_mm, turned):
    body, cut, *_ = made(trapezoid(186, 156, 212), pick=1)
    mouth = next(o for o in body.openings if o.kind == "mouth")
    front = dataclasses.replace(mouth, centre_mm=(40.0, 0.0, mouth.centre_mm[2]), normal=(0, -1, 0), width_mm=width_mm)
    whole = drawings.stack_svg(cut.layers, (front,), body.skin)
    shape = next(ElementTree.fromstring(whole).iter(f"{SVG}g")).find(f"{SVG}rect")
    x, y, w, h = (float(shape.get(k)) for k in ("x", "y", "width", "height"))
    assert box(x, y, x + w, y + h).covers(boxes(whole)["mouth"])
    assert ("rotate(-90" in whole.partition('id="stack-mouth"')[2].partition("</g>")[0]) == turned


def test_a_facing_stack_shows_an_opening_as_wide_as_its_layers():
    body, cut, *_ = made(rectangle(190, 230), stack="facing")
    root = ElementTree.fromstring(drawings.stack_svg(cut.layers, body.openings, body.skin, stack="facing"))
    mouth = next(o for o in body.openings if o.kind == "mouth")
    shape = next(e for e in root.iter(f"{SVG}g") if e.get("id") == "stack-mouth").find(f"{SVG}rect")
    assert float(shape.get("width")) == pytest.approx(mouth.height_mm, abs=0.01)
    assert float(shape.get("height")) == pytest.approx(mouth.width_mm, abs=0.01)
