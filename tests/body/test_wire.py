"""The wire's channel: in the chamber's wall, from the terminals towards the driver, and no leak."""

from dataclasses import replace

import pytest
from shapely.geometry import Point
from shapely.ops import unary_union

from bodies import made, rectangle, trapezoid
from kerfwave.body import checks, shapes
from kerfwave.body.slices import slices
from kerfwave.body.wire import PLAY_MM, check_wire, wire_layer, with_wire


@pytest.mark.parametrize("plan", [trapezoid(186, 156, 212), rectangle(190, 230)])
def test_the_channel_leaves_the_web_and_leads_nowhere_but_into_the_chamber(plan):
    folded, plain, rules, fold, counts = made(plan, dowel_mm=3.0)
    body = with_wire(folded, 2.5)
    assert with_wire(folded, 2.5) == body and with_wire(folded, None) == folded
    channel = unary_union([shapes.polygon(p.outline) for p in body.air if p.kind == "wire"])
    assert channel.area > 15 * (2.5 + PLAY_MM)
    z = {(p.from_z_mm, p.to_z_mm) for p in body.air if p.kind in ("wire", "wire-tie")}
    index = wire_layer(counts.total)
    assert z == {(counts.z_mm[index - 1], counts.z_mm[index])}
    assert counts.total / 2 < index <= counts.total / 2 + 1
    # Nowhere wider than the wire and its play, open to the chamber, a web away from everything else.
    chamber = shapes.polygon(fold.chamber)
    assert chamber.buffer(2.5 + PLAY_MM + 0.01, join_style="mitre").covers(channel)
    assert all(part.distance(chamber) == 0 for part in shapes.parts_of(channel))
    assert channel.difference(chamber).distance(shapes.polygon(body.skin).boundary) >= rules.least_web_mm - 1e-3
    for prism in folded.air:
        if prism.kind not in ("chamber", "terminal-bore", "driver-bore"):
            assert channel.distance(shapes.polygon(prism.outline)) >= rules.least_web_mm - 1e-3
    terminal = Point(fold.terminal.x_mm, fold.terminal.y_mm)
    assert channel.distance(terminal) < 45
    cut = slices(body, "sheet")
    assert not checks.flood(body, cut, ("driver", "mouth", "terminal"))
    other = [p.id for p, q in zip(plain.pieces, cut.pieces, strict=True) if p != q]
    assert {p[:3] for p in other} == {f"L{index:02d}"}
    assert len(cut.pieces) == len(plain.pieces)
    assert check_wire(body, 2.5).level == "ok"


def test_a_thin_wall_gets_no_channel_and_says_so():
    folded, *_ = made(trapezoid(186, 156, 212))
    assert with_wire(folded, 14.0) == folded
    said = check_wire(folded, 14.0)
    assert said.level == "warn" and "would need 17.5 mm" in said.text


def test_terminals_beside_the_driver_need_none():
    """Where several places are equally wide, the one that is taken is GEOS's affair: here it is the terminals' side."""
    folded, *_ = made(rectangle(190, 230), stack="facing", dowel_mm=3.0)
    folded = replace(folded, fold=replace(folded.fold, driver=replace(folded.fold.driver, y_mm=95.0)))
    assert with_wire(folded, 2.5) == folded
    said = check_wire(folded, 2.5)
    assert said.level == "ok" and "needs no channel" in said.text
