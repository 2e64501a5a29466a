"""From the runs of a folded guide, as measured on the body, to the segments of the network."""

from __future__ import annotations

import math
from dataclasses import dataclass

from kerfwave.acoustics.bends import bend_correction, passage_correction, sharp_corner_correction
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
    difference is a negative lump at its middle (see `bends.bend_segments` on why there).
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
        parts = (
            ((run.length_m, resistivity, FIBRE if inside else ""),)
            if run.turn_deg
            else ((inside, resistivity, FIBRE), (run.length_m - inside, 0.0, ""))
        )
        done = 0.0
        for length, sigma, note in parts:
            if length > 0.0:
                start, stop = done / run.length_m, (done + length) / run.length_m
                found += _bend(run, note, sigma, air) if run.turn_deg else [_straight(run, start, stop, note, sigma)]
                done += length
    return tuple(found)


def _straight(run: GuideRun, start: float, stop: float, note: str, sigma: float, lump: float = 0.0) -> Segment:
    """Return part of a run as a segment, with a lump at its inlet."""
    widths = [run.width_in_m + (run.width_out_m - run.width_in_m) * part for part in (start, stop)]
    (area_in, perimeter_in), (area_out, perimeter_out) = ((w * run.height_m, 2 * (w + run.height_m)) for w in widths)
    length = (stop - start) * run.length_m
    return Segment(run.name + note, length, area_in, area_out, perimeter_in, perimeter_out, lump, sigma)


def _bend(run: GuideRun, note: str, sigma: float, air: Air) -> list[Segment]:
    """Return a bend as two halves with its whole correction between them, worked out at its mean width."""
    width, angle = (run.width_in_m + run.width_out_m) / 2, math.radians(abs(run.turn_deg))
    if run.gap_m <= 0.0:
        lump = bend_correction(width, run.inner_radius_m, angle, run.height_m, air)
    elif abs(run.turn_deg) > 90.0:
        lump = passage_correction(run.height_m, run.floor_m, run.gap_m, width, air)
    else:  # from the chamber: the floor's hole is a straight, behind it is one corner
        lump = sharp_corner_correction(width, air)
    early = _straight(run, 0.0, 0.5, f"{note}, first half", sigma)
    return [early, _straight(run, 0.5, 1.0, f"{note}, second half", sigma, lump)]
