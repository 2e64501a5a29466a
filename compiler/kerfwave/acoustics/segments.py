"""One stretch of duct as a two-port: [p1, U1] = [[A, B], [C, D]] [p2, U2], from the chamber outwards."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from typing import Any, Protocol

import numpy as np

from kerfwave.acoustics import twoport
from kerfwave.acoustics.duct import Complex, propagation
from kerfwave.acoustics.twoport import Abcd
from kerfwave.model.acoustic import Air, Segment

PARTS = 4  # of a steep taper; the wall loss is taken as constant along each
STEEP = 1.35  # ratio of areas from which on a taper is cut into parts; below, one part is within 0.01 dB
LAWS = ("cone", "exponential")


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
    @property
    def law(self) -> Any: ...  # noqa: D102


@dataclass(frozen=True, slots=True)
class SegmentArrays:
    """The same stretch of C guides: every field a number or an array of shape (C, 1). Units as in the names.

    `law` is a word or an array of words.
    """

    length_m: Any
    area_in_m2: Any
    area_out_m2: Any
    perimeter_in_m: Any
    perimeter_out_m: Any
    extra_inertance_kg_m4: Any = 0.0
    flow_resistivity_pa_s_m2: Any = 0.0
    law: Any = "cone"


def stack(guides: Sequence[tuple[Segment, ...]]) -> tuple[SegmentArrays, ...]:
    """Return C guides side by side, the shorter ones lengthened by nothing at the mouth.

    A padding segment has no length and no lump, which makes it the exact identity; its section repeats the
    guide's last one so that it costs nothing new.
    """
    longest = max((len(g) for g in guides), default=0)
    columns = []
    for i in range(longest):
        rows = [g[i] if i < len(g) else None for g in guides]
        ends = [g[-1] if g else None for g in guides]
        numbers = {
            field.name: _column(
                getattr(row, field.name) if row is not None else _padding(field.name, end)
                for row, end in zip(rows, ends, strict=True)
            )
            for field in fields(SegmentArrays)
            if field.name != "law"
        }
        columns.append(SegmentArrays(**numbers, law=_laws([row.law if row is not None else "cone" for row in rows])))
    return tuple(columns)


def _padding(name: str, end: SegmentLike | None) -> float:
    if name in ("length_m", "extra_inertance_kg_m4"):
        return 0.0
    if end is None:  # no guide at all: any section will do
        return {"area_in_m2": 1.0, "area_out_m2": 1.0, "perimeter_in_m": 4.0, "perimeter_out_m": 4.0}.get(name, 0.0)
    return float(getattr(end, name.replace("_in_", "_out_")))


def _column(values: Iterator[float]) -> Any:
    return np.array([*values], dtype=float)[:, np.newaxis]


def _laws(words: list[str]) -> Any:
    return words[0] if len(set(words)) == 1 else np.array(words)[:, np.newaxis]


def abcd(segment: SegmentLike, omega: Any, air: Air) -> Abcd:
    """Return the two-port of one segment: its lump first (of fibre, where the segment is), then the duct.

    Args:
        segment: uniform, conical (linear in the equivalent radius sqrt(area / pi); the perimeter is linear too) or
            exponential (in area and perimeter).
        omega: angular frequency, rad/s, shape (F,).
        air: the medium.

    A uniform duct is exact. A taper is the closed form of its law with the complex wavenumber of its walls or its
    fibre; a steep one in four shorter ones, since walls weigh more where it is narrow. Without loss it is exact.

    Raises:
        ValueError: for a taper of another law.

    Sources: uniform line and cone as in M. L. Munjal, "Acoustics of Ducts and Mufflers"; the exponential horn from
    Webster's equation, as in L. E. Kinsler et al., "Fundamentals of Acoustics"; `duct` for the walls.
    """
    omega = np.asarray(omega, dtype=float)
    pieces = []
    for piece in _pieces(segment):
        area, perimeter, fibre = _section(piece)
        pieces.append((piece, propagation(area, perimeter, air, omega, fibre)))
    result = _lump(_lump_impedance(segment, pieces[0][1], omega, air))
    for piece, line in pieces:
        result = result @ _two_port(piece, *line)
    return result


def cascade(segments: Sequence[SegmentLike], omega: Any, air: Air) -> Abcd:
    """Return the two-port of a whole guide, chamber end first; the identity for no segments."""
    omega = np.asarray(omega, dtype=float)
    result = _lump(np.zeros(omega.shape, complex))
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
        if known is not None and np.any(segment.extra_inertance_kg_m4):
            pressure = pressure + _lump_impedance(segment, known[1], omega, air) * flow
    return pressure, flow


def _lump_impedance(segment: SegmentLike, line: tuple[Complex, Complex], omega: Any, air: Air) -> Complex:
    """Return j omega M, where fibre is with the fibre's complex density: flow turns there as it does in air."""
    inertance, fibre = np.asarray(segment.extra_inertance_kg_m4), np.asarray(segment.flow_resistivity_pa_s_m2) > 0.0
    impedance = 1j * omega * inertance
    if not fibre.any():
        return np.asarray(impedance)
    gamma, specific = line
    return np.where(fibre, inertance / air.density * gamma * specific, impedance)


def _lump(impedance: Complex) -> Abcd:
    one = np.ones(impedance.shape, complex)
    return Abcd(one, impedance, np.zeros_like(one), one)


def _is_uniform(segment: SegmentLike) -> bool:
    # Nothing has no taper: without length the areas at its ends do not matter.
    return bool(
        np.all((segment.length_m == 0.0) | (np.asarray(segment.area_in_m2) == segment.area_out_m2))
        and np.all((segment.length_m == 0.0) | (np.asarray(segment.perimeter_in_m) == segment.perimeter_out_m))
    )


def _pieces(segment: SegmentLike) -> tuple[SegmentLike, ...]:
    """Return the segment itself if it hardly changes, else shorter tapers of its law end to end."""
    if not np.any(is_steep(segment)):
        return (segment,)
    sections = [_inside(segment, i / PARTS) for i in range(PARTS + 1)]
    return tuple(
        SegmentArrays(
            np.asarray(segment.length_m) / PARTS,
            *(area_in, area_out, perimeter_in, perimeter_out),
            flow_resistivity_pa_s_m2=segment.flow_resistivity_pa_s_m2,
            law=segment.law,
        )
        for (area_in, perimeter_in), (area_out, perimeter_out) in itertools.pairwise(sections)
    )


def is_steep(segment: SegmentLike) -> Any:
    """Return whether a segment is reckoned in parts; what it is stacked with must not decide that."""
    return (segment.length_m > 0.0) & (
        (segment.area_out_m2 > STEEP * segment.area_in_m2) | (segment.area_in_m2 > STEEP * segment.area_out_m2)
    )


def _inside(segment: SegmentLike, t: float) -> tuple[Any, Any]:
    """Return area and perimeter at the share `t` of a segment's length."""
    area_in, area_out = np.asarray(segment.area_in_m2), np.asarray(segment.area_out_m2)
    perimeter_in, perimeter_out = np.asarray(segment.perimeter_in_m), np.asarray(segment.perimeter_out_m)
    exponential = _is_exponential(segment)
    return (
        np.where(
            exponential,
            area_in * (area_out / area_in) ** t,
            (np.sqrt(area_in) + t * (np.sqrt(area_out) - np.sqrt(area_in))) ** 2,
        ),
        np.where(
            exponential,
            perimeter_in * (perimeter_out / perimeter_in) ** t,
            perimeter_in + t * (perimeter_out - perimeter_in),
        ),
    )


def _is_exponential(segment: SegmentLike) -> Any:
    law = np.asarray(segment.law)
    unknown = ~np.isin(law, LAWS)
    if unknown.any():
        raise ValueError(f"the law of a segment is {str(law[unknown].flat[0])!r}; it must be 'cone' or 'exponential'")
    return law == "exponential"


def _section(piece: SegmentLike) -> tuple[Any, Any, Any]:
    """Return area and perimeter whose walls stand for the whole piece, and its fibre."""
    if _is_uniform(piece):
        return piece.area_in_m2, piece.perimeter_in_m, piece.flow_resistivity_pa_s_m2
    return *_inside(piece, 0.5), piece.flow_resistivity_pa_s_m2


def _two_port(piece: SegmentLike, gamma: Complex, specific: Complex) -> Abcd:
    """Return the closed form of a piece whose propagation constant is the same all along."""
    x = gamma * np.asarray(piece.length_m)
    if _is_uniform(piece):
        return twoport.uniform(x, piece.area_in_m2, specific)
    # Nothing has no taper.
    ratio = np.where(
        np.asarray(piece.length_m) > 0.0, np.sqrt(np.asarray(piece.area_out_m2) / piece.area_in_m2), 1.0
    )  # of the radii
    mean = np.sqrt(np.asarray(piece.area_in_m2) * piece.area_out_m2)
    exponential = _is_exponential(piece)
    if exponential.all():
        return twoport.exponential(x, ratio, mean, specific)
    cone = twoport.cone(x, ratio, mean, specific)
    if not exponential.any():
        return cone
    return twoport.where(exponential, twoport.exponential(x, ratio, mean, specific), cone)


def _through(
    piece: SegmentLike, line: tuple[Complex, Complex], pressure: Complex, flow: Complex
) -> tuple[Complex, Complex]:
    gamma, specific = line
    port = _two_port(piece, gamma, specific)
    return port.a * pressure + port.b * flow, port.c * pressure + port.d * flow
