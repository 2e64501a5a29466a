"""Judging responses against a target, and choosing."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kerfwave.acoustics import sizing, targets
from kerfwave.acoustics.guide import Fill
from kerfwave.acoustics.network import response
from kerfwave.model.acoustic import Network, Outside
from sizing_samples import AIR, CANDIDATES, DRIVER, TARGET, guide, sized


def test_figures_by_hand():
    """Two flat curves 3 dB apart and excursions in the ratio 2: every figure can be told without a computer."""
    f = np.array(targets.target_grid(TARGET, 12))
    level = np.full((1, len(f)), 80.0)
    level[0, f > 300] = 82.0
    one = np.full((1, len(f)), 0.5)
    figures = targets.judge(TARGET, f, level, one, 3 * one, level - 3.0, 2 * one)
    share = (f[(f >= 100) & (f <= 700)] > 300).mean()
    assert figures.level_db[0] == pytest.approx(80 + 2 * share)
    assert figures.ripple_db[0] == pytest.approx(2.0)
    assert figures.relief_db[0] == pytest.approx(20 * np.log10(2))
    assert figures.bass_gain_db[0] == pytest.approx(3.0)
    assert (figures.excursion_mm[0], figures.mouth_m_s[0]) == (0.5, 1.5)
    missed = targets.shortfalls(replace(TARGET, level_db=90, ripple_db=1.5, relief_least_db=7.0), figures, 0.25)
    assert missed["level"][0] == pytest.approx(90 - figures.level_db[0])
    assert missed["ripple"][0] == pytest.approx(0.5)
    assert missed["relief"][0] == pytest.approx(7.0 - 20 * np.log10(2))
    assert missed["excursion"][0] == pytest.approx(20 * np.log10(2))
    assert missed["mouth"][0] == missed["bass"][0] == 0.0


@given(st.floats(60, 90), st.floats(120, 300))
def test_the_grid_has_every_edge_of_the_target(low, high):
    target = replace(TARGET, relief_from_hz=low, relief_to_hz=high, bass_at_hz=low + 1)
    f = targets.target_grid(target, 12)
    assert {low, high, low + 1, 100, 700} <= set(f)
    assert list(f) == sorted(f)
    with pytest.raises(ValueError, match="no frequency"):
        targets.judge(replace(target, relief_from_hz=1.0, relief_to_hz=2.0), np.array(f), *[np.ones((1, len(f)))] * 5)


def test_designs_come_best_first_and_what_they_promise_is_what_they_do():
    found = sized()
    scores = [d.objective for d in found.designs]
    assert scores == sorted(scores)
    assert found.tried == len(CANDIDATES) * len(sizing.FILLS)
    best = found.designs[0]
    f = targets.target_grid(TARGET, sizing.SECOND_ROUND_PER_OCTAVE)
    mine = response(best.network, f, AIR, 2.0, 1.0, "half")
    closed = response(best.closed, f, AIR, 2.0, 1.0, "half")
    band = [v for hz, v in zip(f, mine.spl_db, strict=True) if 100 <= hz <= 700]
    assert max(band) - min(band) == pytest.approx(best.ripple_db, abs=1e-6)
    relief = [
        20 * np.log10(c / m)
        for hz, m, c in zip(f, mine.excursion_peak_mm, closed.excursion_peak_mm, strict=True)
        if 70 <= hz <= 200
    ]
    assert min(relief) == pytest.approx(best.relief_db, abs=1e-6)


def test_an_unfilled_guide_sounds_terrible_and_a_little_fibre_tames_it():
    """What a throw-away study of this very driver found: tens of decibels without fibre, a handful with a third."""
    body = sizing.Candidate(0, 14, 0.6e-3, 2.2e-3, guide(0.72, 0.0224))
    f = targets.grid(100, 700, 48)
    spans = []
    for fill in (Fill(), Fill(1000.0, 1 / 3)):
        level = response(sizing.network(body, DRIVER, AIR, fill), f, AIR, 2.0, 1.0, "half").spl_db
        spans.append(max(level) - min(level))
    assert spans[0] > 25.0
    assert spans[1] < 10.0


def test_a_design_that_keeps_the_target_goes_before_any_that_does_not():
    found = sized()
    kept = [not any(d.shortfalls_db) for d in found.designs]
    assert kept == sorted(kept, reverse=True)
    assert found.feasible > 0 and found.binding == ()


def test_when_nothing_will_do_it_says_what_binds():
    found = sized(replace(TARGET, level_db=110.0))
    assert found.feasible == 0
    assert found.binding[0][0] == "level"
    assert found.binding[0][1] == pytest.approx(110.0 - found.designs[0].level_db)
    (name, short), *_ = found.reach
    assert name == "level"
    assert 0.0 < short <= found.binding[0][1]


def test_promises_that_only_stand_in_each_others_way_are_told_apart():
    """Every one of them is kept by some body, but none keeps all: then nothing is out of reach by itself."""
    best = max(d.bass_gain_db for d in sized(replace(TARGET, bass_gain_db=-9.0, ripple_db=60.0)).designs)
    found = sized(replace(TARGET, bass_gain_db=best - 0.01, ripple_db=4.0, relief_least_db=1.2))
    assert found.feasible == 0 and found.binding
    assert "bass" not in dict(found.reach)


def test_order_of_candidates_does_not_matter():
    assert sized() == sized(candidates=CANDIDATES[::-1])


def test_no_candidates_is_an_error():
    with pytest.raises(ValueError, match="no candidate"):
        sized(candidates=())


def test_the_yardstick_is_a_plain_closed_box():
    assert sized().designs[0].closed == Network(DRIVER, 2.2e-3)


def test_leaks_are_the_same_air_in_the_closed_box():
    """QL = omega C R (Small 1973): R from the chamber's own compliance, and the closed box has the same seams."""
    design = sized(setting=sizing.Setting(leak_ql=10.0, leak_hz=70.0)).designs[0]
    compliance = design.network.chamber_m3 / (AIR.density * AIR.speed**2)
    assert design.network.leak_pa_s_m3 == pytest.approx(10.0 / (2 * np.pi * 70.0 * compliance))
    assert design.closed.leak_pa_s_m3 == design.network.leak_pa_s_m3
    assert sized().designs[0].network.leak_pa_s_m3 == 0.0


def test_cone_and_mouth_hear_each_other_where_they_are():
    one = replace(CANDIDATES[0], outside=Outside(0.21, 0.2, 0.02))
    hung = sizing.network(one, DRIVER, AIR, Fill(), sizing.Setting("half"))
    free = sizing.network(one, DRIVER, AIR, Fill(), sizing.Setting("full"))
    assert (hung.spacing_m, hung.mouth.end, hung.mouth.wall_m, hung.cone_wall_m) == (0.21, "near-wall", 0.02, 0.2)
    assert (free.spacing_m, free.mouth.end, free.mouth.wall_m, free.cone_wall_m) == (0.21, "flanged", 0.0, 0.0)
    front = replace(one, outside=Outside(0.1, 0.2, None))
    assert sizing.network(front, DRIVER, AIR, Fill(), sizing.Setting("half")).mouth.end == "flanged"


def test_a_grid_counts_its_points():
    """An octave in twelve steps is thirteen points, semitones apart; what is no whole number of steps gets one more."""
    assert targets.grid(100.0, 200.0, 12) == pytest.approx([100.0 * 2 ** (k / 12) for k in range(13)])
    assert len(targets.grid(100.0, 201.0, 12)) == 14
