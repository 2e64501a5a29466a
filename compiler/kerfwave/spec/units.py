"""Units that the same quantity is given in, and the guess which of them somebody had in mind."""

from __future__ import annotations

import math
import re

# Each row: units of one quantity and their size in the first one. Inch by definition, litre = 1e-3 m³.
FAMILIES: tuple[dict[str, float], ...] = (
    {"m²": 1.0, "cm²": 1e-4, "mm²": 1e-6, "square inches": 6.4516e-4},
    {"m": 1.0, "cm": 1e-2, "mm": 1e-3, "inches": 0.0254, "feet": 0.3048, "µm": 1e-6, "nm": 1e-9},
    {"m³": 1.0, "l": 1e-3, "cm³": 1e-6, "cubic feet": 0.028316846592},
    {"H": 1.0, "mH": 1e-3, "µH": 1e-6},
    {"kg": 1.0, "g": 1e-3, "mg": 1e-6},
    {"m/N": 1.0, "mm/N": 1e-3, "µm/N": 1e-6},
    {"Hz": 1.0, "kHz": 1e3},
    {"W": 1.0, "mW": 1e-3},
    {"V": 1.0, "mV": 1e-3},
    {"ohm": 1.0, "kohm": 1e3},
    {"kg/m³": 1.0, "g/cm³": 1e3},
    {"mm/min": 1.0, "mm/s": 60.0, "m/min": 1e3, "m/s": 6e4, "inches/min": 25.4},
    {"mm/s²": 1.0, "m/s²": 1e3},
    {"m³/h": 1.0, "m³/min": 60.0, "l/s": 3.6, "l/min": 0.06, "cubic feet/min": 1.699010796},
    {"%": 1.0, "a fraction of 1": 100.0, "per mille": 0.1},
)

# How units end a key's name or follow a number in text.
SPELLED = {
    "m2": "m²", "cm2": "cm²", "mm2": "mm²", "m3": "m³", "cm3": "cm³", "cc": "cm³", "ml": "cm³", "l": "l", "m": "m",
    "cm": "cm", "mm": "mm", "in": "inches", "inch": "inches", "ft": "feet", "um": "µm", "µm": "µm", "nm": "nm",
    "h": "H", "mh": "mH", "uh": "µH", "µh": "µH", "kg": "kg", "g": "g", "mg": "mg", "mm_n": "mm/N", "m_n": "m/N",
    "um_n": "µm/N", "mm/n": "mm/N", "m/n": "m/N", "hz": "Hz", "khz": "kHz", "w": "W", "mw": "mW", "v": "V",
    "mv": "mV", "volts": "V", "ohm": "ohm", "ohms": "ohm", "kohm": "kohm", "percent": "%", "%": "%",
    "kg_m3": "kg/m³", "g_cm3": "g/cm³", "kg/m³": "kg/m³", "g/cm³": "g/cm³", "kg/m3": "kg/m³", "g/cm3": "g/cm³",
    "mm_min": "mm/min", "mm_s": "mm/s", "m_min": "m/min", "mm/min": "mm/min", "mm/s": "mm/s", "m/min": "m/min",
    "mm_s2": "mm/s²", "m_s2": "m/s²", "m3_h": "m³/h", "m3_min": "m³/min", "l_s": "l/s", "m3/h": "m³/h",
    "m³/h": "m³/h", "l/s": "l/s", "cfm": "cubic feet/min", "m²": "m²", "cm²": "cm²", "mm²": "mm²", "m³": "m³",
    "cm³": "cm³", '"': "inches", "tm": "T m", "t_m": "T m", "db": "dB",
}  # fmt: skip

_QUANTITY = re.compile(r"\s*([-+]?[0-9]+(?:[.,][0-9]+)?|[-+]?[.,][0-9]+)\s*(.*?)\s*")
# A value just beyond a bound is a value beyond a bound; only a far one looks like another unit.
_FAR = 2.0


def number(value: float) -> str:
    """Return a short decimal text, at most five significant digits, never an exponent.

    >>> number(22.000000000000004), number(0.00024), number(150000.0)
    ('22', '0.00024', '150000')
    """
    if value == 0 or not math.isfinite(value):
        return "0"
    decimals = max(0, 4 - math.floor(math.log10(abs(value))))
    text = f"{value:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def convert(value: float, given: str, wanted: str) -> float | None:
    """Return `value` in `wanted`, or None if the units are not of one quantity."""
    if given == wanted:
        return value
    for family in FAMILIES:
        if given in family and wanted in family:
            return value * family[given] / family[wanted]
    return None


def slip(value: float, unit: str, low: float, high: float) -> tuple[str, float] | None:
    """Return the unit that an out-of-range `value` looks like, and the value in `unit`; None if it looks like none.

    Of several that fit, the one that lands nearest the middle of the range (on a logarithmic scale) is taken.
    """
    family = next((family for family in FAMILIES if unit in family), None)
    if family is None or value <= 0 or high <= 0:
        return None
    if (low > 0 and low / _FAR < value < low) or high < value < high * _FAR:
        return None
    floor = low if low > 0 else high * 1e-4
    middle = math.log(floor * high) / 2
    fits = [
        (abs(math.log(there) - middle), other, there)
        for other, size in family.items()
        if other != unit and floor <= (there := value * size / family[unit]) <= high
    ]
    if not fits:
        return None
    _, other, there = min(fits)
    return other, there


def quantity(text: str) -> tuple[float, str] | None:
    """Read "12,5 cm" as (12.5, "cm"); the unit is "" if there is none, "?" if it is not known. None if no number.

    >>> quantity("12,5 cm"), quantity('3.5"'), quantity("soft")
    ((12.5, 'cm'), (3.5, 'inches'), None)
    """
    match = _QUANTITY.fullmatch(text)
    if not match or len(text) > 40:
        return None
    value = float(match.group(1).replace(",", "."))
    unit = match.group(2)
    return value, SPELLED.get(unit.lower(), "?") if unit else ""


def split_key(key: str) -> tuple[str, str]:
    """Split a key into its stem and the unit its name ends in ("" if none).

    >>> split_key("sd_m2"), split_key("cms_mm_n"), split_key("shape")
    (('sd', 'm²'), ('cms', 'mm/N'), ('shape', ''))
    """
    parts = key.lower().split("_")
    for size in (2, 1):
        unit = SPELLED.get("_".join(parts[-size:]), "")
        if unit and len(parts) > size:
            return "_".join(parts[:-size]), unit
    return key.lower(), ""
