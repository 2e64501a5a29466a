"""Tell two reports apart."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from kerfwave.compare.alike import alike
from kerfwave.compare.headlines import BAND_HZ, HEADLINES, curve, steps, value_at
from kerfwave.compare.model import Comparison, LevelChange, Moved
from kerfwave.compare.pieces import compare_pieces, count_placed_elsewhere
from kerfwave.compare.reach import reached_in_reports
from kerfwave.compare.sheets import compare_sheets, cutting_notes

_NOT_OF_THE_BENCH = {"spec_sha256", "version", "format"}
_TOLD_APART = {"pieces", "checks", "safety"}
_CHECK_LEVELS = ("ok", "warn", "fail")
_SAFETY_LEVELS = ("note", "duty", "fix-first", "stop")
_OUTCOMES = ("proceed", "fix-first", "stop")


def compare(a: Mapping[str, Any], b: Mapping[str, Any]) -> Comparison:
    """Return what moved from report `a` to report `b` (see the package contract for their keys).

    Keys that a report does not have are taken for what they are: absent. The reports are expected in the shape that
    `load_report` lets through.
    """
    numbers, covered = _numbers(a, b)
    pieces = compare_pieces(a.get("pieces", ()), b.get("pieces", ()))
    checks = _levels(a.get("checks", ()), b.get("checks", ()), _CHECK_LEVELS)
    outcome = _levels(_outcome(a), _outcome(b), _OUTCOMES)
    safety = (*outcome, *_levels(a.get("safety", ()), b.get("safety", ()), _SAFETY_LEVELS))
    elsewhere = count_placed_elsewhere(a.get("pieces", ()), b.get("pieces", ()))
    if pieces or elsewhere:
        covered.add("pieces")
    told = (("checks", checks), ("safety", safety), ("outcome.safety", outcome), ("outcome.failed_checks", checks))
    covered.update(name for name, changes in told if changes)
    sheets, to_cut = compare_sheets(a, b)
    return Comparison(
        name_a=str(a.get("name", "")),
        name_b=str(b.get("name", "")),
        same_spec=a.get("spec_sha256") == b.get("spec_sha256"),
        numbers=numbers,
        pieces=pieces,
        placed_elsewhere=elsewhere,
        checks=checks,
        safety=safety,
        others=tuple(path for path in _differing(a, b) if path not in covered and path.split(".")[0] not in covered),
        sheets=sheets,
        to_cut=to_cut,
        notes=cutting_notes(a, b),
        reached=reached_in_reports(a, b),
        spec_sha256_a=str(a.get("spec_sha256", "")),
        spec_sha256_b=str(b.get("spec_sha256", "")),
    )


def _numbers(a: Mapping[str, Any], b: Mapping[str, Any]) -> tuple[tuple[Moved, ...], set[str]]:
    """Return the headline numbers that moved by more than their last decimal, and what they speak for."""
    found, covered = [], set()
    for headline in HEADLINES:
        before, after = (_rounded(headline.read(report), headline.decimals) for report in (a, b))
        if before == after:
            continue
        if before is None or after is None:
            word = "new" if before is None else "gone"
        else:
            word = headline.up if after > before else headline.down
        found.append(Moved(headline.name, before, after, headline.unit, word, headline.decimals))
        covered.add(headline.covers)
    at_one = _level_where_it_differs_most(a, b)
    if at_one is not None:
        found.insert(0, at_one)
        covered.add("acoustics.response")
    return tuple(found), covered


def _level_where_it_differs_most(a: Mapping[str, Any], b: Mapping[str, Any]) -> Moved | None:
    curves = curve(a, "spl_db"), curve(b, "spl_db")
    if curves[0] is None or curves[1] is None:
        return None
    low = max(curves[0][0][0], curves[1][0][0], 20.0)
    high = min(curves[0][0][-1], curves[1][0][-1], 2 * BAND_HZ[1])
    if low >= high:
        return None
    levels = [(f, value_at(*curves[0], f), value_at(*curves[1], f)) for f in steps(low, high)]
    frequency, before, after = max(levels, key=lambda row: abs(row[2] - row[1]))
    before, after = round(before, 1), round(after, 1)
    if before == after:
        return None
    word = "louder" if after > before else "quieter"
    return Moved(f"level at {frequency:.0f} Hz (moved most)", before, after, "dB", word, 1)


def _rounded(value: float | None, decimals: int) -> float | None:
    return None if value is None else round(value, decimals) + 0.0


def _levels(
    a: Iterable[Mapping[str, Any]], b: Iterable[Mapping[str, Any]], order: Sequence[str]
) -> tuple[LevelChange, ...]:
    """Return the lines whose level changed, in the order of their ids; `order` goes from harmless to grave."""
    old, new = _by_id(a), _by_id(b)
    found = []
    for key in sorted(old.keys() | new.keys()):
        line = new.get(key) or old[key]
        before = str(old[key].get("level")) if key in old else None
        after = str(new[key].get("level")) if key in new else None
        if before == after:
            continue
        if before is None or after is None:
            word = "new" if before is None else "gone"
        elif before in order and after in order:
            word = "worse" if order.index(after) > order.index(before) else "better"
        else:
            word = "changed"
        found.append(LevelChange(key[0], before, after, word, str(line.get("text", ""))))
    return tuple(found)


def _outcome(report: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return what the safety list comes to, as a line of its own."""
    word = report.get("outcome", {}).get("safety")
    return [] if word is None else [{"id": "outcome", "level": word, "text": "what the whole list comes to"}]


def _by_id(lines: Iterable[Mapping[str, Any]]) -> dict[tuple[str, int], Mapping[str, Any]]:
    """Return lines by id; where one id stands on several lines, the first is matched with the first."""
    found: dict[tuple[str, int], Mapping[str, Any]] = {}
    for line in lines:
        name, number = str(line.get("id")), 0
        while (name, number) in found:
            number += 1
        found[name, number] = line
    return found


def _differing(a: Mapping[str, Any], b: Mapping[str, Any]) -> list[str]:
    """Return the parts of the report, two levels down at most, that are not equal."""
    found = []
    for key in sorted((a.keys() | b.keys()) - _NOT_OF_THE_BENCH):
        before, after = a.get(key), b.get(key)
        if key in a and key in b and alike(before, after):
            continue
        if key not in _TOLD_APART and isinstance(before, Mapping) and isinstance(after, Mapping):
            inner = sorted(before.keys() | after.keys())
            found += [
                f"{key}.{name}"
                for name in inner
                if not (name in before and name in after and alike(before[name], after[name]))
            ]
        else:
            found.append(key)
    return found
