"""Read the report of a package, refusing anything that is not one with a sentence that says why."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

LARGEST_BYTES = 512 * 2**20


def load_report(path: Path) -> dict[str, Any]:
    """Return the report at `path`, which is a package's folder or its ``report.json``.

    Raises
    ------
    ValueError
        if there is none, if it cannot be read, or if it is damaged.
    """
    file = path / "report.json" if path.is_dir() else path
    if not file.is_file():
        if path.is_dir():
            raise ValueError(f"{path} is no package: there is no report.json in it")
        raise ValueError(f"{path} is not there" if not path.exists() else f"{path} is neither a package nor a report")
    try:
        if file.stat().st_size > LARGEST_BYTES:
            raise ValueError("it is too large for one")
        data = json.loads(file.read_text(encoding="utf-8"), parse_constant=_finite, parse_float=_finite)
    except OSError as error:
        raise ValueError(f"{file} cannot be read: {(error.strerror or str(error)).lower()}") from error
    except UnicodeDecodeError:
        raise ValueError(f"{file} is not a report: it is not UTF-8 text") from None
    except json.JSONDecodeError as error:
        raise ValueError(f"{file}:{error.lineno}:{error.colno} is not JSON: {error.msg.lower()}") from None
    except ValueError as error:
        raise ValueError(f"{file} is not a report: {error}") from None
    except RecursionError:
        raise ValueError(f"{file} is not a report: it is nested too deeply") from None
    fault = _fault(data)
    if fault:
        raise ValueError(f"{file} is not a report of Kerfwave: {fault}")
    return dict(data)


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(f"'{text}' is no number that a report may hold")
    return value


def _fault(data: Any) -> str:
    """Return what is wrong with the shape of the parts that a comparison walks through, or nothing."""
    if not isinstance(data, dict):
        return "it is no JSON object"
    if not isinstance(data.get("format"), str):
        return "it has no 'format'"
    for key in ("acoustics", "nest", "cut", "recipe", "outcome"):
        if not isinstance(data.get(key, {}), dict):
            return f"'{key}' is no JSON object"
    for key in ("pieces", "checks", "safety", "layers"):
        entries = data.get(key, [])
        if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
            return f"'{key}' is no list of JSON objects"
    for index, piece in enumerate(data.get("pieces", [])):
        rings = [piece.get("outline"), *_list(piece.get("holes", []))]
        if not isinstance(piece.get("id"), str) or not all(_is_ring(ring) for ring in rings):
            return f"pieces[{index}] has no proper id or outline"
    return ""


def _list(value: Any) -> list[Any]:
    return value if isinstance(value, list) else [value]


def _is_ring(ring: Any) -> bool:
    return (
        isinstance(ring, list)
        and len(ring) >= 3
        and all(
            isinstance(point, list) and len(point) == 2 and all(type(x) in (int, float) for x in point)
            for point in ring
        )
    )
