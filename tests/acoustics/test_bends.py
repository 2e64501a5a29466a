import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kerfwave.acoustics.air import air
from kerfwave.acoustics.bends import (
    bend_correction,
    bend_segments,
    fold_correction,
    plane_step_inertance,
    sharp_corner_correction,
)

AIR = air()
widths, angles, depths = st.floats(0.01, 0.08), st.floats(0.1, math.pi), st.floats(0.03, 0.2)


@given(widths, st.floats(0.02, 5), angles, depths)
def test_a_bend_takes_away_but_never_all(width, tightness, angle, depth):
    inner = tightness * width
    correction = bend_correction(width, inner, angle, depth, AIR)
    straight = AIR.density * angle * (inner + width / 2) / (width * depth)
    assert -straight < correction < 0


@given(widths, st.floats(0.02, 5), angles, depths)
def test_tighter_bends_take_away_more(width, tightness, angle, depth):
    tight = bend_correction(width, tightness * width, angle, depth, AIR)
    wider = bend_correction(width, 1.2 * tightness * width, angle, depth, AIR)
    # The centreline grows too; what counts is the share.
    assert tight / (tightness + 0.5) < wider / (1.2 * tightness + 0.5)


@given(widths, st.floats(0.02, 5), angles, depths)
def test_only_shape_and_depth_count(width, tightness, angle, depth):
    one = bend_correction(width, tightness * width, angle, depth, AIR)
    scaled = bend_correction(2 * width, tightness * 2 * width, angle, depth, AIR)
    assert scaled == pytest.approx(one)


@given(widths, st.floats(0.02, 5), angles, depths)
def test_segments_keep_the_volume_and_hold_the_lump_in_the_middle(width, tightness, angle, depth):
    inner = tightness * width
    first, second = bend_segments("fold", width, inner, angle, depth, AIR, 1000.0)
    sector = angle / 2 * ((inner + width) ** 2 - inner**2) * depth
    volume = (first.length_m + second.length_m) * first.area_in_m2
    assert volume == pytest.approx(sector)
    assert first.extra_inertance_kg_m4 == 0
    assert second.extra_inertance_kg_m4 == bend_correction(width, inner, angle, depth, AIR)
    assert first.flow_resistivity_pa_s_m2 == second.flow_resistivity_pa_s_m2 == 1000.0


@given(widths, st.floats(0.05, 1.5), st.floats(0.5, 5), depths)
def test_square_folds_take_away_too(width, partition, gap, depth):
    correction = fold_correction(width, partition * width, gap * width, depth, AIR)
    assert correction > -AIR.density / depth * gap * (2 + partition)
    if gap >= 1:
        assert correction < 0


@pytest.mark.parametrize(
    ("partition", "gap", "sentence"),
    [(0.01, 1, "between 0.05 and 1.5"), (2, 1, "between 0.05"), (0.2, 0.4, "at least 0.5"), (0.2, -1, "above 0")],
)
def test_folds_outside_the_table(partition, gap, sentence):
    with pytest.raises(ValueError, match=sentence):
        fold_correction(0.03, partition * 0.03, gap * 0.03, 0.08, AIR)


@given(widths, st.floats(1, 8), depths)
def test_a_step_adds_the_more_the_larger_it_is(narrow, ratio, depth):
    one = plane_step_inertance(narrow, ratio * narrow, depth, AIR)
    more = plane_step_inertance(narrow, 1.1 * ratio * narrow, depth, AIR)
    assert 0 <= one < more


def test_refusals():
    with pytest.raises(ValueError, match="must not be larger"):
        plane_step_inertance(0.04, 0.03, 0.08, AIR)
    with pytest.raises(ValueError, match="inner_radius_m is 0"):
        bend_correction(0.03, 0.0, 1.0, 0.08, AIR)
    with pytest.raises(ValueError, match="depth_m"):
        sharp_corner_correction(float("nan"), AIR)


def test_far_from_the_end_wall_a_fold_is_two_corners_and_a_straight():
    """Above a gap of three widths the inertance changes no more: the correction only loses the longer way."""
    three, five = (fold_correction(0.02, 0.01, gap * 0.02, 0.08, AIR) for gap in (3.0, 5.0))
    assert three == pytest.approx(AIR.density / 0.08 * (1.3835 - 3.0 * 2.5))  # the field solution behind the table
    assert three - five == pytest.approx(AIR.density / 0.08 * 2.0 * 2.5)
