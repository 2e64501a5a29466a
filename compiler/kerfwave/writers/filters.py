"""Filter coefficients as plain JSON and CSV, for whatever shapes the signal before the amplifier."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from typing import Protocol

from kerfwave.numfmt import fixed

FORMAT = "kerfwave-filters-1"
NUMBERS = ("b0", "b1", "b2", "a1", "a2")
COEFFICIENT_DECIMALS = 15


class Filter(Protocol):
    """A biquad: what it is for, and its coefficients normalised to a0 = 1."""

    @property
    def kind(self) -> str: ...  # noqa: D102
    @property
    def frequency_hz(self) -> float: ...  # noqa: D102
    @property
    def q(self) -> float: ...  # noqa: D102
    @property
    def gain_db(self) -> float: ...  # noqa: D102
    @property
    def b0(self) -> float: ...  # noqa: D102
    @property
    def b1(self) -> float: ...  # noqa: D102
    @property
    def b2(self) -> float: ...  # noqa: D102
    @property
    def a1(self) -> float: ...  # noqa: D102
    @property
    def a2(self) -> float: ...  # noqa: D102


def _texts(one: Filter) -> dict[str, str]:
    found = {"kind": one.kind, "frequency_hz": fixed(one.frequency_hz, 2), "q": fixed(one.q, 4)}
    found["gain_db"] = fixed(one.gain_db, 2)
    return found | {name: fixed(getattr(one, name), COEFFICIENT_DECIMALS) for name in NUMBERS}


def filters_json(filters: Sequence[Filter], sample_rate_hz: float) -> str:
    """Return the filters as JSON; y[n] = b0 x[n] + b1 x[n-1] + b2 x[n-2] - a1 y[n-1] - a2 y[n-2]."""
    rows = []
    for one in filters:
        texts = _texts(one)
        rows.append({key: text if key == "kind" else float(text) for key, text in texts.items()})
    data = {
        "format": FORMAT,
        "sample_rate_hz": sample_rate_hz,
        "equation": "y[n] = b0 x[n] + b1 x[n-1] + b2 x[n-2] - a1 y[n-1] - a2 y[n-2]",
        "filters": rows,
    }
    return json.dumps(data, indent=1, sort_keys=True) + "\n"


def filters_csv(filters: Sequence[Filter]) -> str:
    """Return the filters as CSV, one a row, in the order in which they follow each other."""
    out = io.StringIO()
    writer = csv.DictWriter(out, ("kind", "frequency_hz", "q", "gain_db", *NUMBERS), lineterminator="\n")
    writer.writeheader()
    for one in filters:
        writer.writerow(_texts(one))
    return out.getvalue()
