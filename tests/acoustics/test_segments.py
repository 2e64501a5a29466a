import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwave.acoustics import twoport
from kerfwave.acoustics.air import air
from kerfwave.acoustics.segments import abcd, cascade, stack, towards_chamber
from kerfwave.model.acoustic import Segment

AIR = air()
LOSSLESS = replace(AIR, viscosity=0.0)
OMEGA = 2 * np.pi * np.geomspace(15, 2000, 9)


ANY_LENGTH = st.floats(0.0, 0.6)


@st.composite
def segments(draw, tapered=None, lengths=ANY_LENGTH):
    width, height = draw(st.floats(0.008, 0.08)), draw(st.floats(0.02, 0.15))
    grow = draw(st.floats(0.4, 2.5)) if (draw(st.booleans()) if tapered is None else tapered) else 1.0
    # From f / flow_resistivity of about 0.005 up, where Miki's regression has a lossy spring.
    fibre = draw(st.sampled_from([0.0, 500.0, 2500.0]))
    return Segment(
        "any",
        draw(lengths),
        width * height,
        grow * width * height,
        2 * (width + height),
        2 * (grow * width + height),
        draw(st.floats(-2, 20)),
        fibre,
        draw(st.sampled_from(["cone", "exponential"])),
    )


def determinant(port):
    return port.a * port.d - port.b * port.c


@settings(max_examples=40)
@given(st.lists(segments(), min_size=1, max_size=5))
def test_reciprocal(guide):
    port = cascade(guide, OMEGA, AIR)
    # What is left of one after the difference of two large products.
    size = np.abs(port.a * port.d) + np.abs(port.b * port.c)
    assert (np.abs(determinant(port) - 1) < 1e-11 * (1 + size)).all()


@settings(max_examples=40)
@given(st.lists(segments(), max_size=5), st.floats(1e4, 1e7))
def test_both_ways_of_running_a_guide_agree(guide, load):
    port = cascade(guide, OMEGA, AIR)
    one = np.ones(len(OMEGA), complex)
    pressure, flow = towards_chamber(guide, OMEGA, AIR, load * one, one)
    assert np.abs(pressure - (port.a * load + port.b)).max() <= 1e-9 * np.abs(pressure).max()
    assert np.abs(flow - (port.c * load + port.d)).max() <= 1e-9 * np.abs(flow).max()


@given(segments(lengths=st.just(0.0)))
def test_no_length_and_no_lump_is_exactly_nothing(segment):
    port = abcd(replace(segment, extra_inertance_kg_m4=0.0), OMEGA, AIR)
    assert (port.a == 1).all() and (port.d == 1).all()
    assert (port.b == 0).all() and (port.c == 0).all()


def test_a_lump_alone():
    port = abcd(Segment("lump", 0.0, 1e-3, 1e-3, 0.14, 0.14, -3.5), OMEGA, AIR)
    assert port.b == pytest.approx(-3.5j * OMEGA)
    assert (port.a == 1).all() and (port.c == 0).all() and (port.d == 1).all()


@given(segments(tapered=False, lengths=st.floats(0.01, 0.6)), st.floats(0.1, 0.9))
def test_cutting_a_uniform_segment_changes_nothing(segment, where):
    first = replace(segment, length_m=where * segment.length_m)
    second = replace(segment, length_m=(1 - where) * segment.length_m, extra_inertance_kg_m4=0.0)
    whole, parts = abcd(segment, OMEGA, AIR), cascade((first, second), OMEGA, AIR)
    for name in "abcd":
        scale = np.abs(getattr(whole, name)).max()
        assert np.abs(getattr(whole, name) - getattr(parts, name)).max() < 1e-9 * scale


@settings(max_examples=12)
@given(segments(tapered=True, lengths=st.floats(0.02, 0.6)))
def test_a_lossy_taper_is_a_stair_of_many_short_ducts(cone):
    cone = replace(cone, extra_inertance_kg_m4=0.0)
    n = 120
    t = (np.arange(n) + 0.5) / n
    if cone.law == "cone":  # the equivalent radius goes linearly; so does the perimeter
        radius = np.sqrt(cone.area_in_m2) + t * (np.sqrt(cone.area_out_m2) - np.sqrt(cone.area_in_m2))
        perimeter = cone.perimeter_in_m + t * (cone.perimeter_out_m - cone.perimeter_in_m)
    else:
        radius = np.sqrt(cone.area_in_m2) * (cone.area_out_m2 / cone.area_in_m2) ** (t / 2)
        perimeter = cone.perimeter_in_m * (cone.perimeter_out_m / cone.perimeter_in_m) ** t
    stair = [
        Segment("step", cone.length_m / n, r**2, r**2, p, p, 0.0, cone.flow_resistivity_pa_s_m2)
        for r, p in zip(radius.tolist(), perimeter.tolist(), strict=True)
    ]
    omega = OMEGA[::3]  # to about 600 Hz
    ours, theirs = abcd(cone, omega, AIR), cascade(stair, omega, AIR)
    for name in "abcd":
        wanted = getattr(theirs, name)
        assert np.abs(getattr(ours, name) - wanted).max() < 1e-3 * np.abs(wanted).max(), name


@pytest.mark.parametrize("law", ["cone", "exponential"])
def test_what_hardly_tapers_is_the_uniform_duct(law):
    straight = Segment("s", 0.3, 1e-3, 1e-3, 0.14, 0.14, law=law)
    cone = replace(straight, area_out_m2=1e-3 * (1 + 1e-9))
    for name in "abcd":
        wanted = getattr(abcd(straight, OMEGA, AIR), name)
        assert np.abs(getattr(abcd(cone, OMEGA, AIR), name) - wanted).max() < 1e-7 * np.abs(wanted).max()


@given(segments(lengths=st.floats(0.01, 0.6)))
def test_without_loss_a_segment_turns_the_other_way_round_when_reversed(segment):
    there = replace(segment, extra_inertance_kg_m4=0.0, flow_resistivity_pa_s_m2=0.0)
    back = replace(
        there,
        area_in_m2=there.area_out_m2,
        area_out_m2=there.area_in_m2,
        perimeter_in_m=there.perimeter_out_m,
        perimeter_out_m=there.perimeter_in_m,
    )
    one, other = abcd(there, OMEGA, LOSSLESS), abcd(back, OMEGA, LOSSLESS)
    assert one.a == pytest.approx(other.d, rel=1e-9, abs=1e-9)
    assert one.b == pytest.approx(other.b, rel=1e-9, abs=1e-9 * float(np.abs(one.b).max()))


def test_a_cone_of_no_length_to_speak_of_is_nothing():
    cone = Segment("s", 1e-12, 1e-3, 3e-3, 0.14, 0.2)
    port = abcd(cone, OMEGA, AIR)
    assert np.abs(port.a - 1).max() < 1e-9 and np.abs(port.d - 1).max() < 1e-9
    # All that is left is its tiny mass and spring: rho l / sqrt(S1 S2) and a volume of l (S1 + sqrt(S1 S2) + S2) / 3.
    volume = 1e-12 * (1e-3 + np.sqrt(3e-6) + 3e-3) / 3
    assert port.c == pytest.approx(1j * OMEGA * volume / (AIR.density * AIR.speed**2), rel=0.05)


def test_an_exponential_duct_at_its_cut_off():
    # k = m / 2, where both roots of Webster's equation meet: p = (1 + ...) exp(-m l / 2), A = ratio (1 - m l / 2).
    horn = Segment("s", 0.5, 1e-3, 4e-3, 0.14, 0.28, law="exponential")
    flare = np.log(4.0) / 0.5
    cut_off = flare / 2 * LOSSLESS.speed
    port = abcd(horn, np.array([cut_off * (1 - 1e-9), cut_off, cut_off * (1 + 1e-9)]), LOSSLESS)
    assert port.a == pytest.approx(2.0 * (1 - flare * 0.5 / 2), rel=1e-6)
    assert port.d == pytest.approx((1 + flare * 0.5 / 2) / 2.0, rel=1e-6)


def test_guides_of_different_laws_side_by_side(driver):
    horn = Segment("s", 0.5, 1e-3, 4e-3, 0.14, 0.28, 0.0, 0.0, "exponential")
    guides = ((horn,), (replace(horn, law="cone"),), (replace(horn, area_out_m2=1e-3, perimeter_out_m=0.14),), ())
    one = np.ones(len(OMEGA), complex)
    pressure, flow = towards_chamber(stack(guides), OMEGA, AIR, one, one)
    for row, guide in enumerate(guides):
        alone = towards_chamber(guide, OMEGA, AIR, one, one)
        assert pressure[row] == pytest.approx(alone[0], rel=1e-10)
        assert flow[row] == pytest.approx(alone[1], rel=1e-10)


def test_another_law():
    with pytest.raises(ValueError, match="'parabola'; it must be 'cone' or 'exponential'"):
        abcd(Segment("s", 0.5, 1e-3, 4e-3, 0.14, 0.28, law="parabola"), OMEGA, AIR)


def test_stack_pads_the_shorter_guides_at_the_mouth():
    long = tuple(Segment(f"s{i}", 0.1 * (i + 1), 1e-3, 2e-3, 0.14, 0.2, 1.0, 500.0) for i in range(3))
    columns = stack((long, long[:1], ()))
    assert len(columns) == 3
    assert columns[0].length_m.tolist() == [[0.1], [0.1], [0.0]]
    assert columns[2].length_m.tolist() == [[pytest.approx(0.3)], [0.0], [0.0]]
    assert columns[2].extra_inertance_kg_m4.tolist() == [[1.0], [0.0], [0.0]]
    assert stack(()) == ()


@pytest.mark.parametrize("turned", [False, True])
def test_a_steep_taper_loses_what_its_parts_lose(turned):
    """Narrow and lossy at one end, six times as wide at the other: against fifty slices of it, either way round."""
    marks = np.linspace(0.0, 1.0, 51)[:: -1 if turned else 1]
    sides = 0.02 + 0.03 * marks  # of a square; the law of a cone is that of its roots of area
    slices = [Segment("slice", 0.3 / 50, a * a, b * b, 4 * a, 4 * b) for a, b in itertools.pairwise(sides)]
    whole = replace(
        slices[0], length_m=0.3, area_out_m2=slices[-1].area_out_m2, perimeter_out_m=slices[-1].perimeter_out_m
    )
    one, many = abcd(whole, OMEGA, AIR), cascade(slices, OMEGA, AIR)
    for name in "abcd":
        entry = getattr(many, name)
        assert np.abs(getattr(one, name) - entry).max() < 1e-3 * np.abs(entry).max()


def test_short_tapers_by_series_are_the_long_ones():
    """On either side of where the series takes over, against Taylor's, to as many terms as tell in double precision."""
    x = twoport.SMALL * np.array([0.5, 0.999, 1.001, 2.0]) * np.exp(0.7j)
    first, second = twoport._of_taper(x, np.cosh(x), np.sinh(x))
    powers = range(0, 12, 2)
    assert first == pytest.approx(sum(x**k / math.factorial(k + 1) for k in powers), rel=1e-14)
    wanted = sum(x ** (k + 1) * (k + 2) / math.factorial(k + 3) for k in powers)
    assert second == pytest.approx(wanted, rel=1e-11)
