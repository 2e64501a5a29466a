"""A recipe between two measured ones: of two thicknesses, or of two laser powers, never beyond either.

Energy per cut area (`kerfwave.cut.recipe.energy_j_mm2`), feed, power and kerf are taken in proportion. Both entries
must be of the same material, glue and air assist, and within the wavelength's limit of this laser; the larger
thickness (or power) is at most twice the smaller. These limits are our own choice, and so is the uncertainty: half of
what the two energies differ by, and never less than 20 %.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from kerfwave.cut.dated import newest_first
from kerfwave.cut.settings import Settings
from kerfwave.model.spec import Laser, RecipeEntry, Stock
from kerfwave.numfmt import fixed

WIDEST_RATIO = 2.0
LEAST_UNCERTAINTY_PERCENT = 20.0


def interpolate(
    entries: Sequence[RecipeEntry],
    laser: Laser,
    stock: Stock,
    thickness_mm: float,
    *,
    max_feed_mm_min: float,
    power_limit: float,
    thickness_limit_mm: float,
) -> Settings | None:
    """Return the recipe between the two nearest entries on either side; None if there are no two such entries.

    `entries` are measured, of this stock and of about this wavelength. First those of this power and two thicknesses
    are looked at, then those of this thickness and two powers.
    """
    power = laser.optical_power_w
    same_power = [e for e in entries if abs(e.optical_power_w / power - 1) <= power_limit + 1e-9]
    same_thickness = [e for e in entries if abs(e.thickness_mm - thickness_mm) <= thickness_limit_mm + 1e-9]
    for kind, unit, near, now in (
        ("thickness_mm", "mm", same_power, thickness_mm),
        ("optical_power_w", "W", same_thickness, power),
    ):
        pair = _either_side(near, kind, now)
        if pair is not None:
            low, high = (getattr(e, kind) for e in pair)
            share = (now - low) / (high - low)
            words = " and ".join(f"{e.name} ({fixed(getattr(e, kind), 2)} {unit})" for e in pair)
            return _mixed(*pair, share, words, laser, stock, thickness_mm, max_feed_mm_min)
    return None


def _either_side(entries: Sequence[RecipeEntry], kind: str, now: float) -> tuple[RecipeEntry, RecipeEntry] | None:
    """Return the nearest entry below and the nearest above; of equals, the newest."""
    below = [e for e in entries if getattr(e, kind) < now]
    above = [e for e in entries if getattr(e, kind) > now]
    if not below or not above:
        return None
    low = min(below, key=lambda e: (-getattr(e, kind), *newest_first(e)))
    high = min(above, key=lambda e: (getattr(e, kind), *newest_first(e)))
    near = getattr(high, kind) <= WIDEST_RATIO * getattr(low, kind)
    return (low, high) if near and low.air_assist == high.air_assist else None


def _mixed(
    low: RecipeEntry,
    high: RecipeEntry,
    share: float,
    words: str,
    laser: Laser,
    stock: Stock,
    thickness_mm: float,
    max_feed_mm_min: float,
) -> Settings:
    def mix(a: float, b: float) -> float:
        return a + share * (b - a)

    def mix_known(a: float | None, b: float | None) -> float | None:
        return None if a is None or b is None else round(mix(a, b), 4)

    energies = [
        60 * e.optical_power_w * e.power_percent / 100 * e.passes / (e.feed_mm_min * e.thickness_mm)
        for e in (low, high)
    ]
    energy = mix(*energies)
    percent = round(mix(low.power_percent, high.power_percent), 1)
    power_w = laser.optical_power_w * percent / 100
    slow = mix(low.feed_mm_min, high.feed_mm_min)
    passes = max(1, math.ceil(energy * slow * thickness_mm / (60 * power_w) - 1e-9))
    feed = min(60 * power_w * passes / (energy * thickness_mm), max_feed_mm_min)
    feed = math.floor(feed / 10 + 1e-9) * 10.0 if feed >= 20 else feed
    spread = 50 * abs(energies[1] - energies[0]) / energy
    uncertainty = float(max(LEAST_UNCERTAINTY_PERCENT, math.ceil(spread)))
    nearest = low if share <= 0.5 else high
    return Settings(
        stock=stock.name,
        power_percent=percent,
        feed_mm_min=feed,
        passes=passes,
        kerf_mm=round(mix(low.kerf_mm, high.kerf_mm), 4),
        air_assist=low.air_assist,
        verified=False,
        provenance=f"Between two measured recipes, itself not measured: {words}; the energy may be off by "
        f"{fixed(uncertainty, 0)} %. Cut a coupon before the first sheet, and put what you read into a recipe.",
        energy_j_mm2=60 * power_w * passes / (feed * thickness_mm),
        uncertainty_percent=uncertainty,
        kerf_top_mm=mix_known(low.kerf_top_mm, high.kerf_top_mm),
        kerf_bottom_mm=mix_known(low.kerf_bottom_mm, high.kerf_bottom_mm),
        pass_order=nearest.pass_order,
        focus_offset_mm=nearest.focus_offset_mm,
        focus_step_mm=nearest.focus_step_mm,
        bridges=nearest.bridges,
        notes=nearest.notes,
    )
