"""The page that goes with test cuts: what each is for, how to read it, and a table to fill in with a pencil."""

from __future__ import annotations

from kerfwave.writers.guide import render_page
from kerfwave.writers.guide_model import CouponView, Table


def render_reading(title: str, provenance: str, coupons: tuple[tuple[CouponView, Table], ...], folder: str) -> str:
    """Return one HTML document that works offline and prints; a table without rows is left out.

    `folder` is where such a page lies by default, for the command that writes down what was read.
    """
    return render_page("reading.html.jinja", title=title, provenance=provenance, coupons=coupons, folder=folder)
