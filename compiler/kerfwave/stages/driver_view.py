"""What the guide shows of the driver: every small-signal parameter, stated or derived."""

from __future__ import annotations

import math

from kerfwave.numfmt import fixed
from kerfwave.stages.facts import Facts
from kerfwave.writers.guide_model import Table

FIGURES = 4


def driver_table(facts: Facts) -> Table:
    """Return the driver's parameters: what the data sheet states, and what follows from what."""
    return Table(
        f"The driver's small-signal parameters, {facts.spec.driver.name}",
        ("Parameter", "Value", "Unit", "How"),
        tuple((p.name, _figures(p.value), p.unit, p.how) for p in facts.driver),
    )


def _figures(value: float) -> str:
    if value <= 0.0:
        return "0"
    return fixed(value, max(0, FIGURES - 1 - math.floor(math.log10(value))))
