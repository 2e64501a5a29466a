"""One stretch of duct as a two-port: [p1, U1] = [[A, B], [C, D]] [p2, U2], from the chamber outwards."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from typing import Any, Protocol

import numpy as np

from kerfwave.acoustics.duct import Complex, propagation
from kerfwave.model.acoustic import Air, Network

SUBCONES = 8  # per tapered segment; the wall loss is taken as constant along each
SMALL = 0.01  # |gamma L| of a cone below which two terms of a series are exact to double precision


class SegmentLike(Protocol):
    """A `model.acoustic.Segment`, or one whose numbers are arrays of shape (C, 1) for C guides at once."""

    @property
    def length_m(self) -> Any: ...  # noqa: D102
    @property
    def area_in_m2(self) -> Any: ...  # noqa: D102
    @property
    def area_out_m2(self) -> Any: ...  # noqa: D102
    @property
    def perimeter_in_m(self) -> Any: ...  # noqa: D102
    @property
    def perimeter_out_m(self) -> Any: ...  # noqa: D102
    @property
    def extra_inertance_kg_m4(self) -> Any: ...  # noqa: D102
    @property
    def flow_resistivity_pa_s_m2(self) -> Any: ...  # noqa: D102


@dataclass(frozen=True, slots=True)
class SegmentArrays:
    """The same stretch of C guides: every field a number or an array of shape (C, 1). Units as in the names."""

    length_m: Any
    area_in_m2: Any
    area_out_m2: Any
    perimeter_in_m: Any
    perimeter_out_m: Any
    extra_inertance_kg_m4: Any = 0.0
    flow_resistivity_pa_s_m2: Any = 0.0


@dataclass(frozen=True, slots=True)
class Abcd:
    """A reciprocal two-port (A D - B C = 1). Entries broadcast to (C, F); B in Pa s/m^3, C in m^3/(Pa s)."""

    a: Complex
    b: Complex
    c: Complex
    d: Complex

    def __matmul__(self, other: Abcd) -> Abcd:
        """Return this two-port followed by `other`."""
        return Abcd(
            self.a * other.a + self.b * other.c,
            self.a * other.b + self.b * other.d,
            self.c * other.a + self.d * other.c,
            self.c * other.b + self.d * other.d,
        )


def stack(networks: Sequence[Network]) -> tuple[SegmentArrays, ...]:
    """Return the guides of C networks side by side, the shorter ones lengthened by nothing at the mouth.

    A padding segment has no length and no lump, which makes it the exact identity; its section repeats the
    guide's last one so that it costs nothing new.
    """
    longest = max((len(n.guide) for n in networks), default=0)
    columns = []
    for i in range(longest):
        rows = [n.guide[i] if i < len(n.guide) else None for n in networks]
        ends = [n.guide[-1] if n.guide else None for n in networks]
        columns.append(
            SegmentArrays(
                *(
                    _column(
                        getattr(row, field.name) if row is not None else _padding(field.name, end)
                        for row, end in zip(rows, ends, strict=True)
                    )
                    for field in fields(SegmentArrays)
                )
            )
        )
    return tuple(columns)


def _padding(name: str, end: SegmentLike | None) -> float:
    if name in ("length_m", "extra_inertance_kg_m4"):
        return 0.0
    if end is None:  # a network without a guide: any section will do
        return {"area_in_m2": 1.0, "area_out_m2": 1.0, "perimeter_in_m": 4.0, "perimeter_out_m": 4.0}.get(name, 0.0)
    return float(getattr(end, name.replace("_in_", "_out_")))


def _column(values: Iterator[float]) -> Any:
    return np.array([*values], dtype=float)[:, np.newaxis]


def abcd(segment: SegmentLike, omega: Any, air: Air) -> Abcd:
    """Return the two-port of one segment: its lump first, then the duct.

    Args:
        segment: uniform or conical (linear in the equivalent radius sqrt(area / pi); the perimeter is linear too).
        omega: angular frequency, rad/s, shape (F,).
        air: the medium.

    A uniform duct is exact. A cone is the closed conical form with the complex wavenumber of its walls or its
    fibre, in eight shorter cones, since walls weigh more where it is narrow; without loss it is exact.

    Sources: uniform line and cone as in M. L. Munjal, "Acoustics of Ducts and Mufflers"; `duct` for the walls.
    """
    omega = np.asarray(omega, dtype=float)
    result = _lump(segment.extra_inertance_kg_m4, omega)
    for piece in _pieces(segment):
        result = result @ _cone(piece, omega, air)
    return result


def cascade(segments: Sequence[SegmentLike], omega: Any, air: Air) -> Abcd:
    """Return the two-port of a whole guide, chamber end first; the identity for no segments."""
    omega = np.asarray(omega, dtype=float)
    result = _lump(0.0, omega)
    for segment in segments:
        result = result @ abcd(segment, omega, air)
    return result


def towards_chamber(
    segments: Sequence[SegmentLike], omega: Any, air: Air, pressure: Complex, flow: Complex
) -> tuple[Complex, Complex]:
    """Return pressure and volume velocity at the chamber end from those at the mouth.

    Half the work of `cascade`, and neighbours of equal section share their wall functions: this is what a search
    over thousands of guides runs.
    """
    omega = np.asarray(omega, dtype=float)
    known: tuple[tuple[Any, ...], tuple[Complex, Complex]] | None = None
    for segment in reversed(segments):
        for piece in reversed(_pieces(segment)):
            section = _section(piece)
            if known is None or not all(map(np.array_equal, known[0], section)):
                known = section, propagation(section[0], section[1], air, omega, section[2])
            pressure, flow = _through(piece, known[1], pressure, flow)
        if np.any(segment.extra_inertance_kg_m4):
            pressure = pressure + 1j * omega * segment.extra_inertance_kg_m4 * flow
    return pressure, flow


def _lump(inertance: Any, omega: Any) -> Abcd:
    one = np.ones(np.shape(omega), complex)
    return Abcd(one, 1j * omega * inertance, np.zeros_like(one), one)


def _is_uniform(segment: SegmentLike) -> bool:
    # Nothing has no taper: without length the areas at its ends do not matter.
    return bool(
        np.all((segment.length_m == 0.0) | (np.asarray(segment.area_in_m2) == segment.area_out_m2))
        and np.all((segment.length_m == 0.0) | (np.asarray(segment.perimeter_in_m) == segment.perimeter_out_m))
    )


def _pieces(segment: SegmentLike) -> tuple[SegmentLike, ...]:
    """Return the segment itself if uniform, else shorter cones end to end."""
    if _is_uniform(segment):
        return (segment,)
    radius_in, radius_out = np.sqrt(segment.area_in_m2), np.sqrt(segment.area_out_m2)
    perimeter_in, perimeter_out = np.asarray(segment.perimeter_in_m), np.asarray(segment.perimeter_out_m)
    steps = [i / SUBCONES for i in range(SUBCONES + 1)]
    areas = [(radius_in + t * (radius_out - radius_in)) ** 2 for t in steps]
    perimeters = [perimeter_in + t * (perimeter_out - perimeter_in) for t in steps]
    return tuple(
        SegmentArrays(
            np.asarray(segment.length_m) / SUBCONES,
            *(areas[i], areas[i + 1], perimeters[i], perimeters[i + 1]),
            flow_resistivity_pa_s_m2=segment.flow_resistivity_pa_s_m2,
        )
        for i in range(SUBCONES)
    )


def _section(piece: SegmentLike) -> tuple[Any, Any, Any]:
    """Return area and perimeter whose walls stand for the whole piece, and its fibre."""
    if _is_uniform(piece):
        return piece.area_in_m2, piece.perimeter_in_m, piece.flow_resistivity_pa_s_m2
    middle = ((np.sqrt(piece.area_in_m2) + np.sqrt(piece.area_out_m2)) / 2.0) ** 2
    perimeter = (np.asarray(piece.perimeter_in_m) + piece.perimeter_out_m) / 2.0
    return middle, perimeter, piece.flow_resistivity_pa_s_m2


def _cone(piece: SegmentLike, omega: Any, air: Air) -> Abcd:
    area, perimeter, fibre = _section(piece)
    gamma, specific = propagation(area, perimeter, air, omega, fibre)
    return _conical(piece, gamma, specific)


def _conical(piece: SegmentLike, gamma: Complex, specific: Complex) -> Abcd:
    """Return the closed form; with a ratio of radii of 1 it is the uniform line."""
    length = np.asarray(piece.length_m)
    cosh, sinh = _hyperbolic(gamma * length)
    if _is_uniform(piece):
        return Abcd(cosh, specific / piece.area_in_m2 * sinh, np.asarray(piece.area_in_m2) / specific * sinh, cosh)
    # Nothing has no taper.
    ratio = np.where(length > 0.0, np.sqrt(np.asarray(piece.area_out_m2) / piece.area_in_m2), 1.0)  # of the radii
    mean = np.sqrt(np.asarray(piece.area_in_m2) * piece.area_out_m2)
    sinh_over_x, bow = _of_taper(gamma * length, cosh, sinh)
    return Abcd(
        ratio * cosh - (ratio - 1.0) * sinh_over_x,
        specific / mean * sinh,
        mean / specific * (sinh + (ratio - 1.0) ** 2 / ratio * bow),
        (cosh + (ratio - 1.0) * sinh_over_x) / ratio,
    )


def _of_taper(x: Complex, cosh: Complex, sinh: Complex) -> tuple[Complex, Complex]:
    """Return sinh(x) / x and (x cosh(x) - sinh(x)) / x^2, by series where the difference would cancel."""
    small = np.abs(x) < SMALL
    safe = np.where(small, 1.0, x)
    squared = np.where(small, x, 0.0) ** 2
    return (
        np.where(small, 1.0 + squared / 6.0 * (1.0 + squared / 20.0), sinh / safe),
        np.where(small, x / 3.0 * (1.0 + squared / 10.0 * (1.0 + squared / 28.0)), (x * cosh - sinh) / safe**2),
    )


def _through(
    piece: SegmentLike, line: tuple[Complex, Complex], pressure: Complex, flow: Complex
) -> tuple[Complex, Complex]:
    gamma, specific = line
    port = _conical(piece, gamma, specific)
    return port.a * pressure + port.b * flow, port.c * pressure + port.d * flow


def _hyperbolic(x: Complex) -> tuple[Complex, Complex]:
    """Return cosh and sinh for one exponential's cost; both exact at 0."""
    up: Complex = np.exp(x)
    down: Complex = np.reciprocal(up)
    return 0.5 * (up + down), 0.5 * (up - down)
