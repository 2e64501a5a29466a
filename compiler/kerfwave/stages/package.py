"""Package: the files as they will lie in the output folder, with the name of the speaker in its places."""

from __future__ import annotations

from dataclasses import dataclass, replace

from kerfwave.stages.files import Files
from kerfwave.stages.labels import Labels, filled


@dataclass(frozen=True, slots=True)
class Package:
    """The files of a package, by name, and how it stands to its checks."""

    files: tuple[tuple[str, str], ...]
    failed: tuple[str, ...]  # sentences of the checks that failed
    outcome: str  # of the safety list


def run(pages: Package, labels: Labels, *drawn: Files) -> Package:
    """Run the stage; `drawn` are the drawings, which the pages hold where they show them, but not as files."""
    files = sorted((*pages.files, *(file for some in drawn for file in some.files)))
    return replace(pages, files=tuple((name, filled(name, text, labels)) for name, text in files))
