"""The command `check --format json`: what is wrong with specs, for editors and other programs."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from kerfwave import cli, jobs
from kerfwave.engine import Store, Walker
from kerfwave.engine.files import advice
from kerfwave.findings import Finding, SpecError

FORMAT = "kerfwave-check-1"
_KEYS = ("file", "line", "column", "length", "code", "level", "message", "why", "hint")


def run(specs: Sequence[str], out: str) -> int:
    """Check specs and print one JSON object on standard output; the status is that of `check`."""
    checked = [_one(name, out) for name in specs]
    status = max(int(one["status"]) for one in checked)
    print(json.dumps({"format": FORMAT, "status": status, "specs": checked}, indent=1, ensure_ascii=True))
    return status


def _one(name: str, out: str) -> dict[str, Any]:
    """Return the findings and design checks of one spec."""
    findings: list[Finding] = []
    checks: list[dict[str, Any]] = []
    status, trouble = cli.DONE, ""
    try:
        job = jobs._load(Path(name), findings.extend)
        store = Store(Path(out) / jobs.CACHE, jobs._say)
        found = jobs._checks(job, store, Walker(store.get_record("imports")))
        checks = [dataclasses.asdict(check) for check in found]
        status = cli.FAILED_CHECK if any(check.level == "fail" for check in found) else cli.DONE
    except SpecError as error:
        findings.extend(error.findings)
        status = cli.WRONG_INPUT
    except OSError as error:
        trouble = f"{error.filename or name}: {advice(error)}"
        jobs._say(trouble)
        status = cli.MACHINE_FAILED
    told = [{key: getattr(finding, key) for key in _KEYS} for finding in dict.fromkeys(findings)]
    return {"spec": name, "status": status, "findings": told, "checks": checks, "trouble": trouble}
