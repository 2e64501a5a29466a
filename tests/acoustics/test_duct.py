import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwave.acoustics import duct
from kerfwave.acoustics.air import air
from kerfwave.acoustics.duct import propagation, series_and_shunt, wall_function

AIR = air()
OMEGA = 2 * np.pi * np.geomspace(10, 4000, 12)
sides = st.tuples(st.floats(5e-4, 0.3), st.floats(5e-4, 0.3))


def rectangle(pair):
    return pair[0] * pair[1], 2 * (pair[0] + pair[1])


@given(sides)
def test_walls_only_ever_take(pair):
    series, shunt = series_and_shunt(*rectangle(pair), AIR, OMEGA)
    assert (series.real > 0).all() and (shunt.real > 0).all()
    assert (series.imag > 0).all() and (shunt.imag > 0).all()


@given(sides, st.floats(1.05, 3))
def test_a_narrower_duct_loses_more(pair, factor):
    wide, _ = propagation(*rectangle(pair), AIR, OMEGA)
    narrow, _ = propagation(*rectangle((pair[0] / factor, pair[1])), AIR, OMEGA)
    assert (narrow.real > wide.real).all()
    assert (narrow.imag > wide.imag).all()


@settings(max_examples=30)
@given(st.floats(0.5, 2.0), st.floats(1.0, 40.0))
def test_the_wide_form_takes_over_unnoticed(ratio, slenderness):
    # Just wide enough for the short form, against the series with many terms.
    s = np.array([np.sqrt(1j) * 2000.0])
    short = ratio * duct.WIDE / 2000.0 + 1e-9
    long = short * slenderness
    got = wall_function(4 * short * long, 4 * (short + long), s)
    many, duct.TERMS = duct.TERMS, 600
    try:
        wanted = duct._rectangle(np.array([short]), np.array([long]), s)
    finally:
        duct.TERMS = many
    assert np.abs(got / wanted - 1).max() < 1e-6


def test_square_is_no_circle():
    # Its perimeter is 13 % longer, so its walls take more; rounding must not make the one into the other.
    area = 0.0234567**2
    square, _ = propagation(area, 4 * math.sqrt(area) * (1 - 1e-12), AIR, OMEGA)
    same, _ = propagation(area, 4 * math.sqrt(area) * (1 + 1e-12), AIR, OMEGA)
    circle, _ = propagation(area, 2 * math.sqrt(math.pi * area), AIR, OMEGA)
    assert np.abs(square / same - 1).max() < 1e-9
    assert (square.real > 1.1 * circle.real).all()


def test_without_viscosity_there_is_no_loss():
    gamma, specific = propagation(1e-3, 0.14, replace(AIR, viscosity=0.0), OMEGA)
    assert (gamma.real == 0).all()
    assert gamma.imag == pytest.approx(OMEGA / AIR.speed)
    assert specific == pytest.approx(np.full(len(OMEGA), AIR.density * AIR.speed + 0j))


def test_rows_of_all_kinds_at_once():
    areas = np.array([[1e-3], [1e-6], [2e-3], [2e-3]])
    perimeters = np.array([[0.2], [0.02], [2 * math.sqrt(math.pi * 2e-3)], [0.2]])
    fibre = np.array([[0.0], [0.0], [0.0], [3000.0]])
    together = propagation(areas, perimeters, AIR, OMEGA, fibre)
    for row in range(4):
        alone = propagation(areas[row, 0], perimeters[row, 0], AIR, OMEGA, fibre[row, 0])
        for got, wanted in zip(together, alone, strict=True):
            assert (got[row] == wanted).all()


def test_a_perimeter_must_enclose_its_area():
    with pytest.raises(ValueError, match="too short"):
        propagation(1e-3, 0.1, AIR, OMEGA)
