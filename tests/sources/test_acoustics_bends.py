"""Bends, corners, folds and steps against plane field solutions (Laplace) by scikit-fem.

All sizes in duct widths, and inertance in squares: rho / depth = 1.
"""

import math

import numpy as np
import pytest
from skfem import Basis, BilinearForm, ElementQuad2, MeshQuad, condense, solve
from skfem.helpers import grad

from kerfwave.acoustics.bends import (
    annular_bend_inertance,
    bend_correction,
    corner_inertance,
    fold_correction,
    plane_step_inertance,
    sharp_corner_correction,
)
from kerfwave.model.acoustic import Air

UNIT = Air(density=1.0, speed=343.34, viscosity=0.0, gamma=1.4, prandtl=0.7)


def graded(length: float, steps: int = 16, least: float = 1e-4) -> np.ndarray:
    """Return 0 to length, finest at 0, where a re-entrant corner is."""
    return np.concatenate([[0.0], np.geomspace(least * length, length, steps)])


def both_ends(length: float, steps: int = 12) -> np.ndarray:
    half = graded(length / 2, steps)
    return np.concatenate([half, (length - half[::-1])[1:]])


def squares(mesh: MeshQuad, inlet, outlet, stretch=lambda x: 1.0 + 0.0 * x[0]) -> float:
    """Return potential difference over flux between two boundaries.

    `stretch(x)` is the true length of a unit along the first coordinate: a bend is unrolled, not approximated.
    """
    basis = Basis(mesh, ElementQuad2(), intorder=6)
    stiffness = BilinearForm(
        lambda u, v, w: grad(u)[0] * grad(v)[0] / stretch(w.x) + grad(u)[1] * grad(v)[1] * stretch(w.x)
    ).assemble(basis)
    source, sink = basis.get_dofs(inlet).all(), basis.get_dofs(outlet).all()
    potential = np.zeros(basis.N)
    potential[source] = 1.0
    potential = solve(*condense(stiffness, np.zeros(basis.N), x=potential, D=np.concatenate([source, sink])))
    return float(1.0 / (potential @ (stiffness @ potential)))


def at(axis: int, value: float):
    return lambda x: np.isclose(x[axis], value)


def bend_by_field(inner: float, angle: float, leg: float = 2.5) -> float:
    """Return the squares of a bend between two legs, less those of the legs."""
    middle = inner + 0.5
    length = middle * angle
    legs = leg - graded(leg, 12, 4e-3)[::-1]
    along = np.concatenate([legs, leg + both_ends(length, 14)[1:-1], 2 * leg + length - legs[::-1]])
    mesh = MeshQuad.init_tensor(along, both_ends(1.0, 8))

    def stretch(x):
        return np.where((x[0] > leg) & (x[0] < leg + length), (inner + x[1]) / middle, 1.0)

    return squares(mesh, at(0, 0.0), at(0, 2 * leg + length), stretch) - 2 * leg


@pytest.mark.parametrize("inner", [0.05, 0.105, 0.25, 0.5, 1.0])
@pytest.mark.parametrize("degrees", [90, 180])
def test_rounded_bend(inner, degrees):
    # recomputed here. The bound from below is the bend between surfaces of equal pressure.
    angle = math.radians(degrees)
    field = bend_by_field(inner, angle)
    ours = bend_correction(1.0, inner, angle, 1.0, UNIT) + angle * (inner + 0.5)
    assert ours == pytest.approx(field, rel=1e-3)
    assert annular_bend_inertance(1.0, inner, angle, 1.0, UNIT) < field < angle * (inner + 0.5)


@pytest.mark.parametrize(("degrees", "inner"), [(15, 0.1), (15, 0.5), (30, 0.05), (45, 0.2)])
def test_slight_bend(degrees, inner):
    angle = math.radians(degrees)
    ours = bend_correction(1.0, inner, angle, 1.0, UNIT) + angle * (inner + 0.5)
    assert ours == pytest.approx(bend_by_field(inner, angle), rel=5e-3)


def test_sharp_corner():
    # 1 - (2 / pi) ln 2 = 0.558729 squares, known from sheet resistors (from memory); the whole L recomputed here.
    leg = 2.5
    fine = graded(leg, 20)
    x = np.concatenate([1.0 - both_ends(1.0)[::-1], 1.0 + fine[1:]])
    mesh = MeshQuad.init_tensor(x, x)
    centre = mesh.p[:, mesh.t].mean(axis=1)
    mesh = mesh.restrict(np.nonzero((centre[0] < 1.0) | (centre[1] < 1.0))[0])
    field = squares(mesh, at(0, 1.0 + leg), at(1, 1.0 + leg)) - 2 * leg
    assert field == pytest.approx(0.558729, abs=2e-4)
    assert 1.0 + sharp_corner_correction(1.0, UNIT) == pytest.approx(0.558729, abs=1e-6)


@pytest.mark.parametrize("ratio", [0.25, 0.45, 0.8, 1.6])
def test_corner_between_two_widths(ratio):
    # Hall's sheet resistor (from memory) and the whole L recomputed here: legs as long as two widths.
    leg = 2.5
    x = np.concatenate([ratio - both_ends(ratio)[::-1], ratio + graded(leg, 20)[1:]])
    y = np.concatenate([1.0 - both_ends(1.0)[::-1], 1.0 + graded(leg, 20)[1:]])
    mesh = MeshQuad.init_tensor(x, y)
    centre = mesh.p[:, mesh.t].mean(axis=1)
    mesh = mesh.restrict(np.nonzero((centre[0] < ratio) | (centre[1] < 1.0))[0])
    field = squares(mesh, at(0, ratio + leg), at(1, 1.0 + leg)) - leg - leg / ratio
    assert corner_inertance(ratio, 1.0, 1.0, UNIT) == pytest.approx(field, abs=3e-3)
    assert corner_inertance(1.0, ratio, 1.0, UNIT) == pytest.approx(corner_inertance(ratio, 1.0, 1.0, UNIT))


def fold_by_field(gap: float, partition: float, leg: float = 2.5) -> float:
    """Return the squares of both legs' end beyond the tip: one half, with p = 0 on the plane of symmetry."""
    x = np.concatenate([-graded(leg, 20)[::-1], both_ends(gap)[1:]])
    y = np.concatenate([both_ends(1.0), 1.0 + graded(partition / 2, 10, 1e-3)[1:]])
    mesh = MeshQuad.init_tensor(x, y)
    centre = mesh.p[:, mesh.t].mean(axis=1)
    mesh = mesh.restrict(np.nonzero((centre[0] > 0.0) | (centre[1] < 1.0))[0])
    return 2.0 * (squares(mesh, at(0, -leg), at(1, 1.0 + partition / 2)) - leg)


@pytest.mark.parametrize(
    # gap / width, partition / width, squares beyond the tip: field solutions made elsewhere with another mesh.
    ("gap", "partition", "known"),
    [(0.75, 0.10, 1.2129), (1.0, 0.25, 1.3103), (1.0, 1.0, 2.1126), (1.5, 0.5, 1.4395)],
)
def test_square_fold(gap, partition, known):
    field = fold_by_field(gap, partition)
    assert field == pytest.approx(known, rel=5e-4)
    ours = fold_correction(1.0, partition, gap, 1.0, UNIT) + gap * (2 + partition)
    assert ours == pytest.approx(field, rel=5e-4)


# The rest of that table, without solving for it again. recomputed elsewhere.
FOLDS = [
    (gap, partition, known)
    for gap, row in (
        (0.75, (1.2129, 1.4487, 1.8035, 2.4794)),
        (1.0, (1.1147, 1.3103, 1.5933, 2.1126)),
        (1.5, (1.0502, 1.2151, 1.4395, 1.8198)),
    )
    for partition, known in zip((0.10, 0.25, 0.50, 1.00), row, strict=True)
]


@pytest.mark.parametrize(("gap", "partition", "known"), FOLDS)
def test_square_fold_table(gap, partition, known):
    ours = fold_correction(1.0, partition, gap, 1.0, UNIT) + gap * (2 + partition)
    assert ours == pytest.approx(known, abs=2e-4)


@pytest.mark.parametrize(("gap", "partition"), [(0.67, 0.07), (1.1, 0.9), (1.7, 0.4), (2.5, 0.2)])
def test_square_fold_between_the_knots(gap, partition):
    ours = fold_correction(1.0, partition, gap, 1.0, UNIT) + gap * (2 + partition)
    assert ours == pytest.approx(fold_by_field(gap, partition), rel=5e-3)


@pytest.mark.parametrize(
    # N. Marcuvitz, "Waveguide Handbook" (from memory), length of narrow duct: (2 / pi) ln {}.
    ("ratio", "known"),
    [(0.25, 0.64997), (0.5, 0.24983), (0.75, 0.06474)],
)
def test_plane_step(ratio, known):
    leg = 3.0
    narrow, wide = ratio, 1.0
    x = np.concatenate([-graded(leg, 20)[::-1], graded(leg, 20)[1:]])
    y = np.concatenate([narrow - graded(narrow)[::-1], narrow + both_ends(wide - narrow)[1:]])
    mesh = MeshQuad.init_tensor(x, y)
    centre = mesh.p[:, mesh.t].mean(axis=1)
    mesh = mesh.restrict(np.nonzero((centre[0] > 0.0) | (centre[1] < narrow))[0])
    field = squares(mesh, at(0, -leg), at(0, leg)) - leg / narrow - leg / wide
    ours = plane_step_inertance(narrow, wide, 1.0, UNIT)
    assert ours * narrow == pytest.approx(known * narrow, abs=1e-4)
    assert ours == pytest.approx(field, rel=5e-3)
    assert plane_step_inertance(narrow, wide, 1.0, UNIT, centred=True) == pytest.approx(ours / 2)


@pytest.mark.parametrize("ratio", [0.25, 0.5, 0.75])
def test_centred_plane_step(ratio):
    # recomputed here; half of the one-sided step
    leg, low = 3.0, (1.0 - ratio) / 2
    x = np.concatenate([-graded(leg, 20)[::-1], graded(leg, 20)[1:]])
    y = np.concatenate([both_ends(low)[:-1], low + both_ends(ratio), low + ratio + both_ends(low)[1:]])
    mesh = MeshQuad.init_tensor(x, y)
    centre = mesh.p[:, mesh.t].mean(axis=1)
    mesh = mesh.restrict(np.nonzero((centre[0] > 0.0) | (abs(centre[1] - 0.5) < ratio / 2))[0])
    field = squares(mesh, at(0, -leg), at(0, leg)) - leg / ratio - leg
    assert plane_step_inertance(ratio, 1.0, 1.0, UNIT, centred=True) == pytest.approx(field, rel=5e-3)


def test_field_solver_on_a_straight():
    mesh = MeshQuad.init_tensor(np.linspace(0, 3, 7), np.linspace(0, 1, 3))
    assert squares(mesh, at(0, 0.0), at(0, 3.0)) == pytest.approx(3.0)
