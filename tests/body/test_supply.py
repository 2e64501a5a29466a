"""Layers from sheets of different thickness: which sheet is taken when, and that heights, wood and air add up."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from bodies import DRIVER, assert_filled, failures, made, rectangle, trapezoid
from kerfwave.body import air, measure, shapes
from kerfwave.body.insets import insets
from kerfwave.body.rules import body_rules, layer_counts
from kerfwave.body.search import all_folds
from kerfwave.body.slices import slices
from kerfwave.body.supply import Source, Supply, heights_mm, stacked, supply_of, taken
from kerfwave.model.kinds import kinds, range_mm
from kerfwave.model.spec import Enclosure, SheetStock, Stock, Terminals

PLAN = trapezoid(186, 156, 212)
STOCK = Stock("poplar", "poplar-plywood", "uf", 4.0, (3.89, 3.91), 480, (SheetStock(400, 450, 1),), edge_margin_mm=4)
THREE = replace(
    STOCK,
    sheets=(
        SheetStock(400, 450, 1),
        SheetStock(400, 450, 2, measured_mm=(4.0,)),
        SheetStock(400, 450, 9, measured_mm=(4.15,)),
        SheetStock(300, 300, 1, measured_mm=(3.9,)),
    ),
)


def given_by(stock: Stock, **other: object) -> Supply:
    asked = {
        "plates_mm": None,
        "label_mm": 4.0,
        "bed_mm": (400.0, 450.0),
        "margin_mm": 4.0,
        "spacing_mm": 2.0,
        "bodies": 1,
        "insets_mm2": 9000.0,
    }
    return supply_of(kinds(stock), PLAN, **{**asked, **other})  # type: ignore[arg-type]


def test_sheets_of_one_mean_are_one_kind_and_keep_their_place():
    found = kinds(THREE)
    assert [(kind.thickness_mm, kind.entries) for kind in found] == [(3.9, (0, 3)), (4.0, (1,)), (4.15, (2,))]
    assert found[0].stock.measured_mm == (3.89, 3.91, 3.9)
    assert [kind.stock.name for kind in found] == [f"poplar, measured {t} mm" for t in ("3.9", "4", "4.15")]
    # A stock in one thickness is left as it is.
    assert kinds(STOCK)[0].stock == STOCK


def test_layers_take_sheets_in_the_order_listed_as_many_as_they_hold():
    """Plans of 186 x 212 mm: four to a sheet of 392 x 442 mm, one to 292 x 292 mm; one place is for the insets."""
    supply = given_by(THREE)
    assert supply.layers == (Source(0, 3.9, 4), Source(1, 4.0, 8), Source(2, 4.15, None))
    assert supply.insets_mm == 3.9 and supply.plates == ()
    assert [s.thickness_mm for s in stacked(supply, 2, 12, 2)] == [3.9] * 4 + [4.0] * 8 + [4.15] * 4
    # A pair shares the sheets.
    assert [source.most for source in given_by(THREE, bodies=2).layers] == [2, 4, None]
    # What the person wrote goes before what is counted, and binds the last kind too.
    limits = (3, None, 5, 0)
    said = replace(THREE, sheets=tuple(replace(s, layers=n) for s, n in zip(THREE.sheets, limits, strict=True)))
    assert [source.most for source in given_by(said).layers] == [3, 8, 5]
    assert taken(given_by(said).layers, 0, 17) is None


def test_floor_and_lid_may_have_a_label_of_their_own():
    mixed = replace(THREE, sheets=(*THREE.sheets, SheetStock(400, 400, 2, thickness_mm=6.0, measured_mm=(6.1,))))
    supply = given_by(mixed, plates_mm=6.0)
    assert [s.thickness_mm for s in stacked(supply, 1, 6, 1)] == [6.1] + [3.9] * 4 + [4.0] * 2 + [6.1]
    with pytest.raises(ValueError, match="no sheet has the label 9 mm"):
        given_by(mixed, plates_mm=9.0)


def test_how_thin_a_sheet_may_be_is_stated_measured_or_assumed():
    (several, one, *_) = kinds(THREE)
    assert range_mm(several) == (3.89, 3.91, "measured")
    low, high, word = range_mm(one)
    assert word == "assumed" and high - low == pytest.approx(0.6 + 0.06 * 4)
    assert range_mm(kinds(replace(STOCK, tolerance_mm=0.2))[0]) == (pytest.approx(3.7), pytest.approx(4.1), "stated")


@given(st.lists(st.integers(1000, 9999).map(lambda n: n / 1000), min_size=1, max_size=80))
def test_heights_add_up_to_the_micrometre(thick: list[float]):
    z = heights_mm(thick)
    assert [round(1000 * (b - a)) for a, b in itertools.pairwise(z)] == [round(1000 * t) for t in thick]
    assert 1000 * z[-1] == pytest.approx(sum(round(1000 * t) for t in thick), abs=1e-9)
    assert all(value == round(value, 3) for value in z)


THICK = st.tuples(st.integers(3700, 4300), st.integers(3700, 4300), st.integers(3700, 4300)).filter(
    lambda t: len(set(t)) == 3
)


@settings(max_examples=8, suppress_health_check=[HealthCheck.too_slow], phases=[Phase.explicit, Phase.generate])
@given(
    thick=THICK,
    firsts=st.tuples(st.integers(0, 9), st.integers(1, 9)),
    plate=st.sampled_from([None, 6.12, 2.9]),
    stack=st.sampled_from(["upright", "facing"]),
    recess=st.booleans(),
)
def test_a_mixed_body_keeps_its_promises(thick, firsts, plate, stack, recess):
    a, b, c = (t / 1000 for t in thick)
    layers = (Source(0, a, firsts[0]), Source(1, b, firsts[1]), Source(2, c))
    supply = Supply(layers, () if plate is None else (Source(3, plate),))
    plan = rectangle(190, 230)
    enclosure = Enclosure(plan=plan, height_mm=110, stack=stack, wall_mm=6, recess=recess, dowel_mm=3.0)
    rules = body_rules(enclosure, DRIVER, supply.insets_mm, supply)
    counts = layer_counts(rules, DRIVER, 110.0)[-1]
    fold = all_folds(plan, rules, least_duct_mm=14.0, step_mm=16.0, most_lanes=3).folds[0]
    body = air.body(plan, rules, DRIVER, counts, fold)
    cut = slices(body, "sheet", kinds=("a", "b", "c", "plate"))

    # Every layer begins where the last one ends, and is as thick as its sheet.
    z = 0
    for layer, kind in zip(cut.layers, counts.kinds, strict=True):
        assert round(1000 * layer.z_mm) == z and layer.z_mm == round(layer.z_mm, 3)
        assert layer.stock == ("a", "b", "c", "plate")[kind]
        assert layer.thickness_mm == (a, b, c, plate)[kind]
        z += round(1000 * layer.thickness_mm)
    assert z <= 110_000
    assert {p.thickness_mm for p in cut.pieces} == {layer.thickness_mm for layer in cut.layers}

    # Floor and lid are as thick as a wall; only they come from the plates.
    for span in ((0, counts.floor), (counts.total - counts.lid, counts.total)):
        assert counts.between_mm(span) >= 6.0 - 1e-6
    if plate is not None:
        ends = {*range(counts.floor), *range(counts.total - counts.lid, counts.total)}
        assert all((kind == 3) == (k in ends) for k, kind in enumerate(counts.kinds))

    # Wood and air fill every layer, and every prism begins and ends with a layer.
    outline = shapes.polygon(body.skin)
    assert_filled(body, cut, outline, within_mm2=1e-6 * outline.area)
    assert {z for p in body.air for z in (p.from_z_mm, p.to_z_mm)} <= {*counts.z_mm}

    # Ring and plate are as high as their seats, centred near the chamber's middle; the bore stays within it.
    made_of = {piece.role: piece for piece in insets(body, DRIVER, Terminals())}
    middle = counts.middle_mm(body.levels.chamber)
    for role, kind in (("driver-ring", "driver-seat"), ("terminal-plate", "terminal-seat")):
        if role in made_of:
            seat = next(p for p in body.air if p.kind == kind)
            ys = [y for _, y in made_of[role].outline]
            assert max(ys) - min(ys) == pytest.approx(seat.to_z_mm - seat.from_z_mm - 2 * rules.fit_mm, abs=1e-3)
            assert abs((seat.from_z_mm + seat.to_z_mm) / 2 - middle) <= 0.35 * max(a, b, c) + 1e-9
            assert made_of[role].thickness_mm == a
    assert [check for check in failures(body, cut) if check.id != "web"] == []

    # What is measured is what is drawn: the guide's height, and its volume from height and area.
    volumes = measure.measured(body, cut, DRIVER)
    low, high = body.levels.storeys[0]
    assert all(run.height_m == pytest.approx(counts.between_mm((low, high)) * 1e-3, abs=1e-9) for run in volumes.guide)
    duct = shapes.polygon(next(p for p in body.air if p.kind == "guide").outline).intersection(outline)
    volume = math.fsum(r.length_m * r.height_m * (r.width_in_m + r.width_out_m) / 2 for r in volumes.guide)
    assert volume == pytest.approx(duct.area * counts.between_mm((low, high)) * 1e-9, rel=0.02)


def test_a_mix_of_equal_sheets_is_the_plain_body():
    body, cut, rules, fold, counts = made(PLAN)
    t = rules.thickness_mm
    same = replace(rules, supply=Supply((Source(0, t, 3), Source(1, t, 4), Source(2, t)), (Source(3, t),)))
    again = layer_counts(same, DRIVER, 100.0)[-1]
    assert again.z_mm == counts.z_mm
    mixed = air.body(PLAN, same, DRIVER, again, fold)
    assert mixed.air == body.air and mixed.openings == body.openings
    assert slices(mixed, "sheet") == cut
