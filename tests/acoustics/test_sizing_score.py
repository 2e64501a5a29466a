"""What the search weighs, told from its own ranks: what a decibel of everything costs, and the first round's bores.

The prices are those that docs/physics.md promises.
"""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from kerfwave.acoustics import sizing, targets
from kerfwave.acoustics.guide import Fill
from kerfwave.acoustics.network import response
from kerfwave.model.acoustic import ChamberShape, GuideRun, Network, Outside
from sizing_samples import AIR, CANDIDATES, DRIVER, TARGET, sized

# Every promise is kept with half a decibel to spare, whatever the fibre.
EASY = replace(TARGET, level_db=20.0, ripple_db=90.0, relief_least_db=-90.0, bass_gain_db=-90.0)
ONE = CANDIDATES[0]
FILLS_OF_ONE = 13 * 3  # of the guide, of the chamber


def scored(target=EASY, bodies=(ONE,), volts=2.0, limit_mm=300.0):
    """Return every design by body and fibre, to the end of the list."""
    found = sized(target, bodies, volts=volts, excursion_limit_mm=limit_mm, keep=999)
    return {(d.label, d.fill): d for d in found.designs}


def test_taste_has_its_prices():
    """Ripple 0.2 a decibel, bass gain -0.1, least and mean relief -0.5 each, a layer 0.05; nothing else counts."""
    bodies = tuple(replace(CANDIDATES[k], layers=10 + 7 * k) for k in range(3))
    layers = {body.label: body.layers for body in bodies}
    designs = scored(bodies=bodies).values()
    assert len(designs) == 3 * FILLS_OF_ONE and not any(any(d.shortfalls_db) for d in designs)
    rows = [[d.ripple_db, d.bass_gain_db, d.relief_db, d.relief_mean_db, layers[d.label], 1.0] for d in designs]
    prices, *_ = np.linalg.lstsq(np.array(rows), np.array([d.objective for d in designs]), rcond=None)
    assert prices == pytest.approx([0.2, -0.1, -0.5, -0.5, 0.05, 0.0], abs=1e-6)


@pytest.mark.parametrize(
    ("promise", "key", "sign", "price"),
    [
        ("level", "level_db", 1, 10.0),
        ("ripple", "ripple_db", -1, 10.0),
        ("relief", "relief_least_db", 1, 30.0),
        ("bass", "bass_gain_db", 1, 10.0),
    ],
)
def test_a_decibel_of_a_broken_promise_has_its_price(promise, key, sign, price):
    """Above that, every decibel that it lacks of half a decibel to spare costs 3, and the first step 1000."""
    easy = scored()
    name = "relief_db" if promise == "relief" else key
    value = {which: getattr(d, name) for which, d in easy.items()}

    def asked(by):  # of the first fill: so many decibels more than it does
        return scored(replace(EASY, **{key: value[0, Fill()] + sign * by}))[0, Fill()]

    plain = easy[0, Fill()].objective
    assert asked(-0.6).objective == pytest.approx(plain, abs=1e-6)
    assert asked(-0.3).objective == pytest.approx(plain + 3.0 * 0.2, abs=1e-6)
    assert asked(0.0).objective == pytest.approx(plain + 3.0 * 0.5, abs=1e-6)
    for by in (0.1, 1.0, 4.0):
        broken = asked(by)
        assert broken.objective == pytest.approx(plain + 1000.0 + price * by + 3.0 * (by + 0.5), abs=1e-6)
        assert broken.shortfalls_db[sizing.PROMISES.index(promise)] == pytest.approx(by)
        assert sum(broken.shortfalls_db) == pytest.approx(by)


def test_too_far_and_too_fast_are_counted_in_decibels_too():
    """Twice the excursion that is allowed is 6 dB too many; the mouth's limit is 17 m/s."""
    easy = scored()[0, Fill()]
    far = scored(limit_mm=easy.excursion_mm / 2)[0, Fill()]
    short = 20 * math.log10(2)
    assert far.objective == pytest.approx(easy.objective + 1000.0 + 10.0 * short + 3.0 * (short + 0.5), abs=1e-6)
    louder = 17.0 / easy.mouth_m_s * 2
    fast = scored(volts=2.0 * louder, limit_mm=300.0 * louder)[0, Fill()]
    assert fast.mouth_m_s == pytest.approx(34.0)
    assert fast.objective == pytest.approx(easy.objective + 1000.0 + 10.0 * short + 3.0 * (short + 0.5), abs=1e-6)


def test_every_figure_is_what_the_network_does_at_a_metre():
    target = replace(TARGET, bass_at_hz=90.0)
    design = sized(target).designs[0]
    f = targets.target_grid(target, sizing.SECOND_ROUND_PER_OCTAVE)
    mine, box = (response(n, f, AIR, 2.0, 1.0, "half") for n in (design.network, design.closed))
    hz, level, moved = (np.array(v) for v in (f, mine.spl_db, mine.excursion_peak_mm))
    relief = 20 * np.log10(np.array(box.excursion_peak_mm) / moved)[(hz >= 70) & (hz <= 200)]
    assert design.level_db == pytest.approx(level[(hz >= 100) & (hz <= 700)].mean())
    assert design.bass_gain_db == pytest.approx((level - box.spl_db)[np.abs(hz - 90).argmin()])
    assert design.relief_mean_db == pytest.approx(relief.mean())
    assert design.excursion_mm == pytest.approx(moved[hz >= 70].max())
    assert design.mouth_m_s == pytest.approx(np.array(mine.mouth_velocity_peak_m_s)[hz >= 70].max())


def test_what_fibre_is_tried():
    """None, or 500 to 4000 Pa s/m^2 in the first third, half or whole; in the chamber none, 1000 or 4000."""
    guide = {(0.0, 0.0)} | {(s, part) for s in (500, 1000, 2000, 4000) for part in (1 / 3, 0.5, 1.0)}
    tried = [fill for _, fill in scored()]
    assert {(f.guide_pa_s_m2, f.guide_fraction) for f in tried} == guide
    assert {f.chamber_pa_s_m2 for f in tried} == {0.0, 1000.0, 4000.0}
    assert len(tried) == len(set(tried)) == FILLS_OF_ONE


def test_cone_and_mouth_hear_each_other_only_where_they_have_places():
    assert sizing.network(ONE, DRIVER, AIR, Fill()).spacing_m == 0.0
    placed = replace(ONE, outside=Outside(0.21, 0.2, None))
    assert sizing.network(placed, DRIVER, AIR, Fill()).spacing_m == 0.21


def test_a_closed_box_is_sized_by_its_chamber_alone():
    box = sizing.Candidate(5, 14, 2.0e-3, 2.2e-3, ())
    found = scored(bodies=(box,))
    assert set(found) == {(5, Fill(chamber_pa_s_m2=s)) for s in (0.0, 1000.0, 4000.0)}
    for (_, fill), design in found.items():
        assert design.network == Network(DRIVER, 2.0e-3, fill.chamber_pa_s_m2)
        assert design.mouth_m_s == 0.0


TAPERED = (
    GuideRun("lane 1", 0.2, 0.030, 0.028, 0.084),
    GuideRun("bend 1", 0.05, 0.028, 0.027, 0.084, 180.0, 0.003),
    GuideRun("lane 2", 0.15, 0.027, 0.024, 0.084),
    GuideRun("lane 3", 0.1, 0.024, 0.018, 0.084),
)


def test_the_first_rounds_bore_has_the_guides_ends_length_and_mass():
    """Whatever the fibre: one taper from throat to mouth, with the whole lump spread along it, fibre first."""
    chamber = ChamberShape(0.12, 0.06, 0.084, 0.03, 0.09, False)
    body = replace(ONE, guide=TAPERED, chamber=chamber, outside=Outside(0.2, 0.2, None))
    exact = sizing.network(body, DRIVER, AIR, Fill())
    assert exact.mouth.area_m2 == pytest.approx(0.018 * 0.084)  # where the last run ends
    length, lump = 0.5, sum(s.extra_inertance_kg_m4 for s in exact.guide)
    assert lump < 0.0
    for fill, bore in zip(sizing.FILLS, sizing._one_bore(body, DRIVER, AIR, sizing.TIGHT), strict=True):
        assert bore.chamber_flow_resistivity_pa_s_m2 == fill.chamber_pa_s_m2
        assert replace(bore, guide=(), chamber_flow_resistivity_pa_s_m2=0.0) == replace(exact, guide=(), spacing_m=0.0)
        first, last = bore.guide[0], bore.guide[-1]
        assert (first.area_in_m2, last.area_out_m2) == pytest.approx((0.030 * 0.084, 0.018 * 0.084))
        assert (first.perimeter_in_m, last.perimeter_out_m) == pytest.approx((2 * 0.114, 2 * 0.102))
        assert sum(s.length_m for s in bore.guide) == pytest.approx(length)
        assert sum(s.extra_inertance_kg_m4 for s in bore.guide) == pytest.approx(lump)
        for s in bore.guide:
            assert s.extra_inertance_kg_m4 / s.length_m == pytest.approx(lump / length)
        filled = [s for s in bore.guide if s.flow_resistivity_pa_s_m2]
        assert filled == list(bore.guide[: len(filled)])
        assert {s.flow_resistivity_pa_s_m2 for s in filled} <= {fill.guide_pa_s_m2}
        assert sum(s.length_m for s in filled) == pytest.approx(fill.guide_fraction * length)
        if len(bore.guide) > 1:  # the two parts meet, on a straight line between the ends
            assert first.area_out_m2 == last.area_in_m2 == pytest.approx(0.084 * (0.030 - 0.012 * fill.guide_fraction))
            assert first.perimeter_out_m == last.perimeter_in_m == pytest.approx(0.228 - 0.024 * fill.guide_fraction)


def test_promises_equally_broken_are_told_by_name():
    design = next(iter(scored().values()))
    equal = replace(design, shortfalls_db=(1.5, 2.0, 0.0, 1.5, 0.0, 1.5))
    assert sizing._binding([equal, design]) == (("ripple", 2.0), ("bass", 1.5), ("level", 1.5), ("mouth", 1.5))


def test_the_rounds_are_those_of_the_docs():
    text = " ".join((Path(__file__).parents[2] / "docs/physics.md").read_text("utf-8").split())
    assert f"A first round, {sizing.FIRST_ROUND_PER_OCTAVE} points an octave" in text
    assert f"The best {sizing.SECOND_ROUND} then get every bend in its place" in text
    assert f"in its place and {sizing.SECOND_ROUND_PER_OCTAVE} points an octave" in text


def test_of_a_long_list_the_dozen_best_are_kept():
    every, few = sized(EASY, keep=999), sized(EASY)
    assert len(every.designs) == sizing.SECOND_ROUND < every.tried
    assert few.designs == every.designs[:12]
