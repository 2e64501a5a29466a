"""How to cut one stock: the nearest measured entry, one between two measured, or an estimate from energy per cut area.

A cut of thickness t made in N passes at feed v with optical power P puts ``P N / (v t)`` into each square
millimetre of the cut's side wall. That figure carries over between lasers and thicknesses better than power or
feed alone, but not well: it is good for a first coupon, never for a sheet.
"""

from __future__ import annotations

import math

from kerfwave.cut.between import interpolate
from kerfwave.cut.dated import newest_first
from kerfwave.cut.settings import Settings
from kerfwave.model.spec import Laser, RecipeEntry, Stock
from kerfwave.numfmt import fixed

# Limits within which a measured entry counts as measured on this laser and this sheet (our own choice).
POWER_LIMIT = 0.10  # of the laser's optical power
WAVELENGTH_LIMIT_NM = 15.0
THICKNESS_LIMIT_MM = 0.25

# Common practice: about 5.5 W on 6.35 mm plywood takes about 8 passes at 250 mm/min and full power.
PRACTICE_FEED_MM_MIN = 250.0
PRACTICE_ENERGY_J_MM2 = 5.5 * 8 * 60 / (PRACTICE_FEED_MM_MIN * 6.35)  # 1.663
PRACTICE_DENSITY_KG_M3 = 680.0  # birch plywood of that thickness: 670 to 710 on a panel maker's data sheet
# Hobby tests with 5 W diodes on thin plywood, fibreboard and basswood lie between 1.0 and 3.0 J/mm2.
ENERGY_UNCERTAINTY_PERCENT = 80.0
ESTIMATED_KERF_MM = 0.2  # services publish 0.15 to 0.25 mm for plywood of 1.6 to 6.4 mm
MANY_PASSES = 20


def energy_j_mm2(power_w: float, passes: int, feed_mm_min: float, thickness_mm: float) -> float:
    """Return the optical energy per cut area in J/mm2, all passes: ``60 P N / (v t)``."""
    return 60 * power_w * passes / (feed_mm_min * thickness_mm)


def look_up(
    entries: tuple[RecipeEntry, ...],
    laser: Laser,
    stock: Stock,
    *,
    max_feed_mm_min: float,
    air_assist: bool | None = None,
) -> Settings:
    """Return how to cut `stock` with `laser`.

    The nearest measured entry of the same material and glue is taken as it stands, if its optical power lies
    within 10 %, its wavelength within 15 nm and its thickness within 0.25 mm of the mean of the readings, if the
    machine reaches its feed, and if it was cut with the air assist that is asked for. "Nearest" is the root of
    the sum of squares of the three differences, each as a share of its limit; of entries that are equally near the
    one of the newest date is taken, then by name. Nothing is scaled: what differs is said in the provenance. Without
    such an entry, the recipe lies between two measured ones on either side of this thickness or power
    (`between.interpolate`, not verified); without these it is an `estimate`.

    `max_feed_mm_min` is the machine's fastest feed; `air_assist` True or False asks for it, None takes either.
    """
    thickness = thickness_mm(stock)
    known = [
        entry
        for entry in entries
        if entry.provenance.measured
        and entry.material == stock.material
        and entry.glue == stock.glue
        and entry.feed_mm_min <= max_feed_mm_min
        and (air_assist is None or entry.air_assist == air_assist)
    ]
    fitting = [entry for entry in known if distance(entry, laser, thickness) is not None]
    if not fitting:
        between = interpolate(
            [e for e in known if abs(e.wavelength_nm - laser.wavelength_nm) <= WAVELENGTH_LIMIT_NM],
            laser,
            stock,
            thickness,
            max_feed_mm_min=max_feed_mm_min,
            power_limit=POWER_LIMIT,
            thickness_limit_mm=THICKNESS_LIMIT_MM,
        )
        return between or estimate(laser, stock, max_feed_mm_min=max_feed_mm_min, air_assist=bool(air_assist))
    entry = min(fitting, key=lambda e: (round(distance(e, laser, thickness) or 0.0, 6), *newest_first(e)))
    power_w = laser.optical_power_w * entry.power_percent / 100
    return Settings(
        stock=stock.name,
        power_percent=entry.power_percent,
        feed_mm_min=entry.feed_mm_min,
        passes=entry.passes,
        kerf_mm=entry.kerf_mm,
        air_assist=entry.air_assist,
        verified=True,
        provenance=_measured_sentence(entry, laser, stock, thickness),
        energy_j_mm2=energy_j_mm2(power_w, entry.passes, entry.feed_mm_min, thickness),
        kerf_top_mm=entry.kerf_top_mm,
        kerf_bottom_mm=entry.kerf_bottom_mm,
        pass_order=entry.pass_order,
        focus_offset_mm=entry.focus_offset_mm,
        focus_step_mm=entry.focus_step_mm,
        bridges=entry.bridges,
        score_power_percent=entry.score_power_percent,
        score_feed_mm_min=entry.score_feed_mm_min,
        notes=entry.notes,
    )


def distance(entry: RecipeEntry, laser: Laser, thickness_mm: float) -> float | None:
    """Return how far `entry` is from this laser and thickness, 0 for the same; None where a limit is exceeded."""
    shares = (
        (entry.optical_power_w / laser.optical_power_w - 1) / POWER_LIMIT,
        (entry.wavelength_nm - laser.wavelength_nm) / WAVELENGTH_LIMIT_NM,
        (entry.thickness_mm - thickness_mm) / THICKNESS_LIMIT_MM,
    )
    # A figure written as exactly 10 % off must not fall outside by the last bit of a float.
    return None if any(abs(share) > 1 + 1e-9 for share in shares) else math.hypot(*shares)


def estimate(laser: Laser, stock: Stock, *, max_feed_mm_min: float, air_assist: bool = False) -> Settings:
    """Return an unverified recipe from energy per cut area (common practice, scaled by density).

    Full power; passes are rounded up at about 250 mm/min and the feed then raised to meet the energy, rounded
    down to 10 mm/min. Where even one pass at the machine's fastest feed is too much, the power is lowered.
    """
    thickness = thickness_mm(stock)
    wanted = PRACTICE_ENERGY_J_MM2 * stock.density_kg_m3 / PRACTICE_DENSITY_KG_M3
    slow = min(PRACTICE_FEED_MM_MIN, max_feed_mm_min)
    passes = max(1, math.ceil(wanted * slow * thickness / (60 * laser.optical_power_w) - 1e-9))
    feed = 60 * laser.optical_power_w * passes / (wanted * thickness)
    percent = 100.0
    if feed > max_feed_mm_min:
        percent = max(1.0, math.ceil(100 * max_feed_mm_min / feed))
        feed = max_feed_mm_min
    elif feed >= 20:
        feed = math.floor(feed / 10 + 1e-9) * 10.0
    power_w = laser.optical_power_w * percent / 100
    sentence = (
        f"Estimate, not measured: {fixed(wanted, 2)} J per mm2 of cut, from common practice "
        f"(5.5 W, 6.35 mm plywood, 8 passes at 250 mm/min) and the density of {stock.name}; "
        f"published tests differ from it by up to {fixed(ENERGY_UNCERTAINTY_PERCENT, 0)} %. "
        f"Cut a coupon before the first sheet, and put what you read into a recipe."
    )
    if passes > MANY_PASSES:
        sentence += f" {passes} passes are more than such a laser usually manages: it may char and never come through."
    return Settings(
        stock=stock.name,
        power_percent=percent,
        feed_mm_min=feed,
        passes=passes,
        kerf_mm=ESTIMATED_KERF_MM,
        air_assist=air_assist,
        verified=False,
        provenance=sentence,
        energy_j_mm2=energy_j_mm2(power_w, passes, feed, thickness),
        uncertainty_percent=ENERGY_UNCERTAINTY_PERCENT,
    )


def thickness_mm(stock: Stock) -> float:
    """Return the mean of the calliper readings; the label's word where there is none."""
    readings = stock.measured_mm
    return math.fsum(readings) / len(readings) if readings else stock.thickness_mm


def _measured_sentence(entry: RecipeEntry, laser: Laser, stock: Stock, thickness_mm: float) -> str:
    """Say when, by which coupon and by whom, and what was different then."""
    said = entry.provenance
    text = f"Measured: {entry.name}"
    text += f", on {said.date}" if said.date else ", date not given"
    text += f", from {said.coupon}" if said.coupon else ""
    text += f", by {said.by}" if said.by else ""
    text += f" ({said.note})" if said.note else ""
    differs = [
        f"{what} {fixed(then, digits)} {unit} then, {fixed(now, digits)} {unit} now"
        for what, then, now, unit, digits in (
            ("optical power", entry.optical_power_w, laser.optical_power_w, "W", 2),
            ("wavelength", entry.wavelength_nm, laser.wavelength_nm, "nm", 0),
            ("thickness", entry.thickness_mm, thickness_mm, "mm", 2),
        )
        if fixed(then, digits) != fixed(now, digits)
    ]
    text += f"; taken as it stands, not scaled: {', '.join(differs)}" if differs else ""
    text += "; the glue is unknown both times, so it may differ" if stock.glue == "unknown" else ""
    return text + "."
