"""Which program a package is made by, and what it is called."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Source:
    """Named in the report and the guide, used by no stage that works anything out."""

    stem: str  # of the spec file, and of the package's folder
    version: str  # of kerfwave
