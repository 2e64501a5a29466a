"""Standard output and standard error that take any text: under every locale, and where one of them was closed."""

from __future__ import annotations

import codecs
import os
import sys
from pathlib import Path

_ERRORS = "kerfwave.shown"


def settle() -> None:
    """See to it that printing cannot fail for want of a stream or of a letter.

    A closed stream goes nowhere. A letter that the stream's encoding lacks is written as its number, and a file name
    that Python knows by its bytes alone as those bytes.
    """
    codecs.register_error(_ERRORS, _shown)
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, Path(os.devnull).open("w", encoding="utf-8"))  # noqa: SIM115 (it stays open)
        elif hasattr(stream, "reconfigure"):
            stream.reconfigure(errors=_ERRORS)


def let_go_of_output() -> None:
    """Write what is still on its way to standard output, or let it go nowhere: else Python complains at its end."""
    try:
        sys.stdout.flush()
    except OSError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _shown(error: UnicodeError) -> tuple[str | bytes, int]:
    try:
        return codecs.lookup_error("surrogateescape")(error)
    except UnicodeError:
        return codecs.lookup_error("backslashreplace")(error)
