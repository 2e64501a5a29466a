"""How a line of the list is made: group from the id, numbers rounded once, nothing without source and status."""

from __future__ import annotations

import math

from kerfwave.model.parts import SafetyLine
from kerfwave.numfmt import fixed

GROUPS = ("general", "material", "eyes", "fire", "fume", "sound", "electric", "handling")
LEVELS = ("stop", "fix-first", "duty", "note")
STATUSES = ("measured", "computed", "assumed", "published", "unknown")


def significant(value: float, figures: int = 6) -> float:
    """Round to so many significant figures, so that the last bit of a logarithm never reaches a file.

    They are more than anything shows: a number rounded twice could differ from the same number in the text.
    """
    if value == 0:
        return 0.0
    return round(float(value), figures - 1 - math.floor(math.log10(abs(value))))


def number(value: float, figures: int = 3) -> str:
    """Write a value with about three significant figures, no exponent.

    >>> number(1.2616), number(496.3), number(12990.0), number(0.00042)
    ('1.26', '496', '13000', '0.00042')
    """
    if value == 0:
        return "0"
    rounded = significant(value, figures)
    return fixed(rounded, max(0, figures - 1 - math.floor(math.log10(abs(rounded)))))


def line(
    ident: str,
    level: str,
    text: str,
    *,
    source: str,
    status: str,
    value: float | None = None,
    unit: str = "",
    limit: float | None = None,
    formula: str = "",
) -> SafetyLine:
    """Build one line. Its group is the first word of its id.

    Raises:
        ValueError: for a group, level or status that is not ours, a number without a unit, or a missing source.
    """
    group = ident.partition("-")[0]
    if group not in GROUPS or level not in LEVELS or status not in STATUSES or not source or not text:
        raise ValueError(f"malformed safety line {ident!r}: {level!r}, {status!r}, {source!r}")
    if (value is not None or limit is not None) and not unit:
        raise ValueError(f"safety line {ident!r} has a number without a unit")
    return SafetyLine(
        id=ident,
        group=group,
        level=level,
        text=text,
        value=None if value is None else significant(value),
        unit=unit,
        limit=None if limit is None else significant(limit),
        formula=formula,
        source=source,
        status=status,
    )
