"""Pieces too large for the bed, split with staggered seams."""

import itertools

import pytest

from bodies import made, rectangle, trapezoid
from kerfwave.body import checks, shapes
from kerfwave.body.splitting import STAGGER_MM, CannotSplit, fits, split_layers


@pytest.mark.parametrize("plan", [trapezoid(186, 156, 212), rectangle(190, 220)])
def test_every_part_fits_and_together_they_are_the_layer(plan):
    body, cut, *_ = made(plan, dowel_mm=3.0)
    room = ((170.0, 170.0),)
    split = split_layers(body, cut, room)
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
    split = split_layers(body, cut, ((200.0, 200.0),))
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
    assert split_layers(body, cut, ((390.0, 390.0),)) == cut


def test_what_cannot_be_made_to_fit_is_named():
    body, cut, *_ = made(trapezoid(186, 156, 212))
    with pytest.raises(CannotSplit, match="L01"):
        split_layers(body, cut, ((20.0, 20.0),))
