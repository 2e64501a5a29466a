"""From the runs of a folded guide, as measured on the body, to the segments of the network."""

from __future__ import annotations

import math
from dataclasses import dataclass

from kerfwave.acoustics.bends import bend_correction
from kerfwave.model.acoustic import Air, GuideRun, Segment

FIBRE_DIAMETER_M = 30e-6  # polyester wadding, middle of the range the formula below was fitted to


@dataclass(frozen=True, slots=True)
class Fill:
    """Loose fibre: how strongly it resists flow, and how much of the guide (from the chamber on) and chamber has it."""

    guide_pa_s_m2: float = 0.0
    guide_fraction: float = 0.0
    chamber_pa_s_m2: float = 0.0


def packing_kg_m3(flow_resistivity_pa_s_m2: float) -> float:
    """Return how densely to pack polyester fibre for a flow resistivity; kg/m^3 is also grams per litre.

    sigma = 25.909e-9 rho^1.404 / d^2, Garai and Pompoli 2005 as reprinted in Cox and D'Antonio, table 5.1, for
    fibres of 18 to 48 um and 12 to 60 kg/m^3, turned round. What is packed by hand varies by some 30 %.
    """
    return float((flow_resistivity_pa_s_m2 * FIBRE_DIAMETER_M**2 / 25.909e-9) ** (1 / 1.404))


def segments(runs: tuple[GuideRun, ...], air: Air, fill: Fill | None = None) -> tuple[Segment, ...]:
    """Return the guide as network segments, split where the fibre ends.

    A bend of constant section keeps the volume of its centreline length and has less inertance than that; the
    difference is the negative lump at its inlet (`bends.bend_correction`).
    """
    fill = fill or Fill()
    filled = fill.guide_fraction * sum(run.length_m for run in runs) if fill.guide_pa_s_m2 > 0 else 0.0
    found: list[Segment] = []
    for run in runs:
        area, perimeter = run.width_m * run.height_m, 2 * (run.width_m + run.height_m)
        lump = (
            bend_correction(run.width_m, run.inner_radius_m, math.radians(abs(run.turn_deg)), run.height_m, air)
            if run.turn_deg
            else 0.0
        )
        inside = min(max(filled, 0.0), run.length_m)
        if 0.0 < inside < run.length_m and (run.turn_deg or run.length_m - inside < 0.005 or inside < 0.005):
            # Nobody stops the fibre within a bend or a few millimetres from a lane's end.
            inside = run.length_m if inside > run.length_m / 2 else 0.0
        filled -= run.length_m
        for length, resistivity, part in (
            (inside, fill.guide_pa_s_m2, " (fibre)"),
            (run.length_m - inside, 0.0, ""),
        ):
            if length > 0.0:
                found.append(Segment(run.name + part, length, area, area, perimeter, perimeter, lump, resistivity))
                lump = 0.0
    return tuple(found)
