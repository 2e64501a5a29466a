"""Rules: what the sliced body must keep, so that it can be cut, glued and used. Nothing is cut otherwise for it."""

from __future__ import annotations

from dataclasses import dataclass

from kerfwave.body.air import Body
from kerfwave.body.checks import check_body
from kerfwave.body.slices import Slices, joints
from kerfwave.body.strength import check_panels
from kerfwave.model.parts import Check, Piece
from kerfwave.model.spec import Driver


@dataclass(frozen=True, slots=True)
class Ruled:
    """Each rule with its value and its limit, and how much wood lies on wood."""

    checks: tuple[Check, ...]
    joints_mm2: tuple[float, ...]  # between each layer and the next one


def run(
    body: Body,
    plain: Slices,
    across: tuple[Piece, ...],
    driver: Driver,
    density_kg_m3: float,
    youngs_gpa: float | None,
    panel_hz: float | None,
) -> Ruled:
    """Run the stage; `plain` and `across` are the layers, pieces and insets of one body, without marks."""
    return Ruled(
        (*check_body(body, plain, across, driver), check_panels(body, density_kg_m3, youngs_gpa, panel_hz)),
        tuple(float(joint.area) for joint in joints(plain)),
    )
