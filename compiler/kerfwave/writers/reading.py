"""The page that goes with test cuts: what each is for, how to read it, and a table to fill in with a pencil."""

from __future__ import annotations

from markupsafe import Markup

from kerfwave.writers.guide import CouponView, Table, _asset, _digest, _environment, _without_blank_lines


def render_reading(title: str, provenance: str, coupons: tuple[tuple[CouponView, Table], ...], folder: str) -> str:
    """Return one HTML document that works offline and prints; a table without rows is left out.

    `folder` is where such a page lies by default, for the command that writes down what was read.
    """
    style = _asset("guide.css")
    page = (
        _environment()
        .get_template("reading.html.jinja")
        .render(
            title=title,
            provenance=provenance,
            coupons=coupons,
            folder=folder,
            style=Markup(style),
            policy=f"default-src 'none'; style-src {_digest(style)}; base-uri 'none'; form-action 'none'",
        )
    )
    return _without_blank_lines(page) + "\n"
