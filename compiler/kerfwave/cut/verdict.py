"""How a proof is told: the rule that was kept, or the first few of what broke it."""

from __future__ import annotations

from collections.abc import Iterable

from kerfwave.model.parts import Check

SAY = 3  # so many examples in one message


def verdict(id_: str, good: str, bad: Iterable[str], value: float | None = None, limit: float | None = None) -> Check:
    """Return the check of one rule: "ok" with the text `good`, or "fail" with what is `bad`."""
    said = list(bad)
    if not said:
        return Check(id_, "ok", good, value, limit)
    more = f"; and {len(said) - SAY} more" if len(said) > SAY else ""
    return Check(id_, "fail", "; ".join(said[:SAY]) + more, value, limit)
