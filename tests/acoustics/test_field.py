"""The sound field: what the cut cells hold, what meets and what does not, and the physics that it shares."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from shapely.geometry import Point, Polygon, box

from kerfwave.acoustics import field, field_mesh
from kerfwave.acoustics.field import Medium, Patch, Space, Strip
from kerfwave.acoustics.radiation import mouth_impedance
from kerfwave.acoustics.segments import towards_chamber
from kerfwave.model.acoustic import Segment

LENGTH, WIDTH, HEIGHT = 0.6, 0.03, 0.08
FREQUENCIES = tuple(np.linspace(20.0, 520.0, 16))


def lying(shape, turn, about=(0.0, 0.0)):
    """Return a shape turned out of the grid's directions."""
    from shapely import affinity

    return affinity.rotate(shape, turn, origin=about, use_radians=True)


AIR_ALONE = (Medium(),)


def duct(media=AIR_ALONE, fibre_to=0.0, turn=0.3):
    """Return a straight duct, driver at one end and mouth at the other, its first part of medium 1 if there is one."""
    c, s = math.cos(turn), math.sin(turn)

    def place(x, y):
        return (x * c - y * s, x * s + y * c)

    parts = [(0.0, fibre_to, 1), (fibre_to, LENGTH, 0)]
    patches = [Patch(lying(box(a, 0, b, WIDTH), turn), HEIGHT, m) for a, b, m in parts if b > a]
    return Space(
        air=lying(box(0, 0, LENGTH, WIDTH), turn),
        patches=tuple(patches),
        media=media,
        mouth=(Strip(place(LENGTH, 0), place(LENGTH, WIDTH), HEIGHT),),
        driver=(Strip(place(0, 0), place(0, WIDTH), HEIGHT),),
    )


def load(f, air):
    return mouth_impedance(WIDTH * HEIGHT, "flanged", 2 * np.pi * np.asarray(f), air)


stars = st.lists(st.floats(0.02, 0.1), min_size=3, max_size=12).map(
    lambda radii: Polygon(
        [
            (r * math.cos(math.tau * i / len(radii)), r * math.sin(math.tau * i / len(radii)))
            for i, r in enumerate(radii)
        ]
    )
)


@settings(max_examples=30)
@given(air=stars, order=st.sampled_from([1, 2]), cell=st.floats(0.004, 0.02))
def test_cut_cells_integrate_exactly(air, order, cell):
    """Over any outline: the area, no flow for an even pressure, and that of a pressure rising evenly."""
    mesh = field_mesh.mesh(air, cell, order)
    mass, stiffness = field_mesh.matrices(mesh, air)
    left_out = field_mesh.LEAST_SHARE * cell**2 * 4 * (air.length / cell + 1)
    assert mass.sum() == pytest.approx(air.area, abs=left_out)
    n = mesh.unknowns.shape[1]
    assert np.abs(stiffness.reshape(-1, n, n).sum(axis=2)).max() < 1e-9
    along = np.repeat(np.linspace(0, 1, order + 1), order + 1)  # of the element's own unknowns
    rising = mesh.x + (mesh.column[:, np.newaxis] + along) * cell
    energy = np.einsum("ei,eij,ej->", rising, stiffness.reshape(-1, n, n), rising)
    assert energy == pytest.approx(air.area, abs=left_out)
    # Unknowns that elements share stand at one place.
    places = np.zeros(mesh.size)
    places[mesh.unknowns] = rising
    assert np.abs(places[mesh.unknowns] - rising).max() < 1e-12


def pieces(mesh):
    n = mesh.unknowns.shape[1]
    i, j = np.repeat(mesh.unknowns[:, :1], n, axis=1).ravel(), mesh.unknowns.ravel()
    return connected_components(coo_array((np.ones(len(i)), (i, j)), shape=(mesh.size,) * 2), directed=False)[0]


@pytest.mark.parametrize("turn", [0.0, 0.2, 0.7])
def test_no_wall_is_too_thin_to_be_tight(turn):
    """A wall of 0.1 mm between two rooms, far thinner than a cell; a hole in it lets the air through."""
    wall = box(-1, 0.0171, 1, 0.0172)
    rooms = lying(box(0, 0, 0.06, 0.04).difference(wall), turn)
    assert pieces(field_mesh.mesh(rooms, 0.004, 2)) == 2
    with_hole = lying(box(0, 0, 0.06, 0.04).difference(wall.difference(box(0.02, 0, 0.022, 1))), turn)
    assert pieces(field_mesh.mesh(with_hole, 0.004, 2)) == 1


@pytest.mark.parametrize(("fibre_to", "close"), [(0.0, 2e-5), (LENGTH, 2e-5), (0.2, 4e-3)])
def test_walls_and_fibre_are_those_of_the_network(medium, fibre_to, close):
    """A duct with lossy walls, all filled or in part: one physics. Within a cell the pressure has no kink, so where
    fibre ends in mid-cell it costs a little."""
    area, perimeter = WIDTH * HEIGHT, 2 * (WIDTH + HEIGHT)
    media = (Medium(area, perimeter), Medium(flow_resistivity_pa_s_m2=1500.0))
    solved = field.solve(duct(media, fibre_to), medium, FREQUENCIES, load(FREQUENCIES, medium), cell_m=0.004)
    f = np.geomspace(30, 500, 60)
    omega, z = 2 * np.pi * f, load(f, medium)
    section = (area, area, perimeter, perimeter)
    segments = (Segment("fibre", fibre_to, *section, 0.0, 1500.0), Segment("air", LENGTH - fibre_to, *section))
    pressure, flow = towards_chamber(segments, omega, medium, z, np.ones_like(z))
    assert solved.transfer(omega, z) == pytest.approx(1 / flow, rel=close)
    assert solved.impedance(omega, z) == pytest.approx(pressure / flow, rel=close)


def test_a_leak_is_a_conductance_beside_the_air(medium):
    """At a frequency so low that the air in the duct is one spring, the leak alone carries the flow."""
    leak, volume = 2e-7, LENGTH * WIDTH * HEIGHT
    media = (Medium(leak_m3_s_pa=leak, volume_m3=volume),)
    shut = np.array([1e15 + 0j])
    solved = field.solve(duct(media), medium, (0.5,), shut)
    wanted = 1 / (leak + 1j * np.pi * volume / (medium.density * medium.speed**2))
    assert solved.impedance([np.pi], shut) == pytest.approx([wanted], rel=1e-4)


def test_what_lies_between_full_solutions_is_as_good(medium):
    """Transfers projected on 16 full solutions, against full solutions at other frequencies."""
    media = (Medium(), Medium(flow_resistivity_pa_s_m2=1000.0))
    space = duct(media, fibre_to=0.3)
    few = field.solve(space, medium, FREQUENCIES, load(FREQUENCIES, medium), cell_m=0.006)
    others = (27.0, 61.0, 143.0, 287.0, 391.0, 499.0)
    full = field.solve(space, medium, others, load(others, medium), cell_m=0.006)
    omega, z = 2 * np.pi * np.array(others), load(others, medium)
    assert few.basis.shape[1] < few.mesh.size / 20
    assert few.transfer(omega, z) == pytest.approx(full.transfer(omega, z), rel=1e-6)


def bent(inner=0.003, width=0.018, legs=0.15, turns=3):
    """Return a guide of lanes as the body folds them, with its mouth and a driver's strip at either end."""
    from kerfwave.body import path

    steps = []
    for i in range(turns):
        steps.append((f"lane {i}", legs, 0.0, width, width))
        steps.append((f"bend {i}", math.pi * (inner + width / 2), 180.0 if i % 2 == 0 else -180.0, width, width))
    runs = path.chain(0.0, 0.0, 17.0, (*steps, ("last", legs, 0.0, width, width)))
    outline = Polygon(path.sweep(runs, 1e-5))
    ends = []
    for run, part in ((runs[0], 0.0), (runs[-1], 1.0)):
        a, b = (path.at(run, part, side * width / 2)[:2] for side in (-1, 1))
        ends.append((Strip(a, b, HEIGHT),))
    return Space(outline, (Patch(outline, HEIGHT, 0),), (Medium(),), ends[1], ends[0])


def test_it_converges_with_the_cells(medium):
    """Transfer through three round folds: the error falls with the cell, and 4 mm cells are within 0.1 dB."""
    f = np.array([60.0, 120.0, 260.0, 480.0])
    z = np.full(4, 1e5 + 2e5j)
    found = [
        field.solve(bent(), medium, f, z, cell_m=cell).transfer(2 * np.pi * f, z)
        for cell in (0.008, 0.0045, 0.003, 0.0015)
    ]
    coarse, middle, fine = (np.abs(t / found[-1] - 1).max() for t in found[:-1])
    assert fine < 0.6 * middle < 0.6 * coarse
    assert middle < 0.01


def test_it_neither_makes_nor_hides_power(medium):
    """What the driver gives leaves by the mouth (no loss inside), and no body gives power to the driver."""
    f = np.linspace(30, 500, 30)
    omega, z = 2 * np.pi * f, load(f, medium)
    solved = field.solve(bent(), medium, FREQUENCIES, load(FREQUENCIES, medium))
    given_in = solved.impedance(omega, z).real
    assert (given_in > 0).all()
    assert np.abs(solved.transfer(omega, z)) ** 2 * z.real == pytest.approx(given_in, rel=1e-6)


def test_it_is_reciprocal(medium):
    """Driver and mouth exchanged: the same pressure at either for the same volume velocity at the other."""
    there = bent(turns=1)
    back = dataclasses.replace(there, driver=there.mouth, mouth=there.driver)
    f = np.array([80.0, 300.0])
    z = np.array([3e5 + 1e5j, 2e5 - 1e5j])  # of both ends: the driver's end has it too if it is put in parallel
    ends = []
    for space in (there, back):
        solved = field.solve(space, medium, f, z)
        transfer, impedance = solved.transfer(2 * np.pi * f, z), solved.impedance(2 * np.pi * f, z)
        ends.append(transfer * z / (1 + impedance / z))
    assert ends[0] == pytest.approx(ends[1], rel=1e-6)


def test_a_driver_seen_along_the_stack(medium):
    """Its flow enters over a disc of the plan; far below the first mode that is all the same to the mouth."""
    space = duct(turn=0.0)
    disc = Point(0.02, WIDTH / 2).buffer(0.01)
    from_disc = dataclasses.replace(space, driver=(), driver_shape=disc)
    f = np.array([20.0])
    one, other = (field.solve(s, medium, f, load(f, medium)) for s in (space, from_disc))
    omega = 2 * np.pi * f
    assert one.transfer(omega, load(f, medium)) == pytest.approx(other.transfer(omega, load(f, medium)), rel=2e-3)


def test_pressure_is_read_where_there_is_air(medium):
    solved = field.solve(duct(turn=0.0), medium, FREQUENCIES, load(FREQUENCIES, medium))
    z = load([100.0], medium)[0]
    p = solved.pressure(2 * np.pi * 100, z, np.array([0.01, LENGTH - 1e-3, 0.3]), np.array([0.01, 0.01, 0.5]))
    assert np.isnan(p[2])
    assert abs(p[0]) > abs(p[1])
    mouth = solved.transfer([2 * np.pi * 100], np.array([z]))[0] * z
    assert p[1] == pytest.approx(mouth, rel=0.06)
    corner = solved.mesh.parts[0].centroid
    assert np.isfinite(solved.pressure(2 * np.pi * 100, z, np.array([corner.x]), np.array([corner.y]))).all()


def test_far_below_any_mode_closed_air_is_a_spring(medium):
    """1 / (j omega C), C = V / (density c^2): of the air that is free, as a driver takes up some."""
    f, shut = np.array([0.1, 1.0]), np.full(2, 1e14 + 0j)
    plain = duct(turn=0.0)
    for share in (1.0, 0.8):
        space = dataclasses.replace(plain, patches=tuple(dataclasses.replace(p, spring=share) for p in plain.patches))
        omega = 2 * np.pi * f
        volume = share * LENGTH * WIDTH * HEIGHT
        wanted = medium.density * medium.speed**2 / (1j * omega * volume)
        assert field.solve(space, medium, f, shut).impedance(omega, shut) == pytest.approx(wanted, rel=1e-3)


@pytest.mark.parametrize(
    ("change", "f", "order", "words"),
    [
        ({"air": Polygon(), "patches": ()}, (100.0,), 2, "no air"),
        ({}, (0.0,), 2, "above 0"),
        ({}, (100.0,), 3, "order is 3"),
        ({"mouth": (Strip((1.0, 1.0), (1.0, 1.03), HEIGHT),)}, (100.0,), 2, "through wood"),
    ],
)
def test_what_cannot_be_solved_is_said(medium, change, f, order, words):
    space = dataclasses.replace(duct(), **change)
    with pytest.raises(ValueError, match=words):
        field.solve(space, medium, f, np.array([1e5 + 0j]), order=order)
