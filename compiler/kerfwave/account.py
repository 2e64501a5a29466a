"""What a package was made from, down to the bytes: if all of it is the same, there is nothing to do.

The engine tells which stage a change concerns, for which the spec has to be read and checked first. An account tells
only whether anything at all has changed, and needs neither YAML nor the schemas for it. It covers the bytes of every
file that was read, the place of every shelf, our own code, Python, and whatever is installed beside it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path
from typing import Any

import kerfwave
from kerfwave.engine import installation
from kerfwave.findings import Finding
from kerfwave.spec.schema_files import NAMES, schema_text
from kerfwave.spec.shelf import sha256_of, surroundings


@dataclass(frozen=True, slots=True)
class Account:
    """What a package was made from, and what was said on the way."""

    digest: str
    files: tuple[str, ...]
    warnings: tuple[Finding, ...]

    @property
    def record(self) -> dict[str, Any]:
        """Plain data, for the cache."""
        return {
            "account": self.digest,
            "files": list(self.files),
            "warnings": [asdict(finding) for finding in self.warnings],
        }


def account_of(spec: Path, sha256: Mapping[str, str], warnings: Sequence[Finding]) -> Account:
    """Return the account of a build of `spec` from files of these digests ("" for one that was not there)."""
    return Account(_digest(spec, sha256), tuple(sha256), tuple(warnings))


def standing_account(spec: Path, record: Mapping[str, Any]) -> Account | None:
    """Return the account in `record` if everything is still as it says, None if not or if there is none."""
    try:
        files = tuple(str(name) for name in record["files"])
        warnings = tuple(Finding(**fields) for fields in record["warnings"])
    except (KeyError, TypeError):
        return None
    now = _digest(spec, {name: sha256_of(Path(name)) for name in files})
    return Account(now, files, warnings) if now == record.get("account") else None


def _digest(spec: Path, sha256: Mapping[str, str]) -> str:
    lines = [
        _program(),
        *surroundings(spec),
        *(f"{digest} {name}" for name, digest in sha256.items()),
    ]
    return hashlib.sha256("\n".join(lines).encode("utf-8", "surrogatepass")).hexdigest()


@cache
def _program() -> str:  # what runs does not change under a process
    # In a checkout the schemas lie beside the package, not in it.
    return "\n".join([installation(Path(kerfwave.__file__).parent), *map(schema_text, NAMES)])
