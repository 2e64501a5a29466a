"""The cutting room: how to cut (recipe), where the beam runs (paths), how long it takes, and the proof of it.

Recipes are looked up or estimated from energy per cut area, every contour is offset by half a kerf into the waste
and put in an order that never cuts a loose piece, coupons measure what the recipe needs, and `verify` reads each
program's text back and holds it against the pieces.
"""

from kerfwave.cut.check import safe, verify
from kerfwave.cut.coupon import Coupon, design
from kerfwave.cut.errors import CutError, KerfTooWide, OutsideBed
from kerfwave.cut.paths import sheet_program
from kerfwave.cut.recipe import look_up
from kerfwave.cut.settings import Settings
from kerfwave.cut.time import estimate

__all__ = [
    "Coupon",
    "CutError",
    "KerfTooWide",
    "OutsideBed",
    "Settings",
    "design",
    "estimate",
    "look_up",
    "safe",
    "sheet_program",
    "verify",
]
