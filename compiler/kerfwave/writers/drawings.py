"""All drawings by one name: sheets and coupons, layers and stack, the body in space, the path inside, pieces."""

from kerfwave.writers.breakdown import breakdown_svg
from kerfwave.writers.inside import plan_svg
from kerfwave.writers.layers import layer_svg
from kerfwave.writers.sheets import coupon_svg, sheet_svg
from kerfwave.writers.solid import closed_view_svg, exploded_view_svg
from kerfwave.writers.sorting import inset_svg, pieces_svg
from kerfwave.writers.stack import stack_svg

__all__ = [
    "breakdown_svg",
    "closed_view_svg",
    "coupon_svg",
    "exploded_view_svg",
    "inset_svg",
    "layer_svg",
    "pieces_svg",
    "plan_svg",
    "sheet_svg",
    "stack_svg",
]
