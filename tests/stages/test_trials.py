"""A test cut is drawn from what no feed or power changes, and the drawing is that of the cut itself."""

from dataclasses import replace

from cut_samples import MACHINE, RECIPE, STOCK
from kerfwave import cut
from kerfwave.stages import coupons, trials
from kerfwave.writers.sheets import coupon_svg


def made(**settings):
    return cut.design(MACHINE, STOCK, replace(RECIPE, **settings))


def test_the_drawing_is_that_of_the_cut_itself():
    tests = made()
    drawn = dict(coupons.run(trials.run(tests).coupons).files)
    assert drawn == {
        f"sheets/{one.program.name}.svg": coupon_svg(one.program, one.pieces, placements=one.placements)
        for one in tests
    }
    assert all("-rapids" in text and "-cuts" in text for text in drawn.values())


def test_another_feed_and_power_make_another_cut_of_the_same_drawing():
    slow, fast = made(feed_mm_min=200.0, power_percent=100.0), made(feed_mm_min=400.0, power_percent=60.0)
    assert slow != fast
    assert trials.run(slow) == trials.run(fast)


def test_passes_and_kerf_are_seen():
    assert trials.run(made(passes=4)) != trials.run(made(passes=7))
    assert trials.run(made(kerf_mm=0.1)) != trials.run(made(kerf_mm=0.2))
