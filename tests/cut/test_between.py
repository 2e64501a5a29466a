"""Recipes between two measured ones, and materials that are refused or must be acknowledged."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cut_samples import LASER, STOCK
from kerfwave.cut import look_up
from kerfwave.engine.errors import StageError
from kerfwave.model.spec import Provenance, RecipeEntry
from kerfwave.safety.materials import MATERIALS
from kerfwave.stages import recipe as stage

MEASURED = Provenance(True, date="2024-03-02")
THIN = RecipeEntry("thin", 5.5, 450.0, "birch-plywood", "pf", 4.0, True, 100.0, 300.0, 5, 0.15, MEASURED)
THICK = replace(THIN, name="thick", thickness_mm=8.0, feed_mm_min=200.0, passes=9, kerf_mm=0.25)


def found(*entries, thickness=6.0, laser=LASER, stock=STOCK, air=True, feed=6000.0):
    stock = replace(stock, measured_mm=(thickness,))
    return look_up(entries, laser, stock, max_feed_mm_min=feed, air_assist=air)


def test_half_way_between_two_thicknesses_by_hand():
    """Energies 60 * 5.5 * 5 / (300 * 4) = 1.375 and 60 * 5.5 * 9 / (200 * 8) = 1.856 J/mm2: 1.616 half way.

    At 250 mm/min and 6 mm that takes 1.616 * 250 * 6 / 330 = 7.34, so 8 passes; 330 * 8 / (1.616 * 6) = 272 mm/min.
    """
    recipe = found(THIN, THICK)
    assert (recipe.passes, recipe.feed_mm_min, recipe.power_percent, recipe.kerf_mm) == (8, 270.0, 100.0, 0.2)
    assert not recipe.verified and recipe.uncertainty_percent == 20.0
    assert "thin (4 mm) and thick (8 mm)" in recipe.provenance and "not measured" in recipe.provenance


def test_between_two_powers():
    weak, strong = replace(THIN, name="weak", optical_power_w=4.0), replace(THIN, name="strong", optical_power_w=8.0)
    recipe = found(weak, strong, thickness=4.0)
    assert "weak (4 W) and strong (8 W)" in recipe.provenance and not recipe.verified


@given(st.floats(4.3, 7.7), st.floats(0.1, 0.4), st.floats(0.1, 0.4), st.integers(1, 20), st.integers(1, 20))
def test_never_beyond_either_of_the_two(thickness, kerf, other, few, many):
    low, high = replace(THIN, kerf_mm=kerf, passes=few), replace(THICK, kerf_mm=other, passes=many)
    recipe = found(low, high, thickness=thickness)
    energies = sorted(60 * 5.5 * e.passes / (e.feed_mm_min * e.thickness_mm) for e in (low, high))
    assert min(kerf, other) - 1e-4 <= recipe.kerf_mm <= max(kerf, other) + 1e-4
    # At least the energy meant; more only by the rounding of the feed down to 10 mm/min.
    assert energies[0] * 0.999 <= recipe.energy_j_mm2 <= energies[1] * 1.12
    assert recipe.uncertainty_percent >= max(20.0, 50 * (energies[1] - energies[0]) / energies[1] - 1)


@pytest.mark.parametrize(
    "entries",
    [
        (THIN,),
        (THIN, replace(THICK, thickness_mm=8.1)),  # more than twice as thick
        (THIN, replace(THICK, provenance=Provenance(False))),
        (THIN, replace(THICK, glue="uf")),
        (THIN, replace(THICK, optical_power_w=10.0)),
        (THIN, replace(THICK, wavelength_nm=470.0)),
        (THIN, replace(THICK, air_assist=False)),
        (replace(THICK, thickness_mm=6.8), THICK),  # never beyond
    ],
)
def test_otherwise_it_is_an_estimate(entries):
    assert found(*entries).provenance.startswith("Estimate")
    assert found(*entries, air=None).provenance.startswith("Estimate")


def test_a_measured_entry_near_enough_goes_first():
    here = replace(THIN, name="here", thickness_mm=6.1)
    assert found(THIN, THICK, here).verified


def test_the_rest_of_a_recipe_is_that_of_the_nearer_one():
    deep = replace(THICK, pass_order="sheet", focus_step_mm=0.5, bridges="never", notes="slow")
    assert (found(THIN, deep, thickness=7.0).pass_order, found(THIN, deep, thickness=5.0).pass_order) == (
        "sheet",
        "contour",
    )
    whole = found(deep, thickness=8.0)
    assert whole.verified and (whole.focus_step_mm, whole.bridges, whole.notes) == (0.5, "never", "slow")


@pytest.mark.parametrize("material", MATERIALS, ids=lambda m: m.key)
def test_forbidden_is_refused_and_doubtful_asks_for_a_word(material):
    stock = replace(STOCK, material=material.key)

    def run(*acknowledge):
        return stage.one((), LASER, 6000.0, None, stock, acknowledge)

    if material.standing == "accepted":
        assert run() == run("doubtful-material")
        return
    with pytest.raises(StageError) as refused:
        run()
    assert refused.value.where == ("stock", "material") and material.reason in refused.value.message
    if material.standing == "doubtful":
        assert (
            material.find_out in refused.value.message and "acknowledge: [doubtful-material]" in refused.value.message
        )
        assert run("doubtful-material").provenance.startswith("Estimate")
    else:
        with pytest.raises(StageError, match="must not be laser-cut"):
            run("doubtful-material")
