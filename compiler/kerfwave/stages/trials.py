"""Trials: the test cuts as far as their drawings show them, which no feed or power changes."""

from __future__ import annotations

from dataclasses import dataclass, replace

from kerfwave.cut import Coupon
from kerfwave.model.parts import Contour, Move


@dataclass(frozen=True, slots=True)
class Trials:
    """The test cuts."""

    coupons: tuple[Coupon, ...]  # their moves at full power or none, and at no feed, so that they take no time


def run(coupons: tuple[Coupon, ...]) -> Trials:
    """Run the stage."""
    return Trials(tuple(map(_shown, coupons)))


def _shown(coupon: Coupon) -> Coupon:
    contours = tuple(map(_line, coupon.program.contours))
    return replace(coupon, program=replace(coupon.program, contours=contours, time_s=0.0, times_s=()))


def _line(contour: Contour) -> Contour:
    return replace(contour, moves=tuple(map(_stroke, contour.moves)))


def _stroke(move: Move) -> Move:
    return replace(move, power=1.0 if move.power > 0 else 0.0, feed_mm_min=0.0)
