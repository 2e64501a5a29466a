"""Which of equally near recipes comes first: the newest, as lasers wear, lenses get dirty and glues change."""

from __future__ import annotations

import re

from kerfwave.model.spec import RecipeEntry

_DATE = re.compile(r"(\d{4})(?:-(\d{2})(?:-(\d{2}))?)?")


def newest_first(entry: RecipeEntry) -> tuple[int, str]:
    """Return a key that sorts the newest date first, then by name.

    A date is a year, a month or a day as in ISO 8601 (2025, 2025-03, 2025-03-01). The shorter counts as the start of
    what it names. Any other wording, and none, counts as older than every date.
    """
    found = _DATE.fullmatch(entry.provenance.date.strip())
    year, month, day = (int(part or 0) for part in found.groups()) if found else (0, 0, 0)
    return -(10000 * year + 100 * month + day), entry.name
