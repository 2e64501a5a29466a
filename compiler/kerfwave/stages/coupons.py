"""Coupons: a drawing of every test cut."""

from __future__ import annotations

from kerfwave.cut import Coupon
from kerfwave.stages.files import Files
from kerfwave.writers.sheets import coupon_svg


def run(coupons: tuple[Coupon, ...]) -> Files:
    """Run the stage."""
    found = {
        f"sheets/{coupon.program.name}.svg": coupon_svg(coupon.program, coupon.pieces, placements=coupon.placements)
        for coupon in coupons
    }
    return Files(tuple(sorted(found.items())))
