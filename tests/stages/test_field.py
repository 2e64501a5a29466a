"""The field stage on bodies as they are built: upright and facing, slanted, gabled, with and without fibre."""

import dataclasses

import numpy as np
import pytest
from shapely.geometry import Polygon
from shapely.ops import unary_union

import bodies
from kerfwave.acoustics import field as fields
from kerfwave.acoustics import sizing
from kerfwave.acoustics.air import air as air_at
from kerfwave.acoustics.driver import complete
from kerfwave.acoustics.guide import Fill
from kerfwave.acoustics.network import solve_network
from kerfwave.acoustics.radiation import mouth_impedance
from kerfwave.body import air as body_air
from kerfwave.body import measure
from kerfwave.body.rules import body_rules, layer_counts
from kerfwave.body.search import all_folds
from kerfwave.body.slices import slices
from kerfwave.model.acoustic import Network
from kerfwave.model.spec import Enclosure
from kerfwave.stages import field as stage
from kerfwave.stages.body import Built
from kerfwave.stages.field_space import CHAMBER, FIBRE, cell_mm, space_of

AIR = air_at()
LOOSE = Fill(1500.0, 1 / 3, 0.0)


def built(plan, fill=LOOSE, *, stack="upright", height=100.0):
    """Build the longest guide that folds into a plan."""
    enclosure = Enclosure(plan=plan, height_mm=height, stack=stack)
    rules = body_rules(enclosure, bodies.DRIVER, 6.3)
    folds = all_folds(plan, rules, least_duct_mm=14.0, step_mm=5.0, most_lanes=5, least_length_mm=450.0).folds
    counts = layer_counts(rules, bodies.DRIVER, height)[-1]
    body = body_air.body(plan, rules, bodies.DRIVER, counts, max(folds, key=lambda f: (f.length_mm, f.key)))
    cut = slices(body, "sheet")
    volumes = measure.measured(body, cut, bodies.DRIVER)
    candidate = sizing.Candidate(0, counts.total, volumes.chamber_m3, volumes.closed_m3, volumes.guide, volumes.chamber)
    network = sizing.network(candidate, complete(bodies.DRIVER, AIR), AIR, fill)
    return Built(body, fill, volumes, network, Network(network.driver, volumes.closed_m3), 0, 0.0, ())


BODIES = [
    (bodies.trapezoid(190, 160, 215), {}),
    (bodies.house(180, 170, 60), {}),
    (bodies.rectangle(210, 220), {"stack": "facing", "height": 110.0}),
]


@pytest.mark.parametrize(("plan", "how"), BODIES)
def test_the_air_solved_in_is_the_air_of_the_pieces(plan, how):
    one = built(plan, **how)
    space = space_of(one, air_at())
    volume = {True: 0.0, False: 0.0}
    for patch in space.patches:
        volume[patch.medium == CHAMBER] += patch.shape.area * patch.height_m * patch.spring
    assert volume[True] == pytest.approx(one.network.chamber_m3, rel=1e-9)
    guide = sum(s.length_m * (s.area_in_m2 + s.area_out_m2) / 2 for s in one.network.guide)
    assert volume[False] == pytest.approx(guide, rel=0.02)
    assert all(0.5 < p.spring <= 1.0 for p in space.patches)
    filled = sum(s.length_m * s.area_in_m2 for s in one.network.guide if s.flow_resistivity_pa_s_m2 > 0)
    fibre = [p.shape.area * p.height_m for p in space.patches if p.medium == FIBRE]
    assert fibre == [pytest.approx(filled, rel=0.03)]
    # One piece of air, all of it within the plan.
    assert isinstance(space.air, Polygon)
    inside = Polygon([(1e-3 * x, 1e-3 * y) for x, y in one.body.plan.outline]).buffer(1e-6)
    assert inside.covers(unary_union([p.shape for p in space.patches]))
    assert 1.0 <= cell_mm(one.body) <= 6.0


@pytest.mark.parametrize("fill", [LOOSE, Fill(1000.0, 0.5, 3000.0)])
@pytest.mark.parametrize(("plan", "how"), BODIES)
def test_chamber_guide_and_bends_are_as_the_network_has_them(plan, how, fill):
    """Resonance within 0.5 %, transfer within 1.2 dB from 50 to 500 Hz, whatever is filled and however odd the plan."""
    one = built(plan, fill, **how)
    space = space_of(one, air_at())
    mouth = one.network.mouth

    def load(f):
        return mouth_impedance(mouth.area_m2, mouth.end, 2 * np.pi * f, AIR)

    snapshots = np.linspace(20, 520, 16)
    solved = fields.solve(space, AIR, snapshots, load(snapshots), cell_m=0.005)
    f = np.geomspace(20, 500, 200)
    mine = solved.transfer(2 * np.pi * f, load(f))
    alone = solve_network(dataclasses.replace(one.network, spacing_m=0.0), f, AIR, 1.0)
    theirs = alone.mouth_volume_velocity / -alone.front_volume_velocity
    off = 20 * np.log10(np.abs(mine / theirs))
    assert stage._resonance(f, mine) == pytest.approx(stage._resonance(f, theirs), rel=0.005)
    assert np.abs(off)[f >= 50].max() < 1.2


def run(one, wanted=True):
    return stage.run(one, wanted, 70.0, 2.0, progress=lambda *_: None)


@pytest.fixture(scope="module")
def gabled():
    one = built(bodies.house(180, 170, 60))
    return one, run(one)


def test_what_is_reported(gabled):
    _, solved = gabled
    c = solved.compared
    assert [check.id for check in solved.checks] == ["field-resonance", "field-transfer"]
    assert solved.checks[0].level == "ok"
    assert c.frequency_hz[0] == 50.0
    assert c.frequency_hz[-1] == 500.0
    assert all(len(v) == len(c.frequency_hz) for v in (c.field_db, c.network_db, c.field_deg, c.network_deg))
    off = [abs(a - b) for a, b, notch in zip(c.field_db, c.network_db, c.in_notch, strict=True) if not notch]
    assert max(off) == pytest.approx(abs(c.worst_db), abs=0.002)
    assert solved.checks[1].level == ("ok" if max(off) <= 1.0 else "warn")
    assert c.unknowns > 1000


def test_pictures_are_of_this_body(gabled):
    one, solved = gabled
    xs = [p[0] for p in one.body.plan.outline]
    for picture in solved.compared.pictures:
        assert len(picture.pressure_pa) % picture.columns == 0
        assert picture.x_mm > min(xs) - 10
        assert picture.x_mm + picture.step_mm * picture.columns < max(xs) + 15
        assert 0 < picture.mouth_pa < picture.driver_pa <= 1.01 * picture.highest_pa
        assert max(picture.pressure_pa) == pytest.approx(picture.highest_pa, rel=1e-3)
    # At low frequencies what the driver feels is what the network's cone feels.
    low = solved.compared.pictures[0]
    pressure = np.abs(solve_network(one.network, np.array([low.frequency_hz]), AIR, 2.0).chamber_pressure[0])
    assert low.driver_pa == pytest.approx(pressure, rel=0.1)


def test_the_same_body_gives_the_same_values(gabled):
    one, solved = gabled
    assert run(one) == solved


def test_it_can_be_left_out(gabled):
    one, _ = gabled
    assert run(one, wanted=False) == stage.Solved(None, ())
    closed = dataclasses.replace(one, network=Network(one.network.driver, 1e-3))
    assert run(closed) == stage.Solved(None, ())


def test_a_wrong_network_is_found_out(gabled):
    """A guide whose bends keep the inertance of their centreline is several per cent too long: the check says so."""
    one, _ = gabled
    plain = tuple(
        dataclasses.replace(s, extra_inertance_kg_m4=0.0, length_m=1.06 * s.length_m) for s in one.network.guide
    )
    wrong = dataclasses.replace(one, network=dataclasses.replace(one.network, guide=plain))
    resonance = run(wrong).checks[0]
    assert resonance.level == "warn"
    assert resonance.value > 2.0


def test_a_notch_is_no_fault(monkeypatch):
    """Two transfers with a deep, narrow notch at nearly the same place: in decibels far apart there, and left out."""

    def notched(at, f):
        x = f / at
        return (1 - x**2 + 0.02j * x) / (1 + x**2) ** 2

    f = np.geomspace(50, 500, 41)
    monkeypatch.setattr(stage, "_transfers", lambda solved, network, f, air: (notched(200, f), notched(203, f)))
    notch = stage._in_notch(f, None, None, AIR)
    assert 0 < notch.sum() < 8
    assert notch[int(np.argmin(np.abs(notched(200, f))))]
    assert not notch[np.abs(np.log2(f / 200)) > 0.3].any()
