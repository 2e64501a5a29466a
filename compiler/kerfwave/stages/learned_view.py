"""What the guide shows of the measurements: the values with their dates."""

from __future__ import annotations

from kerfwave.numfmt import fixed
from kerfwave.stages.facts import Facts
from kerfwave.writers.guide_model import Table


def learned_tables(facts: Facts) -> tuple[Table, ...]:
    """Return the table of what was measured; nothing where nothing was."""
    values = facts.learned.measured.values
    if not values:
        return ()
    rows = tuple(
        (
            v.meaning,
            fixed(v.value, 3),
            "" if v.standard is None else f"± {fixed(v.standard, 3)}",
            "" if v.unit == "1" else v.unit,
            v.date,
            v.source,
        )
        for v in values
    )
    return (Table("What was measured on the finished speaker", ("What", "Value", "", "Unit", "Date", "From"), rows),)
