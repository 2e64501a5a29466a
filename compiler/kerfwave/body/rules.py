"""The sizes that follow from the driver, the sheet and the enclosure's rules, before anything is folded."""

from __future__ import annotations

import math
from dataclasses import dataclass

from kerfwave.body.fits import DOWEL_MM, FLANGE_MM, inset_play_mm
from kerfwave.model.spec import Driver, Enclosure

BASKET_PLAY_MM = 1.0  # between basket and bore, each side (common practice: a millimetre or so)
MAGNET_GAP_MM = 8.0  # air behind the magnet (common practice: enough not to choke a vented pole)
FRAME_RIM_MM = 0.5  # what shows of the ring around the driver's frame, at least, each side
SHOULDER_MM = 4.0  # wood behind the ring that it is glued to


@dataclass(frozen=True, slots=True)
class BodyRules:
    """Sizes in mm that every fold of one spec has to respect."""

    stack: str
    thickness_mm: float  # of one layer, as measured
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
    least_duct_mm: float


def body_rules(enclosure: Enclosure, driver: Driver, thickness_mm: float) -> BodyRules:
    """Derive the rules of one spec.

    The front wall of an upright body holds the ring flush and a shoulder behind it; the wall that carries the
    terminal plate holds the plate flush and a web behind it.
    """
    upright = enclosure.stack == "upright"
    fit = inset_play_mm(enclosure.inset_fit, enclosure.fit_mm)
    deep = thickness_mm if enclosure.recess else 0.0  # how far behind the front the flange is seated
    rim = FLANGE_MM + enclosure.least_web_mm if enclosure.recess else FRAME_RIM_MM + 2.0
    return BodyRules(
        stack=enclosure.stack,
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
        least_duct_mm=enclosure.least_duct_mm,
    )


@dataclass(frozen=True, slots=True)
class LayerCount:
    """How many layers close each end of the stack, and how many have air in them."""

    floor: int  # layer 1 upwards; the front of a facing stack
    inner: int
    lid: int

    @property
    def total(self) -> int:
        """All layers."""
        return self.floor + self.inner + self.lid


def layer_counts(rules: BodyRules, driver: Driver, height_mm: float) -> tuple[LayerCount, ...]:
    """Return every stack that stands within `height_mm` and takes the driver, lowest first; maybe none."""
    t = rules.thickness_mm
    # A recess takes the first layer of a facing stack; the flange needs another to lie on.
    least = 2 if rules.recess_mm is not None and rules.stack == "facing" else 1
    closing = max(least, math.ceil(rules.wall_mm / t - 1e-9))
    most = math.floor(height_mm / t + 1e-9)
    found = []
    for total in range(2 * closing + 1, most + 1):
        count = LayerCount(closing, total - 2 * closing, closing)
        inner_mm = count.inner * t
        if rules.stack == "upright":
            fits = inner_mm >= rules.bore_mm - 1e-9 and seat_layers(rules, total) is not None
            fits = fits and inner_mm >= plate_layers(rules, total) * t - 1e-9
        else:
            fits = closing * t + inner_mm >= rules.reach_mm - 1e-9
            fits = fits and inner_mm >= plate_layers(rules, total) * t - 1e-9
        if fits:
            found.append(count)
    return tuple(found)


def seat_layers(rules: BodyRules, total: int) -> int | None:
    """Return over how many layers the driver's ring stands, centred in a stack; None if they are too many for it."""
    layers = ring_layers(rules, total)
    return layers if layers <= total - 2 else None


def ring_layers(rules: BodyRules, middle: int) -> int:
    """Return how many layers the frame needs about a middle, which comes doubled: for the whole stack, its layers.

    The seat is a whole number of layers high, so its top and bottom are the faces of layers, not of cuts.
    """
    rim = FRAME_RIM_MM if rules.recess_mm is None else FLANGE_MM + rules.least_web_mm
    need = math.ceil((rules.frame_mm + 2 * (rim + rules.fit_mm)) / rules.thickness_mm - 1e-9)
    return need if (middle - need) % 2 == 0 else need + 1


def plate_layers(rules: BodyRules, middle: int) -> int:
    """Return over how many layers the terminal plate stands about a middle, which comes doubled."""
    need = max(3, math.ceil((rules.plate_height_mm + 2 * rules.fit_mm) / rules.thickness_mm - 1e-9))
    return need if (middle - need) % 2 == 0 else need + 1
