"""Names of files in any script and under any locale: as text, as the system has them, and which may name a package."""

from __future__ import annotations

import os
import unicodedata

MOST_CHARACTERS = 99
MOST_BYTES = 180  # most systems take 255, and endings such as ".edited-1.incoming" go with it
_GROUPS = ("L", "M", "N", "So", "Sk")  # letters, marks on them, digits, pictures such as emoji and what tints them
RULE = "letters and digits of any script, dot, dash, underscore"


def text_of_name(name: str) -> str:
    r"""Return a file name as people read it, also where the locale gave Python nothing but bytes.

    >>> text_of_name("\udce6\udc9c\udca8.yaml")
    '木.yaml'
    """
    if name.isascii():
        return name
    return name.encode("utf-8", "surrogateescape").decode("utf-8", "replace") if _from_bytes(name) else name


def native(text: str) -> str:
    """Return what this system's Python calls the file of that name: the inverse of `text_of_name`."""
    return text if text.isascii() else os.fsdecode(text.encode("utf-8"))


def names_a_package(stem: str) -> bool:
    """Tell whether a spec file's name without its ending can name a folder everywhere, and hides nothing."""
    text = text_of_name(stem)
    fits = 0 < len(text) <= MOST_CHARACTERS and len(text.encode("utf-8", "replace")) <= MOST_BYTES
    return fits and text[0] not in "._-" and all(map(is_plain, text)) and not _is_mark(text[0])


def _from_bytes(name: str) -> bool:
    return any("\udc80" <= char <= "\udcff" for char in name) and not any("\ud800" <= char < "\udc80" for char in name)


def is_plain(char: str) -> bool:
    """Tell whether a character may stand in the name of a package's folder."""
    # The replacement character stands for bytes that are no text.
    return char in "._-" or (char != "\ufffd" and unicodedata.category(char).startswith(_GROUPS))


def _is_mark(char: str) -> bool:
    return unicodedata.category(char).startswith("M")
