"""Sentences that say in words what a drawing shows."""

from __future__ import annotations

import math

from kerfwave.model.breakdown import StraightCut
from kerfwave.model.parts import Layer
from kerfwave.writers.words import mm, mm_and_inches


def cut_text(number: int, cut: StraightCut) -> str:
    """Return what to do for one cut, a sentence."""
    upright = cut.start_mm[0] == cut.end_mm[0]
    edge, whole = ("left", "from bottom to top") if upright else ("lower", "from left to right")
    times = "once" if cut.runs == 1 else f"{cut.runs} times, each run 10 mm over the one before"
    return (
        f"Cut {number}: {mm_and_inches(cut.size_mm)} from the {edge} edge, {whole}, "
        f"{mm(math.dist(cut.start_mm, cut.end_mm))} long. "
        f"Scribe the line at {mm(cut.stop_mm, 2)}, or set the stop so far from the beam; run the line {times}."
    )


def layer_text(layer: Layer) -> str:
    """Return the line under a layer's picture: its thickness, with inches beside, and where it lies."""
    top = layer.z_mm + layer.thickness_mm
    return f"{mm_and_inches(layer.thickness_mm)} {layer.stock}, from {mm(layer.z_mm)} to {mm(top)} up the stack"
