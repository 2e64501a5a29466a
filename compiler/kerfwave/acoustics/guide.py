"""From the runs of a folded guide, as measured on the body, to the segments of the network."""

from __future__ import annotations

import math
from dataclasses import dataclass

from kerfwave.acoustics.bends import bend_segments
from kerfwave.model.acoustic import Air, GuideRun, Segment

FIBRE = " (fibre)"
SHORT_M = 0.005
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
    difference is a negative lump at its middle (`bends.bend_segments`).
    """
    fill = fill or Fill()
    filled = fill.guide_fraction * sum(run.length_m for run in runs) if fill.guide_pa_s_m2 > 0 else 0.0
    found: list[Segment] = []
    for run in runs:
        inside = min(max(filled, 0.0), run.length_m)
        if 0.0 < inside < run.length_m and (run.turn_deg or min(inside, run.length_m - inside) < SHORT_M):
            # Nobody stops the fibre within a bend or a few millimetres from a lane's end.
            inside = run.length_m if inside > run.length_m / 2 else 0.0
        filled -= run.length_m
        resistivity = fill.guide_pa_s_m2 if inside else 0.0
        if run.turn_deg:
            angle = math.radians(abs(run.turn_deg))
            name = run.name + (FIBRE if inside else "")
            found += bend_segments(name, run.width_m, run.inner_radius_m, angle, run.height_m, air, resistivity)
        else:
            area, perimeter = run.width_m * run.height_m, 2 * (run.width_m + run.height_m)
            parts = ((inside, resistivity, FIBRE), (run.length_m - inside, 0.0, ""))
            found += [
                Segment(run.name + note, length, area, area, perimeter, perimeter, 0.0, sigma)
                for length, sigma, note in parts
                if length > 0.0
            ]
    return tuple(found)
