"""Slices: the layers, the insets, and the rules that both must keep."""

from __future__ import annotations

from dataclasses import dataclass

from kerfwave.body.air import Body
from kerfwave.body.checks import check_body
from kerfwave.body.insets import insets
from kerfwave.body.slices import slices
from kerfwave.body.strength import check_panels
from kerfwave.model.parts import Check, Layer, Piece
from kerfwave.model.spec import Driver, Terminals


@dataclass(frozen=True, slots=True)
class Sliced:
    """Everything there is to cut."""

    layers: tuple[Layer, ...]
    pieces: tuple[Piece, ...]
    insets: tuple[Piece, ...]
    checks: tuple[Check, ...]


ALONG_FRONT = "x"  # where a sheet's grain matters, it runs along the front of every layer, and across the insets


def run(
    body: Body,
    driver: Driver,
    terminals: Terminals,
    panel_hz: float | None,
    stock: str,
    sheet_grain: str | None,
    density_kg_m3: float,
    youngs_gpa: float | None,
) -> Sliced:
    """Run the stage."""
    grain = None if sheet_grain is None else ALONG_FRONT
    cut = slices(body, stock, grain=grain)
    across = insets(body, driver, terminals, grain=grain)
    panels = check_panels(body, density_kg_m3, youngs_gpa, panel_hz)
    return Sliced(cut.layers, cut.pieces, across, (*check_body(body, cut, across), panels))
