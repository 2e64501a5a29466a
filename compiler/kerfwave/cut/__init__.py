"""The cutting room: how to cut (recipe), where the beam runs (paths), how long it takes, and the proof of it.

Recipes are looked up or estimated from energy per cut area, every contour is offset by half a kerf into the waste
and put in an order that never cuts a loose piece, coupons measure what the recipe needs, and `verify` reads each
program's text back and holds it against the pieces.
"""

from kerfwave.cut.check import prove, safe, shared_out, silent, verify
from kerfwave.cut.correction import corrected
from kerfwave.cut.coupon import Coupon, design
from kerfwave.cut.course import Course, course_of
from kerfwave.cut.errors import CutError, KerfTooWide, OutsideBed
from kerfwave.cut.outline import outline_program, outline_recipe
from kerfwave.cut.paths import SheetJob, job, sheet_job, sheet_program
from kerfwave.cut.piecewise import Share, piece_routes
from kerfwave.cut.recipe import look_up
from kerfwave.cut.resume import RestartPoint, prove_rest, rest_of, restart_points
from kerfwave.cut.routes import Planned, Route, planned, whole_route
from kerfwave.cut.settings import Settings, bridges_wanted
from kerfwave.cut.straight import line_of, straight_program
from kerfwave.cut.testcuts import all_coupons, axes_of, square_side_mm
from kerfwave.cut.time import estimate
from kerfwave.cut.usage import Usage, usage

__all__ = [
    "Coupon",
    "Course",
    "CutError",
    "KerfTooWide",
    "OutsideBed",
    "Planned",
    "RestartPoint",
    "Route",
    "Settings",
    "Share",
    "SheetJob",
    "Usage",
    "all_coupons",
    "axes_of",
    "bridges_wanted",
    "corrected",
    "course_of",
    "design",
    "estimate",
    "job",
    "line_of",
    "look_up",
    "outline_program",
    "outline_recipe",
    "piece_routes",
    "planned",
    "prove",
    "prove_rest",
    "rest_of",
    "restart_points",
    "safe",
    "shared_out",
    "sheet_job",
    "sheet_program",
    "silent",
    "square_side_mm",
    "straight_program",
    "usage",
    "verify",
    "whole_route",
]
