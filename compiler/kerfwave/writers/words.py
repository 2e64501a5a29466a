"""Text that is safe to print: plain characters, short durations, sizes with inches beside."""

from __future__ import annotations

import math
import re
import unicodedata

from kerfwave.numfmt import fixed

JOINERS = "\u200c\u200d"
MM_PER_INCH = 25.4  # exact, by definition of the inch (1959)


INSETS = {  # role: name, what it does
    "driver-ring": ("Driver ring", "It stands in the pocket of the front and carries the driver."),
    "driver-collar": ("Driver collar", "It lies in front of the driver ring, flush, round the driver's flange."),
    "terminal-plate": ("Terminal plate", "It stands in the pocket for the terminals and carries the two posts."),
}


def plain(text: str) -> str:
    """Return `text` on one line, without control, format, surrogate or private characters.

    What is left can be escaped into HTML, SVG or CSV and shows what it says: bidirectional overrides and invisible
    characters, which make a line read otherwise than it is stored, are dropped too. The two joiners that some
    scripts need to spell their words stay.
    """
    kept = (" " if c in "\t\n\r\v\f\x85\u2028\u2029" else c for c in text)
    shown = "".join(c for c in kept if c in JOINERS or unicodedata.category(c) not in ("Cc", "Cf", "Cs", "Co"))
    shown = shown.replace("\ufffe", "").replace("\uffff", "")  # no characters, says XML
    return re.sub(r" {2,}", " ", shown).strip()


def slug(text: str) -> str:
    """Return `text` as an identifier for an XML `id`: ASCII letters, digits and hyphens, starting with a letter."""
    ascii_text = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    joined = re.sub(r"[^A-Za-z0-9_]+", "-", ascii_text).strip("-")
    return joined if joined[:1].isalpha() else f"x-{joined}".rstrip("-")


def duration(time_s: float) -> str:
    """Return a time as a person at a bench says it: '45 s', '34 min', '2 h 05 min'. Rounds up to the minute."""
    if time_s < 60:
        return f"{fixed(time_s, 0)} s"
    minutes = int(-(-time_s // 60))
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02d} min"


def mm(value_mm: float, decimals: int = 1) -> str:
    """Return '6.2 mm'."""
    return f"{fixed(value_mm, decimals)} mm"


def mm_and_inches(value_mm: float, decimals: int = 2) -> str:
    """Return '6.2 mm (0.244 in)', for the sizes that shops sell in inches: sheets and screws."""
    return f"{fixed(value_mm, decimals)} mm ({fixed(value_mm / MM_PER_INCH, 3)} in)"


def significant(value: float, digits: int = 3) -> str:
    """Return a number with so many significant digits, positional: 0.000123, 0.5, 1240, never an exponent.

    Raises:
        ValueError: for NaN and infinities.
    """
    if value == 0 or not math.isfinite(value):
        return fixed(value)
    text = f"{value:.{digits}g}"
    if "e" not in text:
        return text
    magnitude = int(f"{value:e}".partition("e")[2])
    return fixed(value, max(digits - 1 - magnitude, 0))


def percent(share: float) -> str:
    """Return a share as whole percent, with the space that SI asks for.

    >>> percent(0.984)
    '98 %'
    """
    return f"{100 * share:.0f} %"


def listed(words: tuple[str, ...]) -> str:
    """Return 'a', 'a and b' or 'a, b and c'."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"
