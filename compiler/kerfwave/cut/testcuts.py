"""Further test cuts, for the bench rather than for one job: what the recipe and the machine file are made from.

"coupon-field" frees small squares at several powers, feeds and passes: the person sees which fall out.
"coupon-focus" scores lines with the focus at several depths, on a machine whose head moves: the finest tells where the
face lies. "coupon-square" scores four crosses, whose distances give the scale of the axes and their skew.
"""

from __future__ import annotations

import math
from dataclasses import replace

from kerfwave.cut.coupon import Coupon, check_bed, cut_free, design, piece_of, rectangle
from kerfwave.cut.program import assemble
from kerfwave.cut.scored import label, score
from kerfwave.model.parts import Contour, Piece, Recipe
from kerfwave.model.spec import Machine, Stock
from kerfwave.model.strokes import width_mm
from kerfwave.numfmt import fixed

_MARGIN_MM = 8.0
_SQUARE_MM = 6.0
_GAP_MM = 4.0
_BETWEEN_MM = 8.0  # cells of the field
_TALL_MM = 4.0  # labels
_POWERS = (0.8, 1.0, 1.25)  # of the recipe's
_FEEDS = (0.75, 1.0, 1.35)
_PASSES = (0.6, 1.0, 1.4)
_DEPTHS_MM = tuple(k / 2 for k in range(-4, 5))
_LADDER_MM = (11.0, 12.0)  # apart, long
_SQUARE_SIDE_MM = (60.0, 300.0)  # least and most
_ARM_MM = 6.0


def all_coupons(machine: Machine, stock: Stock, recipe: Recipe) -> tuple[Coupon, ...]:
    """Return every coupon for this machine, stock and recipe, in the order of use.

    Raises
    ------
    OutsideBed
        where the bed is too small for one.
    KerfTooWide
        where the recipe's kerf is wider than the smallest hole.
    """
    ladder = (focus_coupon(machine, stock, recipe),) if machine.focus_axis else ()
    return (
        square_coupon(machine, stock, recipe),
        *ladder,
        field_coupon(machine, stock, recipe),
        *design(machine, stock, recipe),
    )


def field_coupon(machine: Machine, stock: Stock, recipe: Recipe) -> Coupon:
    """Return squares cut at powers (rows), feeds (columns) and passes (three in each cell, fewer to more).

    The least energy is cut first. What the machine cannot do, or what would repeat another cell, is left out.
    """
    powers, feeds, passes = _tried(recipe, machine)
    cell = len(passes) * (_SQUARE_MM + _GAP_MM) - _GAP_MM
    left = _MARGIN_MM + max(width_mm(fixed(p, 0), _TALL_MM) for p in powers) + 3.0
    top = 2 * (_TALL_MM + 2.0)  # feeds over the columns, passes over the squares
    size = (
        left + len(feeds) * (cell + _BETWEEN_MM) - _BETWEEN_MM + _MARGIN_MM,
        2 * _MARGIN_MM + top + len(powers) * (_SQUARE_MM + _BETWEEN_MM) - _BETWEEN_MM,
    )
    check_bed(size, machine, "coupon-field", 1)
    marks: list[Contour] = []
    squares: list[tuple[float, Piece, Recipe]] = []  # with the energy, and what cuts it
    for row, power in enumerate(powers):
        y = size[1] - _MARGIN_MM - top - _SQUARE_MM - row * (_SQUARE_MM + _BETWEEN_MM)
        marks += label(fixed(power, 0), (_MARGIN_MM, y + 1.0), _TALL_MM, recipe, machine)
        for column, feed in enumerate(feeds):
            x = left + column * (cell + _BETWEEN_MM)
            if row == 0:
                marks += label(fixed(feed, 0), (x, size[1] - _MARGIN_MM - _TALL_MM), _TALL_MM, recipe, machine)
            for k, count in enumerate(passes):
                at = x + k * (_SQUARE_MM + _GAP_MM)
                if row == 0:
                    marks += label(str(count), (at, y + _SQUARE_MM + 2.0), _TALL_MM - 1.0, recipe, machine)
                name = f"p{power:g}-f{feed:g}-n{count}"
                how = replace(recipe, power_percent=power, feed_mm_min=feed, passes=count)
                piece = piece_of(name, rectangle(at, y, _SQUARE_MM, _SQUARE_MM), stock)
                squares.append((power * count / feed, piece, how))
    squares.sort(key=lambda square: (square[0], square[1].id))
    cuts = [contour for _, piece, how in squares for contour in cut_free(piece, how, machine, size, passes=how.passes)]
    said = ", ".join(str(count) for count in passes)
    reading = (
        f"Rows are power in percent, columns feed in mm/min, and in each cell stand {said} passes from left to right.",
        "Lift the sheet straight up, press nothing, and tick in the table what fell out.",
        "Of what fell out, take the fastest feed with the fewest passes whose edge is brown and not black. Then cut "
        "coupon-passes with it.",
        "Write power, feed and passes into a recipe file, with the date and this coupon's name.",
    )
    program = assemble(
        "coupon-field", stock.name, size, (*marks, *cuts), machine, verified=recipe.verified, notes=reading
    )
    box = " ".join(f"{count}: __" for count in passes)
    return Coupon(
        program,
        tuple(piece for _, piece, _ in squares),
        reading,
        columns=("power, percent", *(f"{fixed(feed, 0)} mm/min" for feed in feeds)),
        rows=tuple((fixed(power, 0), *(box for _ in feeds)) for power in powers),
    )


def _tried(recipe: Recipe, machine: Machine) -> tuple[list[float], list[float], list[int]]:
    """Return powers, feeds and passes about those of a recipe, as far as the machine goes."""
    powers = sorted({min(100.0, float(round(recipe.power_percent * s))) for s in _POWERS} - {0.0}, reverse=True)
    feeds = sorted({float(max(10, round(min(recipe.feed_mm_min * s, machine.max_feed_mm_min), -1))) for s in _FEEDS})
    passes = sorted({max(1, math.floor(recipe.passes * s + 0.5)) for s in _PASSES} | {recipe.passes + 1})[:3]
    return powers, feeds, passes


def focus_coupon(machine: Machine, stock: Stock, recipe: Recipe) -> Coupon:
    """Return a row of scored lines, each with the focus at another depth; its number stands under it."""
    apart, tall = _LADDER_MM
    size = (2 * _MARGIN_MM + (len(_DEPTHS_MM) - 1) * apart + 6.0, 2 * _MARGIN_MM + tall + _TALL_MM + 2.0)
    check_bed(size, machine, "coupon-focus", 1)
    contours: list[Contour] = []
    depths: list[float] = []
    low = _MARGIN_MM + _TALL_MM + 2.0
    for k, depth in enumerate(_DEPTHS_MM):
        x = _MARGIN_MM + 3.0 + k * apart
        text = f"{depth:+.1f}" if depth else "0"
        drawn = label(text, (x - width_mm(text, _TALL_MM * 0.7) / 2, _MARGIN_MM), _TALL_MM * 0.7, recipe, machine)
        line = score(f"depth {text}", ((x, low), (x, low + tall)), recipe, machine)
        contours += [*drawn, line]
        depths += [*(0.0 for _ in drawn), depth]
    reading = (
        "Each line was scored with the focus so many mm below the upper face as stands under it, above it where "
        "there is a minus.",
        "Find the finest and darkest line, with a loupe or across the light.",
        "If it is not the line at 0, the head's zero is off: set it lower by that number, or higher for a minus.",
    )
    program = assemble(
        "coupon-focus", stock.name, size, tuple(contours), machine, verified=recipe.verified, notes=reading
    )
    return Coupon(
        program,
        (),
        reading,
        depths_mm=tuple(depths),
        columns=("depth, mm", "line width, mm"),
        rows=tuple((fixed(depth, 1), "____") for depth in _DEPTHS_MM),
    )


def square_coupon(machine: Machine, stock: Stock, recipe: Recipe) -> Coupon:
    """Return four scored crosses A, B, C, D at the corners of a square as large as the bed allows, up to 300 mm.

    It is written for the axes as they are, without the correction of the machine file.
    """
    least, most = _SQUARE_SIDE_MM
    room = min(machine.bed_width_mm, machine.bed_height_mm) - 2 * (_MARGIN_MM + _ARM_MM)
    side = math.floor(min(most, room) / 10) * 10.0
    whole = 2 * (_MARGIN_MM + _ARM_MM) + max(side, least)
    check_bed((whole, whole), machine, "coupon-square", 1)
    start = _MARGIN_MM + _ARM_MM
    corners = {
        "A": (start, start),
        "B": (start + side, start),
        "C": (start + side, start + side),
        "D": (start, start + side),
    }
    contours: list[Contour] = []
    for name, (x, y) in corners.items():
        contours.append(score(f"cross {name}", ((x - _ARM_MM, y), (x + _ARM_MM, y)), recipe, machine))
        contours.append(score(f"cross {name}", ((x, y - _ARM_MM), (x, y + _ARM_MM)), recipe, machine))
        inward = (x + 2.0 if name in "AD" else x - 2.0 - width_mm(name, _TALL_MM), y + 2.0 if name in "AB" else y - 6.0)
        contours += label(name, inward, _TALL_MM, recipe, machine)
    nominal = fixed(side, 0)
    reading = (
        "Scored only: card or thin board taped flat will do, as long as it lies on the bed.",
        f"Measure from the middle of each cross, to 0.1 mm: AB, DC, AD, BC should be {nominal} mm, AC and BD "
        f"{fixed(side * math.sqrt(2), 1)} mm.",
        "kerfwave coupon SPEC --read-square AB DC AD BC AC BD turns the six lengths into axis_scale and skew_deg for "
        "the machine file. By hand: scale x = mean of AB and DC over the nominal, y likewise of AD and BC. The sine of "
        "the skew = the difference of the squares of AC and BD over 4 AB AD.",
        "Programs for that machine then correct it. Cut this coupon again after any change to belts or frame.",
    )
    program = assemble(
        "coupon-square", stock.name, (whole, whole), tuple(contours), machine, verified=recipe.verified, notes=reading
    )
    return Coupon(
        program,
        (),
        reading,
        raw=True,
        columns=("from, to", "drawn, mm", "measured, mm"),
        rows=tuple((pair, nominal, "____") for pair in ("AB", "DC", "AD", "BC"))
        + tuple((pair, fixed(side * math.sqrt(2), 1), "____") for pair in ("AC", "BD")),
    )


def square_side_mm(coupon: Coupon) -> float:
    """Return the nominal side of `square_coupon`."""
    return coupon.program.width_mm - 2 * (_MARGIN_MM + _ARM_MM)


def axes_of(
    ab: float, dc: float, ad: float, bc: float, ac: float, bd: float, *, nominal_mm: float
) -> tuple[tuple[float, float], float]:
    """Return (scale of x, scale of y) and the skew in degrees from the lengths read off `square_coupon`, in mm.

    With sides a and b, and the y axis leaning by t towards +x, the diagonals of the parallelogram are
    AC^2 = a^2 + b^2 + 2 a b sin t and BD^2 = a^2 + b^2 - 2 a b sin t (law of cosines), so
    sin t = (AC^2 - BD^2) / (4 a b). Scales are true lengths over the nominal.

    Raises
    ------
    ValueError
        for lengths that belong to no parallelogram near the square: opposite sides or the diagonals disagree by more
        than 2 % of the nominal, or a side is off by more than 5 %.
    """
    a, b = (ab + dc) / 2, (ad + bc) / 2
    for one, other, words in ((ab, dc, "AB and DC"), (ad, bc, "AD and BC")):
        if abs(one - other) > 0.02 * nominal_mm:
            raise ValueError(f"{words} differ by {abs(one - other):.1f} mm: measure again")
    for side, words in ((a, "AB and DC"), (b, "AD and BC")):
        if abs(side / nominal_mm - 1) > 0.05:
            raise ValueError(f"{words} are {side:.1f} mm on average, {nominal_mm:g} was drawn: more than 5 % off")
    if abs(math.sqrt((ac**2 + bd**2) / 2) - math.hypot(a, b)) > 0.02 * nominal_mm:
        raise ValueError("the diagonals do not belong to these sides: measure again")
    lean = math.asin(max(-1.0, min(1.0, (ac**2 - bd**2) / (4 * a * b))))
    return (round(a / nominal_mm, 5), round(b / nominal_mm, 5)), round(math.degrees(lean), 3)
