"""The sound field inside the body: the Helmholtz equation in the as-built air, seen along the stack.

    div(1 / rho grad p) + omega^2 C p = 0,   time factor e^{+j omega t}

rho and C are the complex density and compressibility of what fills each place: air between the guide's walls (the same
wall functions as the network's ducts), fibre (Miki), or free air. Walls are rigid. At the driver a volume velocity
enters, evenly over its opening; at the mouth the air outside answers with the network's own radiation impedance. So
field and network see the same physics, and differ in the one thing that the field is for: the shape of the air.

The pressure is taken as even along the stack (a Galerkin restriction of the three-dimensional problem, each layer
weighing by its thickness). Where the section is the same through the inner layers, as in chamber and guide, that is
exact below the first cross mode along the stack: 2.2 kHz for 78 mm.

All full solutions are at a few fixed frequencies; between them the problem is projected on what they span, which
converges so fast that a dozen serve 500 (test_field checks it against full solutions). SI throughout.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kerfwave.acoustics import field_mesh
from kerfwave.acoustics.duct import Complex, Real, propagation
from kerfwave.acoustics.field_mesh import Mesh
from kerfwave.acoustics.porous import miki
from kerfwave.model.acoustic import Air

CELL_M = 0.0025  # default side of a cell
KEPT = 1e-10  # of the largest singular value: what a full solution has to add to be kept
Place = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Medium:
    """What fills a part of the air. Without section and fibre it is air in the open, without loss."""

    area_m2: float = 0.0  # of the duct whose walls count; 0: none do
    perimeter_m: float = 0.0
    flow_resistivity_pa_s_m2: float = 0.0
    leak_m3_s_pa: float = 0.0  # conductance to the outside of all of it, spread evenly ...
    volume_m3: float = 0.0  # ... over this volume

    def fluid(self, omega: Real, air: Air) -> tuple[Complex, Complex]:
        """Return the complex density (kg/m^3) and compressibility (1/Pa), each of shape (F,)."""
        if self.flow_resistivity_pa_s_m2 > 0.0:
            impedance, wavenumber = miki(omega, self.flow_resistivity_pa_s_m2, air)
            density, spring = impedance * wavenumber / omega, wavenumber / (impedance * omega)
        elif self.area_m2 > 0.0:
            gamma, impedance = propagation(self.area_m2, self.perimeter_m, air, omega)
            density, spring = impedance * gamma / (1j * omega), gamma / (1j * omega * impedance)
        else:
            density = np.full(omega.shape, air.density, complex)
            spring = np.full(omega.shape, 1.0 / (air.density * air.speed**2), complex)
        if self.leak_m3_s_pa > 0.0:
            spring = spring + self.leak_m3_s_pa / (1j * omega * self.volume_m3)
        return density, spring


@dataclass(frozen=True, slots=True, eq=False)
class Patch:
    """A part of the plan (a shapely polygon or several, m) and how much air stands over it. Patches do not overlap."""

    shape: Any
    height_m: float
    medium: int  # index into the media
    spring: float = 1.0  # share of its air that is free to be compressed: the driver takes up some of the chamber


@dataclass(frozen=True, slots=True)
class Strip:
    """An upright strip of boundary: a straight line in plan, from `a` to `b` in m, and its height."""

    a: Place
    b: Place
    height_m: float


@dataclass(frozen=True, slots=True, eq=False)
class Space:
    """The air to solve in. The driver's opening is either upright strips or a patch seen from above."""

    air: Any  # the union of all patches, shapely, m
    patches: tuple[Patch, ...]
    media: tuple[Medium, ...]
    mouth: tuple[Strip, ...]
    driver: tuple[Strip, ...] = ()
    driver_shape: Any = None


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """A solved space: its mesh, a basis of T pressure fields, and the problem projected on them."""

    space: Space
    mesh: Mesh
    air: Air
    basis: Real  # (unknowns, T)
    terms: Real  # (terms, T, T), to be weighed by `_weights`
    source: Real  # (T,) mean over the driver's opening
    mouth: Real  # (T,) mean over the mouth
    mouth_area_m2: float
    full_solutions: int

    def amplitudes(self, omega: Any, load: Complex) -> Complex:
        """Return what each field of the basis has part in, (F, T), for a volume velocity of 1 m^3/s into the body.

        Args:
            omega: angular frequency, rad/s, (F,).
            load: acoustic impedance of the mouth, Pa s/m^3, (F,).
        """
        omega = np.asarray(omega, dtype=float)
        matrix = np.tensordot(_weights(self.space.media, omega, self.air, load), self.terms, 1)
        right = (1j * omega)[:, np.newaxis] * self.source
        return np.asarray(np.linalg.solve(matrix, right[..., np.newaxis])[..., 0])

    def transfer(self, omega: Any, load: Complex) -> Complex:
        """Return the mouth's volume velocity over the driver's, (F,); the one outwards, the other inwards."""
        return np.asarray(self.amplitudes(omega, load) @ self.mouth / load)

    def impedance(self, omega: Any, load: Complex) -> Complex:
        """Return the mean pressure at the driver over its volume velocity, Pa s/m^3, (F,)."""
        return np.asarray(self.amplitudes(omega, load) @ self.source)

    def pressure(self, omega: float, load: complex, x: Real, y: Real) -> Complex:
        """Return the pressure at points of the plan, Pa for 1 m^3/s; NaN where a point's cell has no air."""
        unknowns = self.basis @ self.amplitudes([omega], np.array([load]))[0]
        element = self.mesh.find(x, y)
        found = np.einsum("pn,pn->p", self.mesh.values(element, x, y), unknowns[self.mesh.unknowns[element]])
        return np.where(element >= 0, found, np.nan)


def solve(
    space: Space, air: Air, frequency_hz: Sequence[float], load: Complex, *, cell_m: float = CELL_M, order: int = 2
) -> Field:
    """Solve a space at some frequencies, and keep what those solutions span.

    Args:
        space: the air, what fills it, and where it opens.
        air: the medium between walls and fibres.
        frequency_hz: of the full solutions, above 0. Spread over the range that is to be asked about.
        load: acoustic impedance of the mouth at each of them, Pa s/m^3.
        cell_m: side of a cell.
        order: of the polynomials in a cell, 1 or 2.

    Raises:
        ValueError: if the air is empty, an opening lies in wood, or a frequency is not above 0.
    """
    from scipy.sparse import csc_array
    from scipy.sparse.linalg import splu

    omega = 2.0 * np.pi * np.asarray(frequency_hz, dtype=float)
    if not (omega > 0.0).all():
        raise ValueError("frequencies must be above 0")
    grid = field_mesh.mesh(space.air, cell_m, order)
    source, _ = _opening(grid, space.driver) if space.driver else _seen_from_above(grid, space.driver_shape)
    mouth, area = _opening(grid, space.mouth)
    pattern, data = _assemble(grid, space, area)
    # An element with a sliver of air has tiny entries; scaled to a diagonal of one it does no harm.
    size = data[: len(space.media)].sum(axis=0)[pattern.diagonal]
    scale = 1.0 / np.sqrt(size)
    data = data * (scale[pattern.row] * scale[pattern.column])
    solutions = []
    for one, weights in zip(omega, _weights(space.media, omega, air, load), strict=True):
        entries = weights.real @ data + 1j * (weights.imag @ data)  # real data stays real on the way
        matrix = csc_array((entries, pattern.row, pattern.start), shape=(grid.size, grid.size))
        factors = splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.01, options={"SymmetricMode": True})
        solutions.append(factors.solve(1j * one * scale * source))
    both = np.array([part / np.linalg.norm(s) for s in solutions for part in (s.real, s.imag)]).T
    basis, weight, _ = np.linalg.svd(both, full_matrices=False)
    basis = basis[:, weight > KEPT * weight[0]]
    sides = [csc_array((d, pattern.row, pattern.start), shape=(grid.size, grid.size)) @ basis for d in data]
    terms = (basis.T @ np.hstack(sides)).reshape(basis.shape[1], len(data), -1).transpose(1, 0, 2)
    basis = basis * scale[:, np.newaxis]
    return Field(space, grid, air, basis, terms, source @ basis, mouth @ basis, area, len(omega))


def _weights(media: tuple[Medium, ...], omega: Real, air: Air, load: Complex) -> Complex:
    """Return the factor of each term at each frequency, (F, terms): stiffness and mass of each medium, mouth."""
    fluids = [medium.fluid(omega, air) for medium in media]
    return np.stack(
        [1.0 / density for density, _ in fluids]
        + [-(omega**2) * spring for _, spring in fluids]
        + [1j * omega / np.asarray(load)],
        axis=-1,
    )


# --- assembly ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class _Pattern:
    """Where a sparse matrix in columns has entries."""

    row: NDArray[np.int64]
    start: NDArray[np.int64]
    column: NDArray[np.int64]
    diagonal: NDArray[np.int64]  # which entry is that of each unknown with itself


def _assemble(grid: Mesh, space: Space, mouth_area_m2: float) -> tuple[_Pattern, Real]:
    """Return the pattern that all terms share and their entries on it, (terms, entries)."""
    n = grid.unknowns.shape[1]
    i, j = np.repeat(grid.unknowns, n, axis=1).ravel(), np.tile(grid.unknowns, (1, n)).ravel()
    keys, entry = np.unique(j * grid.size + i, return_inverse=True)
    column, row = np.divmod(keys, grid.size)
    start = np.searchsorted(column, np.arange(grid.size + 1))
    pattern = _Pattern(row, start, column, np.searchsorted(keys, np.arange(grid.size) * (grid.size + 1)))
    count = len(space.media)
    data = np.zeros((2 * count + 1, len(keys)))
    for patch in space.patches:
        mass, stiffness = field_mesh.matrices(grid, patch.shape)
        data[patch.medium] += patch.height_m * np.bincount(entry, stiffness.ravel(), len(keys))
        data[count + patch.medium] += patch.height_m * patch.spring * np.bincount(entry, mass.ravel(), len(keys))
    for strip in space.mouth:
        element, weight, value = field_mesh.line(grid, strip.a, strip.b)
        pairs = value[:, :, np.newaxis] * value[:, np.newaxis, :] * weight[:, np.newaxis, np.newaxis]
        u = grid.unknowns[element]
        where = np.searchsorted(keys, (u[:, np.newaxis, :] * grid.size + u[:, :, np.newaxis]).ravel())
        data[-1] += strip.height_m / mouth_area_m2 * np.bincount(where, pairs.ravel(), len(keys))
    return pattern, data


def _opening(grid: Mesh, strips: tuple[Strip, ...]) -> tuple[Real, float]:
    """Return the weights that average over some strips, and their area."""
    weights = np.zeros(grid.size)
    for strip in strips:
        element, weight, value = field_mesh.line(grid, strip.a, strip.b)
        spread = (value * (weight * strip.height_m)[:, np.newaxis]).ravel()
        weights += np.bincount(grid.unknowns[element].ravel(), spread, grid.size)
    area = float(weights.sum())
    return weights / area, area


def _seen_from_above(grid: Mesh, shape: Any) -> tuple[Real, float]:
    """Return the weights that average over a patch of the plan, and its area."""
    mass, _ = field_mesh.matrices(grid, shape)
    n = grid.unknowns.shape[1]
    weights = np.bincount(grid.unknowns.ravel(), mass.reshape(-1, n, n).sum(axis=2).ravel(), grid.size)
    area = float(weights.sum())
    return weights / area, area
