"""What holds for any set of pieces: no overlap, spacing kept, inside the margin, everything placed once."""

from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwave.model.spec import SheetStock
from kerfwave.nest import NotEnoughSheets, pack
from nest_samples import assert_legal
from nest_strategies import jobs, offcuts


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
