"""What holds for any set of pieces: no overlap, spacing kept, inside the margin, everything placed once."""

import random

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwave.model.spec import SheetStock
from kerfwave.nest import NotEnoughSheets, pack
from kerfwave.nest.areas import areas
from kerfwave.nest.board import Past
from kerfwave.nest.exact import Cover, lay, settle, verify
from kerfwave.nest.fill import fresh, lay_large, vary
from kerfwave.nest.items import Forms, item
from kerfwave.nest.maps import Maps
from kerfwave.nest.offcut import under
from nest_samples import assert_legal, piece, rectangle
from nest_strategies import BED, jobs, offcuts


@given(jobs(), st.lists(offcuts(), min_size=1, max_size=2), st.sampled_from(["quarter", "quarter", "any"]))
@settings(max_examples=40)
def test_every_nest_on_odd_sheets_is_legal(job, odd, turns):
    pieces, sheets, rules = job
    sheets = (*odd, SheetStock(390.0, 390.0, 20))
    nest = pack(pieces, sheets, **rules, effort=4, turns=turns)
    assert_legal(nest, pieces, sheets, **rules, turns=turns)


@given(jobs())
@settings(max_examples=40)
def test_every_nest_is_legal(job):
    pieces, sheets, rules = job
    nest = pack(pieces, sheets, **rules, effort=4)
    assert_legal(nest, pieces, sheets, **rules)


@given(jobs(), st.randoms(use_true_random=False))
@settings(max_examples=8)
def test_the_order_of_the_pieces_does_not_matter(job, dice):
    pieces, sheets, rules = job
    shuffled = list(pieces)
    dice.shuffle(shuffled)
    assert pack(tuple(shuffled), sheets, **rules, effort=4) == pack(pieces, sheets, **rules, effort=4)


@given(jobs())
@settings(max_examples=8)
def test_too_few_sheets_lose_no_piece_silently(job):
    pieces, sheets, rules = job
    few = (SheetStock(sheets[0].width_mm, sheets[0].height_mm, 1),)
    try:
        nest = pack(pieces, few, **rules, effort=4)
    except NotEnoughSheets as error:
        assert error.pieces
        assert set(error.pieces) <= {p.id for p in pieces}
        assert all(name in str(error) for name in error.pieces)
    else:
        assert_legal(nest, pieces, few, **rules)


@given(jobs(), offcuts(), st.booleans(), st.integers(0, 99))
@settings(max_examples=20)
def test_a_layout_is_the_same_with_a_past_as_without(job, odd, plain, seed):
    pieces, sheets, rules = job
    (area, *_) = sizes = areas(sheets if plain else (odd,), rules["bed_mm"], rules["margin_mm"])
    forms, rng, past = Forms(), random.Random(seed), Past()
    maps = Maps(1.0, rules["spacing_mm"], sizes)
    made = (item(p, forms, sizes, rules["margin_mm"], rules["sheet_grain"]) for p in pieces)
    items = tuple(one for one in made if one is not None)
    genes = fresh(items, rng)
    for _ in range(12 if items else 0):
        assert lay_large(maps, area, items, genes, past) == lay_large(maps, area, items, genes, Past())
        genes = vary(genes, items, rng)


@given(st.lists(st.integers(0, 4), min_size=1, max_size=9))
def test_rectangles_under_a_skyline(heights):
    """Beside every rectangle there is."""
    found = set(under(np.array(heights)))
    there = {
        (left, end - left, min(heights[left:end]))
        for left in range(len(heights))
        for end in range(left + 1, len(heights) + 1)
    }
    assert found <= there
    for left, width, height in there:
        assert any(x <= left and left + width <= x + w and height <= h for x, w, h in found)


@given(st.floats(-1.5e-6, 1.5e-6), st.floats(-1.5e-6, 1.5e-6), st.integers(0, 3000), st.integers(0, 3000))
def test_pieces_are_pushed_to_the_margin_and_no_farther(x, y, right, up):
    """Outlines that are no whole micrometres, such as those of pieces turned to any angle."""
    (area,) = areas((SheetStock(200.0, 150.0, 1),), BED, 5.0)
    one = item(piece("a", rectangle(60.0, 40.0), x=x, y=y), Forms(), (area,), 5.0, None)
    lying = lay(one, one.stances[0], 5.0 + right / 1000, 5.0 + up / 1000)
    (settled,) = settle(Cover(area, (lying,)), 2.0).lying
    verify({"a": settled.shape}, area, 2.0)
    assert settled.shape.bounds[0] < 5.001 + 1e-6 and settled.shape.bounds[1] < 5.001 + 1e-6
