"""Which spec a package is made from, beside the spec's values themselves."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Source:
    """Named in the report and the guide, used by no stage but the last."""

    stem: str
    spec_sha256: str  # of the spec file's bytes
    version: str  # of kerfwave
