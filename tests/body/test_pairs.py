"""Mirrored bodies mirror, piece by piece, and their marks read on both."""

import dataclasses

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import MultiLineString

from bodies import DRIVER, made, rectangle, trapezoid
from kerfwave.body import checks, shapes
from kerfwave.body.marks import mark_layers
from kerfwave.body.pairs import left_and_right, mirrored_opening, mirrored_piece, mirrored_ring
from kerfwave.model.kinds import kinds
from kerfwave.model.parts import Piece
from kerfwave.model.spec import SheetStock, Stock, Terminals
from kerfwave.stages.slices import run


def wood(piece):
    return shapes.polygon(piece.outline, piece.holes)


@given(st.sampled_from([trapezoid(186, 156, 212), rectangle(190, 220)]), st.integers(0, 12), st.booleans())
@settings(max_examples=4, deadline=None, phases=[Phase.explicit, Phase.generate])
def test_mirrored_bodies_mirror(plan, pick, facing):
    body, cut, *_ = made(plan, pick=pick, stack="facing" if facing else "upright", dowel_mm=3.0)
    left, right = left_and_right(cut)
    twins = list(zip(left.pieces, right.pieces, strict=True))
    assert len({p.id for pair in twins for p in pair}) == 2 * len(cut.pieces)
    for original, (one, other) in zip(cut.pieces, twins, strict=True):
        assert (one.id, other.id) == (f"{original.id}-L", f"{original.id}-R")
        assert (one.body, other.body, one.layer) == (1, 2, other.layer)
        assert (one.outline, one.holes) == (original.outline, original.holes)
        mirror = affinity.scale(wood(one), -1.0, 1.0, origin=(0, 0))
        assert mirror.symmetric_difference(wood(other)).area < 1e-6
        assert wood(other).is_valid and wood(other).exterior.is_ccw
        again = mirrored_piece(mirrored_piece(original))
        assert again == original
    for a, b in zip(left.layers, right.layers, strict=True):
        assert [name.replace("-L", "-R") for name in a.pieces] == list(b.pieces)
        assert dataclasses.replace(a, pieces=()) == dataclasses.replace(b, pieces=())
    # The right one is as tight as the left: the flood, in the mirror.
    looking_glass = dataclasses.replace(
        body,
        plan=dataclasses.replace(body.plan, outline=mirrored_ring(body.plan.outline)),
        air=tuple(dataclasses.replace(p, outline=mirrored_ring(p.outline)) for p in body.air),
        fold=dataclasses.replace(body.fold, chamber=mirrored_ring(body.fold.chamber)),
    )
    assert not checks.flood(looking_glass, right, ("driver", "mouth", "terminal"))


def test_marks_are_made_after_mirroring_so_that_they_read():
    _, cut, *_ = made(trapezoid(186, 156, 212))
    for side, one in zip("LR", left_and_right(cut), strict=True):
        marked = mark_layers(one, "upright", "ids")
        for piece in marked.pieces[:-1]:
            mark = next((m for m in piece.marks if m.kind == "id"), None)
            if mark is not None:
                assert mark.text == piece.id and mark.text.endswith(f"-{side}")
                assert wood(piece).covers(MultiLineString(mark.lines))
        with pytest.raises(ValueError, match="letters do not mirror"):
            mirrored_piece(marked.pieces[0])


def test_the_stage_makes_both_and_an_opening_mirrors():
    body, cut, *_ = made(trapezoid(186, 156, 212))
    stock = Stock("sheet", "birch-plywood", "muf", 6.5, (6.3,), 680.0, (SheetStock(400, 400, 9),))
    rest = (DRIVER, Terminals(), kinds(stock), None, "never", 5.0, 400.0, 400.0)
    single, pair = (run(body, *rest, "ids", count, "butt", None, "quarter") for count in (1, 2))
    assert len(pair.pieces) == 2 * len(single.pieces) == 2 * len(cut.pieces)
    assert [p.id for p in pair.insets] == ["R1-L", "T1-L", "R1-R", "T1-R"]
    assert single.right == () and len(pair.right) == len(pair.layers)
    assert {c.id for c in pair.checks} == {c.id for c in single.checks} | {"pair"}
    mouth = next(o for o in body.openings if o.kind == "mouth")
    mirror = mirrored_opening(mouth)
    assert mirror.centre_mm == (-mouth.centre_mm[0], *mouth.centre_mm[1:]) and mirrored_opening(mirror) == mouth
    assert mirrored_piece(Piece("x", "layer", ((0, 0), (2, 0), (0, 1)), (), 6.3)).outline == ((-2, 0), (0, 0), (0, 1))
