"""The sizes that follow from the driver, the sheet and the enclosure's rules, before anything is folded."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable
from dataclasses import dataclass

from kerfwave.body.fits import DOWEL_MM, FLANGE_MM, inset_play_mm
from kerfwave.body.supply import Supply, heights_mm, stacked, uniform
from kerfwave.model.spec import Driver, Enclosure

BASKET_PLAY_MM = 1.0  # between basket and bore, each side (common practice: a millimetre or so)
MAGNET_GAP_MM = 8.0  # air behind the magnet (common practice: enough not to choke a vented pole)
FRAME_RIM_MM = 0.5  # what shows of the ring around the driver's frame, at least, each side
EPS_MM = 1e-6
OFF_MIDDLE = 0.35  # of a layer's thickness, that seat and chamber may be off each other's middle
SHOULDER_MM = 4.0  # wood behind the ring that it is glued to

Span = tuple[int, int]  # layers counted from 0; the second is the first that no longer belongs to it


@dataclass(frozen=True, slots=True)
class BodyRules:
    """Sizes in mm that every fold of one spec has to respect."""

    stack: str
    supply: Supply  # what the layers come from
    thickness_mm: float  # of the insets, as measured
    wall_mm: float
    separator_mm: float
    least_web_mm: float
    fit_mm: float
    bore_mm: float  # through the wall behind the driver's ring
    reach_mm: float  # how far behind the front the driver and its air gap reach
    seat_width_mm: float  # of the driver's ring
    frame_mm: float
    front_wall_mm: float
    terminal_wall_mm: float
    plate_width_mm: float
    plate_height_mm: float
    post_depth_mm: float
    mouth_face: str
    terminal_face: str
    dowel_mm: float | None  # through the stack; None: no dowels
    corner: str
    corner_mm: float
    dowel_play_mm: float  # on the diameter
    recess_mm: float | None  # width of the opening for the driver's flange; None: it lies on the front
    sunk_mm: float  # how far behind the front the flange is seated: one inset, or the first layer of a facing stack
    least_duct_mm: float
    foot_mm: float | None = None  # diameter of stick-on feet; None: it has none
    hang_mm: float | None = None  # shank of the screws that it hangs on; None: it does not hang


def body_rules(enclosure: Enclosure, driver: Driver, thickness_mm: float, supply: Supply | None = None) -> BodyRules:
    """Derive the rules of one spec: `thickness_mm` is that of the insets and, without a `supply`, of every layer.

    The front wall of an upright body holds the ring flush and a shoulder behind it; the wall that carries the
    terminal plate holds the plate flush and a web behind it.
    """
    upright = enclosure.stack == "upright"
    supply = uniform(thickness_mm) if supply is None else supply
    first = stacked(supply, 1, 0, 0)
    fit = inset_play_mm(enclosure.inset_fit, enclosure.fit_mm)
    front = first[0].thickness_mm if first and not upright else thickness_mm
    deep = front if enclosure.recess else 0.0
    rim = FLANGE_MM + enclosure.least_web_mm if enclosure.recess else FRAME_RIM_MM + 2.0
    return BodyRules(
        stack=enclosure.stack,
        supply=supply,
        thickness_mm=thickness_mm,
        wall_mm=enclosure.wall_mm,
        separator_mm=enclosure.separator_mm,
        least_web_mm=enclosure.least_web_mm,
        fit_mm=fit,
        bore_mm=driver.cutout_mm + 2 * BASKET_PLAY_MM,
        reach_mm=deep + driver.depth_mm + MAGNET_GAP_MM,
        seat_width_mm=driver.frame_mm + 2 * (rim + fit),
        frame_mm=driver.frame_mm,
        front_wall_mm=max(enclosure.wall_mm, deep + thickness_mm + SHOULDER_MM) if upright else enclosure.wall_mm,
        terminal_wall_mm=max(enclosure.wall_mm, thickness_mm + enclosure.least_web_mm),
        plate_width_mm=enclosure.terminals.plate_width_mm,
        plate_height_mm=enclosure.terminals.plate_height_mm,
        post_depth_mm=enclosure.terminals.depth_mm,
        mouth_face=enclosure.mouth_face,
        terminal_face=enclosure.terminal_face,
        dowel_mm=enclosure.dowel_mm,
        corner=enclosure.corner,
        corner_mm=enclosure.corner_mm,
        dowel_play_mm=DOWEL_MM[enclosure.dowel_fit],
        recess_mm=driver.frame_mm + 2 * FLANGE_MM if enclosure.recess else None,
        sunk_mm=deep,
        least_duct_mm=enclosure.least_duct_mm,
        foot_mm=enclosure.foot_mm,
        hang_mm=enclosure.hang_screw_mm,
    )


@dataclass(frozen=True, slots=True)
class LayerCount:
    """How many layers close each end of the stack, how many have air in them, and where each of them lies."""

    floor: int  # layer 1 upwards; the front of a facing stack
    inner: int
    lid: int
    kinds: tuple[int, ...]  # of sheet, for each layer
    thickness_mm: tuple[float, ...]  # of each layer
    z_mm: tuple[float, ...]  # where layers begin and end, one value more than there are layers

    @property
    def total(self) -> int:
        """All layers."""
        return self.floor + self.inner + self.lid

    @property
    def height_mm(self) -> float:
        """Of the whole stack."""
        return self.z_mm[-1]

    @property
    def inner_mm(self) -> float:
        """Height of all that lies between floor and lid."""
        return self.between_mm((self.floor, self.floor + self.inner))

    def between_mm(self, span: Span) -> float:
        """Return the height of some layers, counted from 0; the second is the first that no longer belongs to them."""
        return round(self.z_mm[span[1]] - self.z_mm[span[0]], 3)

    def middle_mm(self, span: Span) -> float:
        """Return where the middle of some layers lies along the stack."""
        return (self.z_mm[span[0]] + self.z_mm[span[1]]) / 2


def stack(rules: BodyRules, floor: int, inner: int, lid: int) -> LayerCount | None:
    """Return a stack of so many layers; None if the sheets do not hold as many."""
    sources = stacked(rules.supply, floor, inner, lid)
    if sources is None:
        return None
    thick = tuple(source.thickness_mm for source in sources)
    return LayerCount(floor, inner, lid, tuple(source.kind for source in sources), thick, heights_mm(thick))


def layer_counts(rules: BodyRules, driver: Driver, height_mm: float) -> tuple[LayerCount, ...]:
    """Return every stack that stands within `height_mm` and takes the driver, lowest first; maybe none."""
    # A recess takes the first layer of a facing stack; the flange needs another to lie on.
    least = 2 if rules.recess_mm is not None and rules.stack == "facing" else 1
    floor, found = _closing(rules, 0, 0, least), []
    inner = 1
    while floor is not None:
        lid = _closing(rules, floor, inner, least)
        counts = None if lid is None else stack(rules, floor, inner, lid)
        if counts is None or counts.height_mm > height_mm + EPS_MM:
            break
        chamber = (floor, floor + inner)
        fits = plate_span(rules, counts, chamber) is not None
        if rules.stack == "upright":
            fits = fits and counts.inner_mm >= rules.bore_mm - EPS_MM and seat_span(rules, counts, chamber) is not None
        else:
            fits = fits and counts.z_mm[floor + inner] >= rules.reach_mm - EPS_MM
        if fits:
            found.append(counts)
        inner += 1
    return tuple(found)


def _closing(rules: BodyRules, floor: int, inner: int, least: int) -> int | None:
    """Return how many layers are as thick as a wall: of the floor, or above so many of floor and inside, of the lid."""
    count = least
    while True:
        whole = stacked(rules.supply, *((floor, inner, count) if floor else (count, 0, 0)))
        if whole is None:
            return None
        if heights_mm(source.thickness_mm for source in whole[-count:])[-1] >= rules.wall_mm - EPS_MM:
            return count
        count += 1


def ring_mm(rules: BodyRules) -> float:
    """Return how high a seat the driver's ring needs."""
    rim = FRAME_RIM_MM if rules.recess_mm is None else FLANGE_MM + rules.least_web_mm
    return rules.frame_mm + 2 * (rim + rules.fit_mm)


def seat_span(rules: BodyRules, counts: LayerCount, chamber: Span) -> Span | None:
    """Return the layers over which the driver's ring stands about the middle of the chamber; None if they are too many.

    A seat is a whole number of layers high, so its top and bottom are the faces of layers, not of cuts. It may reach
    into floor and lid, but the outermost layers stay whole; the bore behind it stays within the chamber.
    """
    low, high = counts.z_mm[chamber[0]], counts.z_mm[chamber[1]]

    def holds(span: Span) -> bool:
        middle, half = counts.middle_mm(span), rules.bore_mm / 2
        return middle - half >= low - EPS_MM and middle + half <= high + EPS_MM

    return _about_the_middle(counts, chamber, ring_mm(rules), 1, (1, counts.total - 1), holds)


def plate_span(rules: BodyRules, counts: LayerCount, chamber: Span) -> Span | None:
    """Return the layers of the terminal plate about the middle of the chamber; None if they are too many.

    A layer at its top and one at its bottom hold it.
    """
    return _about_the_middle(counts, chamber, rules.plate_height_mm + 2 * rules.fit_mm, 3, chamber, lambda _: True)


def _about_the_middle(
    counts: LayerCount, chamber: Span, need_mm: float, least: int, within: Span, holds: Callable[[Span], bool]
) -> Span | None:
    """Return the layers that are together as high as needed, of which the middle is nearest to that of the chamber.

    Of layers that are equally thick so many or one more are taken, whichever can be centred; of others, whichever comes
    nearer to it.
    """
    middle, z = counts.middle_mm(chamber), counts.z_mm
    few = counts.total
    for first in range(within[0], within[1]):
        after = max(bisect_left(z, z[first] + need_mm - EPS_MM), first + least)
        few = min(few, after - first if after <= within[1] else few)
    spans = [
        (first, first + number)
        for number in (few, few + 1)
        for first in range(within[0], within[1] - number + 1)
        if counts.between_mm((first, first + number)) >= need_mm - EPS_MM and holds((first, first + number))
    ]
    far = OFF_MIDDLE * max(counts.thickness_mm[slice(*chamber)])
    ranked = sorted((round(abs(counts.middle_mm(s) - middle), 3), s[1] - s[0], s) for s in spans)
    return ranked[0][2] if ranked and ranked[0][0] <= far else None
