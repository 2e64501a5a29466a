"""Files of the package, as the stages that draw them make them."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Files:
    """Some files of the package: name and text."""

    files: tuple[tuple[str, str], ...]  # sorted by name
