"""What stands in a package and bears on nothing in it: the name of the speaker and the digest of its spec's text.

The pages are written with marks in their place, which the last stage fills in. A new title, or a comment, is then
written without any page being made again. The marks are bracketed by code points that Unicode keeps for a program's
own use (noncharacters, section 23.7 of the standard); no spec can hold one, as the reader refuses them.
"""

from __future__ import annotations

from dataclasses import dataclass

NAME = "\ufdd0name\ufdd1"
SHA256 = "\ufdd0sha256\ufdd1"
SHA256_START = "\ufdd0sha256 start\ufdd1"
_SHOWN = 16  # hexadecimal digits of the digest: enough to tell one revision from another by eye


@dataclass(frozen=True, slots=True)
class Labels:
    """What the marks stand for."""

    name: str
    spec_sha256: str  # of the spec file's bytes

    @property
    def texts(self) -> dict[str, str]:
        """What to write, by mark."""
        return {NAME: self.name, SHA256: self.spec_sha256, SHA256_START: f"{self.spec_sha256[:_SHOWN]}…"}


def filled(file: str, text: str, labels: Labels) -> str:
    """Return the text of a file with its marks filled in, as text of that kind of file has to be written.

    Raises
    ------
    ValueError
        if a file of a kind that has no marks holds one.
    """
    if NAME[0] not in text:
        return text
    if file.endswith(".html"):
        write = _in_html
    elif file.endswith(".json"):
        write = _in_json
    else:
        raise ValueError(f"{file}: there are no marks in files of this kind")
    for mark, words in labels.texts.items():
        text = text.replace(mark, write(words))
    return text


def _in_html(text: str) -> str:
    from html import escape  # not quick to import, and a build with nothing to do needs the marks only

    return escape(text)


def _in_json(text: str) -> str:
    from kerfwave.writers.report import string_text

    return string_text(text)[1:-1]
