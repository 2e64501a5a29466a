"""What bends, corners, folds and steps do to the inertance of a flat duct.

The duct has a rectangular section: `width_m` in the plane of the bend, `depth_m` across it. Air that turns keeps the
volume of the centreline but takes the inside track, so a bend has less inertance than a straight of its centreline
length. The corrections here are that difference in kg/m^4 (negative for bends), to be put at the segment's inlet as
`extra_inertance_kg_m4`. They are the flow's own at low frequency (solutions of Laplace's equation), good while the
width is a small part of a wavelength: with 30 mm, to about 1 kHz.

Plain `math` only.
"""

from __future__ import annotations

import bisect
import math

from kerfwave.model.acoustic import Air, Segment

# (8 / pi^5) sum of 1 / n^5 over odd n: the two joins of a slight bend, each the flux that a profile falling by
# 1 / r and a flat one do not share, halved between them and died away in the modes of the duct.
_JOIN = 8.0 / math.pi**5 * 1.0045237628
_JOIN_STRONG = 0.019  # fitted to plane field solutions


def annular_bend_inertance(width_m: float, inner_radius_m: float, angle_rad: float, depth_m: float, air: Air) -> float:
    """Return the inertance in kg/m^4 of a bend alone, its ends taken as surfaces of equal pressure.

    Potential flow round a common centre: density angle / (depth ln(outer / inner radius)). It is a lower bound.

    Raises:
        ValueError: for a size that is not above 0.
    """
    _positive(width_m=width_m, inner_radius_m=inner_radius_m, angle_rad=angle_rad, depth_m=depth_m)
    return air.density * angle_rad / (depth_m * math.log1p(width_m / inner_radius_m))


def bend_correction(width_m: float, inner_radius_m: float, angle_rad: float, depth_m: float, air: Air) -> float:
    """Return what to add to the inertance of the centreline length for a bend between straights of the same width.

    Three terms: the bend alone (`annular_bend_inertance`); what it costs the flow to change from flat to 1 / r and
    back, which is exact for slight bends and fitted to field solutions for tight ones; less density l / S of the
    centreline. The bend's inertance agrees with the field solutions, for an inner radius of 0.05 widths or more, to
    0.1 % from 90 to 180 degrees and to 1 % down to 15. Straights shorter than about the width make it less good.

    Args:
        width_m: of the duct, in the plane of the bend.
        inner_radius_m: of the inner wall; half the separator in a fold. The outer wall is round about the same centre.
        angle_rad: through which the duct turns.
        depth_m: of the duct, across the plane.
        air: the medium.

    Raises:
        ValueError: for a size that is not above 0.
    """
    alone = annular_bend_inertance(width_m, inner_radius_m, angle_rad, depth_m, air)
    log_ratio = math.log1p(width_m / inner_radius_m)
    # The joins feel each other across a short bend: the lowest mode dies as exp(-pi angle / log_ratio) along it.
    apart = -math.expm1(-math.pi * angle_rad / log_ratio)
    joins = _JOIN * log_ratio**2 / (1.0 + _JOIN_STRONG * log_ratio**2) * apart
    centreline = angle_rad * (inner_radius_m / width_m + 0.5)
    return alone + air.density / depth_m * (joins - centreline)


def bend_segments(
    name: str,
    width_m: float,
    inner_radius_m: float,
    angle_rad: float,
    depth_m: float,
    air: Air,
    flow_resistivity_pa_s_m2: float = 0.0,
) -> tuple[Segment, Segment]:
    """Return a rounded bend as two halves of its centreline with the whole `bend_correction` between them.

    The place matters: with the lump in the middle the first two resonances of a guide of three passes come out within
    0.1 % of a field solution, with the lump at the bend's inlet the first is 0.6 % and the third 3 % off. Fibre does
    not change the lump: in a filled bend the correction is too small, by what the fibre adds to the air's mass.

    Raises:
        ValueError: for a size that is not above 0.
    """
    lump = bend_correction(width_m, inner_radius_m, angle_rad, depth_m, air)
    half = angle_rad * (inner_radius_m + width_m / 2.0) / 2.0
    area, perimeter = width_m * depth_m, 2.0 * (width_m + depth_m)
    section = (half, area, area, perimeter, perimeter)
    return (
        Segment(f"{name} a", *section, 0.0, flow_resistivity_pa_s_m2),
        Segment(f"{name} b", *section, lump, flow_resistivity_pa_s_m2),
    )


def sharp_corner_correction(depth_m: float, air: Air) -> float:
    """Return what to add for a square corner of 90 degrees, whose centreline is counted as one width.

    The corner's square has the inertance of 1 - (2 / pi) ln 2 = 0.5587 widths, and the width cancels.

    Raises:
        ValueError: for a depth that is not above 0.

    Source: conformal map of the right-angled bend, as known from sheet resistors ("0.559 squares").
    """
    _positive(depth_m=depth_m)
    return -air.density / depth_m * 2.0 / math.pi * math.log(2.0)


def corner_inertance(one_m: float, other_m: float, depth_m: float, air: Air) -> float:
    """Return the inertance in kg/m^4 of the rectangle where flat ducts of two widths meet at a right angle.

    Between the two sides through which the ducts leave it. Of equal widths it is 1 - (2 / pi) ln 2 = 0.5587 squares.

    Raises:
        ValueError: for a size that is not above 0.

    Source: conformal map of the right-angled bend; P. M. Hall, "Resistance calculations for thin film patterns", Thin
    Solid Films 1 (1968) 277 has it for sheet resistors (from memory).
    """
    _positive(one_m=one_m, other_m=other_m, depth_m=depth_m)
    k = other_m / one_m
    angle = math.acos((k**2 - 1.0) / (k**2 + 1.0))
    squares = 1.0 / k - 2.0 / math.pi * math.log(4.0 * k / (k**2 + 1.0)) + (k**2 - 1.0) / (math.pi * k) * angle
    return air.density / depth_m * squares


def plane_step_inertance(narrow_m: float, wide_m: float, depth_m: float, air: Air, *, centred: bool = False) -> float:
    """Return the extra inertance where a flat duct's width jumps and its depth stays. 0 for equal widths.

    Args:
        narrow_m: the smaller width.
        wide_m: the larger width.
        depth_m: of both.
        air: the medium.
        centred: the narrow duct meets the middle of the wide one, else it is flush with one wall (twice as much).

    Raises:
        ValueError: for a size that is not above 0, or if `narrow_m` is the larger one.

    Source: static term of the step between parallel plates, N. Marcuvitz, "Waveguide Handbook" (1951).
    """
    _positive(narrow_m=narrow_m, wide_m=wide_m, depth_m=depth_m)
    if narrow_m > wide_m:
        raise ValueError("narrow_m must not be larger than wide_m")
    a = narrow_m / wide_m
    if a > 1.0 - 1e-9:
        return 0.0
    log = math.log((1.0 - a**2) / (4.0 * a)) + (a + 1.0 / a) / 2.0 * math.log((1.0 + a) / (1.0 - a))
    return (1.0 if centred else 2.0) * air.density / (math.pi * depth_m) * log


# Inertance beyond the partition's tip, both legs together, in widths: rows gap / width, columns partition / width.
# Plane field solutions (Laplace, quadratic elements graded to 1e-4 of the width), converged to the last digit but one.
_PARTITIONS = (0.05, 0.1, 0.15, 0.25, 0.35, 0.5, 0.75, 1.0, 1.5)
_ROUNDING = 1e-9  # a size on the table's edge stays on it after the division
_GAPS = (0.5, 0.6, 0.75, 0.875, 1.0, 1.25, 1.5, 2.0, 3.0)
_FOLD = (
    (1.3269, 1.4473, 1.5596, 1.7733, 1.9799, 2.2843, 2.7865, 3.2869, 4.2870),
    (1.2223, 1.3272, 1.4242, 1.6072, 1.7825, 2.0389, 2.4594, 2.8771, 3.7107),
    (1.1229, 1.2129, 1.2953, 1.4487, 1.5938, 1.8036, 2.1438, 2.4794, 3.1472),
    (1.0717, 1.1539, 1.2285, 1.3660, 1.4946, 1.6788, 1.9745, 2.2641, 2.8378),
    (1.0379, 1.1147, 1.1839, 1.3103, 1.4274, 1.5933, 1.8568, 2.1126, 2.6164),
    (1.0002, 1.0706, 1.1333, 1.2461, 1.3486, 1.4913, 1.7127, 1.9235, 2.3321),
    (0.9830, 1.0502, 1.1096, 1.2152, 1.3098, 1.4395, 1.6363, 1.8198, 2.1685),
    (0.9715, 1.0362, 1.0929, 1.1925, 1.2804, 1.3983, 1.5715, 1.7271, 2.0103),
    (0.9684, 1.0324, 1.0882, 1.1856, 1.2708, 1.3835, 1.5450, 1.6848, 1.9249),
)


def fold_correction(width_m: float, partition_m: float, gap_m: float, depth_m: float, air: Air) -> float:
    """Return what to add for a fold of 180 degrees with square ends, whose length is counted by its volume.

    The space beyond the partition's tip has the area gap (2 width + partition); as a duct of `width_m` it is
    gap (2 + partition / width) long, and that is what the correction is taken from. With gap = width it is the
    centreline.

    Args:
        width_m: of both legs.
        partition_m: thickness of the wall between them, 0.05 to 1.5 widths.
        gap_m: from the partition's tip to the end wall, at least 0.5 widths; a gap above 3 acts as one of 3.
        depth_m: of the duct.
        air: the medium.

    Interpolated within 0.5 % of the field solutions behind the table.

    Raises:
        ValueError: for sizes outside these ranges.
    """
    _positive(width_m=width_m, partition_m=partition_m, gap_m=gap_m, depth_m=depth_m)
    partition, gap = partition_m / width_m, gap_m / width_m
    if not _PARTITIONS[0] - _ROUNDING <= partition <= _PARTITIONS[-1] + _ROUNDING:
        raise ValueError(f"the partition is {partition:.3f} widths; it must lie between 0.05 and 1.5")
    if gap < _GAPS[0] - _ROUNDING:
        raise ValueError(f"the gap is {gap:.3f} widths; it must be at least 0.5")
    row, down = _between([1.0 / g for g in reversed(_GAPS)], 1.0 / min(gap, _GAPS[-1]))
    column, right = _between(_PARTITIONS, partition)
    rows = tuple(reversed(_FOLD))
    upper = rows[row][column] * (1.0 - right) + rows[row][column + 1] * right
    lower = rows[row + 1][column] * (1.0 - right) + rows[row + 1][column + 1] * right
    acts_like = upper * (1.0 - down) + lower * down
    return air.density / depth_m * (acts_like - gap * (2.0 + partition))


def passage_correction(height_m: float, floor_m: float, gap_m: float, width_m: float, air: Air) -> float:
    """Return what to add for a passage through a floor, from one storey of a guide to the next and back again.

    Seen from the side it is a fold with square ends, two right-angled corners a floor apart: `fold_correction`, with
    the floor as its partition and the guide's width as its depth. Between two corners far apart the straight neither
    adds nor takes anything, so a floor outside the table counts as the thinnest or the thickest one in it.

    Args:
        height_m: of both storeys.
        floor_m: between them.
        gap_m: length of the hole along the guide, at least half the height.
        width_m: of the guide.
        air: the medium.

    Raises:
        ValueError: for a size that is not above 0, or too short a hole.
    """
    _positive(height_m=height_m, floor_m=floor_m)
    thick = min(max(floor_m, _PARTITIONS[0] * height_m), _PARTITIONS[-1] * height_m)
    return fold_correction(height_m, thick, gap_m, width_m, air)


def _between(knots: list[float] | tuple[float, ...], x: float) -> tuple[int, float]:
    """Return the interval of `knots` that holds x, and how far along it x lies."""
    i = min(max(bisect.bisect_right(knots, x) - 1, 0), len(knots) - 2)
    return i, (x - knots[i]) / (knots[i + 1] - knots[i])


def _positive(**sizes: float) -> None:
    for name, value in sizes.items():
        if not value > 0.0:
            raise ValueError(f"{name} is {value}; it must be above 0")
