"""Folded ducts, round as a body folds them: cells cut by the walls against scikit-fem on a mesh that follows them.

The mesh there has curved quadratic quadrilaterals; p = 0 at the open end and no loss, on both sides.
"""

import math

import numpy as np
import pytest
from shapely.geometry import Polygon
from skfem import (
    Basis,
    BilinearForm,
    ElementQuad2,
    FacetBasis,
    Functional,
    LinearForm,
    MeshQuad,
    MeshQuad2,
    condense,
    solve,
)
from skfem.helpers import dot, grad

from kerfwave.acoustics import field
from kerfwave.acoustics.field import Medium, Patch, Space, Strip
from kerfwave.body import path
from kerfwave.model.acoustic import Air

AIR = Air(density=1.2046, speed=343.34, viscosity=0.0, gamma=1.4020, prandtl=0.7080)
WIDTH, SEPARATOR, HEIGHT = 0.018, 0.006, 0.0756  # a passage between layers of a stack, made up
OPEN = 1e-3 + 0j


def runs_of(legs_m, turns_deg):
    radius = (WIDTH + SEPARATOR) / 2
    steps = []
    for i, leg in enumerate(legs_m):
        steps.append((f"lane {i}", leg, 0.0, WIDTH, WIDTH))
        if i < len(turns_deg):
            steps.append((f"bend {i}", abs(math.radians(turns_deg[i])) * radius, turns_deg[i], WIDTH, WIDTH))
    return path.chain(0.0, 0.0, 23.0, tuple(steps))


def fem(runs, frequencies):
    """Return (impedance at the driven end, flow out over flow in), by scikit-fem."""
    marks, ends = [0.0], [0.0]
    for run in runs:
        count = max(6, round(run.length_mm / 0.012)) if run.turn_deg == 0 else max(6, round(abs(run.turn_deg) / 8))
        ends.append(ends[-1] + run.length_mm)
        marks += list(np.linspace(ends[-2], ends[-1], count + 1)[1:])
    straight = MeshQuad2.from_mesh(MeshQuad.init_tensor(np.array(marks), np.linspace(-WIDTH / 2, WIDTH / 2, 5)))
    facets = {
        name: straight.facets_satisfying(lambda p, s=s: np.isclose(p[0], s), boundaries_only=True)
        for name, s in (("in", 0.0), ("out", ends[-1]))
    }
    places = np.empty_like(straight.doflocs)
    for k, (s, left) in enumerate(straight.doflocs.T):
        i = min(int(np.searchsorted(ends, s - 1e-12, "right")) - 1, len(runs) - 1) if s > 0 else 0
        places[:, k] = path.at(runs[i], (s - ends[i]) / runs[i].length_mm, left)[:2]
    mesh = MeshQuad2(places, straight.t).with_boundaries(facets)
    basis = Basis(mesh, ElementQuad2(), intorder=5)
    inlet = FacetBasis(mesh, ElementQuad2(), facets="in")
    stiffness = BilinearForm(lambda u, v, w: dot(grad(u), grad(v))).assemble(basis)
    mass = BilinearForm(lambda u, v, w: u * v).assemble(basis)
    one = LinearForm(lambda v, w: 1.0 * v).assemble(inlet)
    mean = Functional(lambda w: w["p"] / WIDTH)
    outlet = basis.get_dofs("out").all()
    impedance, ratio = [], []
    for f in frequencies:
        k = 2 * math.pi * f / AIR.speed
        system = stiffness - k**2 * mass
        p = solve(*condense(system, one / (WIDTH * HEIGHT), D=outlet))  # for 1 m^3/s / (j omega rho)
        impedance.append(1j * 2 * math.pi * f * AIR.density * mean.assemble(inlet, p=inlet.interpolate(p)))
        # The flux out is what the outlet's rows are short of: exact to the order of the energy.
        ratio.append(-(system @ p)[outlet].sum() * HEIGHT)
    return np.array(impedance), np.array(ratio)


def cut_cells(runs, frequencies, cell_m):
    outline = Polygon(path.sweep(runs, 1e-6))
    (a, b), (c, d) = (
        [path.at(run, part, side * WIDTH / 2)[:2] for side in (-1, 1)] for run, part in ((runs[0], 0), (runs[-1], 1))
    )
    space = Space(outline, (Patch(outline, HEIGHT, 0),), (Medium(),), (Strip(c, d, HEIGHT),), (Strip(a, b, HEIGHT),))
    z = np.full(len(frequencies), OPEN)
    found = field.solve(space, AIR, tuple(frequencies), z, cell_m=cell_m)
    omega = 2 * np.pi * np.asarray(frequencies)
    return found.impedance(omega, z), found.transfer(omega, z)


FREQUENCIES = (60.0, 120.0, 200.0, 300.0, 400.0, 500.0)


@pytest.mark.parametrize(
    ("legs_m", "turns_deg"),
    [((0.22, 0.18), (180,)), ((0.10, 0.10, 0.10), (180, -180)), ((0.13, 0.08, 0.12), (90, 90))],
)
@pytest.mark.parametrize(("cell_m", "close"), [(0.004, 2e-3), (0.002, 7e-4)])
def test_folded_duct(legs_m, turns_deg, cell_m, close):
    # 1 % asked; what the default cells reach is held to. recomputed here
    runs = runs_of(legs_m, turns_deg)
    impedance, ratio = fem(runs, FREQUENCIES)
    mine, out = cut_cells(runs, FREQUENCIES, cell_m)
    # Reciprocals: near a resonance both run away together.
    assert np.abs(1 / out - 1 / ratio).max() < close * np.abs(1 / ratio).max()
    assert np.abs(1 / mine - 1 / impedance).max() < close * np.abs(1 / impedance).max()
    away = np.abs(ratio) < 5
    assert out[away] == pytest.approx(ratio[away], rel=5 * close)
