"""What a plain (unquoted) YAML scalar means here, and which ones are refused because readers disagree about them."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

_INTEGER = re.compile(r"[-+]?(?:0|[1-9][0-9]*)")
_DECIMAL = re.compile(r"[-+]?(?:[0-9]+\.[0-9]*|\.[0-9]+)(?:[eE][-+][0-9]+)?")
_EXPONENT = re.compile(r"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)[eE][-+]?[0-9]+")
_NOT_FINITE = re.compile(r"(?i:[-+]?\.inf|\.nan)")
_BOOLEAN_LIKE = re.compile(r"(?i:yes|no|on|off|true|false)")
_SEXAGESIMAL = re.compile(r"[-+]?[0-9][0-9_]*(?::[0-5]?[0-9])+(?:\.[0-9_]*)?")
_OTHER_BASE = re.compile(r"[-+]?0(?:[0-9_]+|[xX][0-9a-fA-F_]+|o[0-7_]+|b[01_]+)")
_UNDERSCORES = re.compile(r"[-+]?[0-9][0-9_]*(?:\.[0-9_]*)?")
_NULLS = ("", "~", "null", "Null", "NULL")
_LONGEST_NUMBER = 40


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a plain scalar is not taken."""

    code: str
    message: str
    why: str
    hint: str


def plain(text: str) -> str | int | float | bool | Refusal | None:
    """Return the value of a plain scalar, or why it is refused.

    Numbers, ``true``, ``false`` and nothing at all are the only plain scalars that are not text. Whatever YAML 1.1
    and YAML 1.2 readers read differently is refused, as an editor would show one value and a program use another.
    """
    if text in _NULLS:
        return None
    if text in ("true", "false"):
        return text == "true"
    if text[0] not in "+-.0123456789":
        return _word(text)
    return _number(text)


def _word(text: str) -> str | Refusal:
    if not _BOOLEAN_LIKE.fullmatch(text):
        return text
    meant = "true" if text.lower() in ("yes", "on", "true") else "false"
    return Refusal(
        "K112",
        f"'{text}' may be a word or a truth value",
        "YAML readers disagree about yes, no, on, off and capitals in true and false",
        f'{meant}, or "{text}" in quotes if the word is meant',
    )


def _number(text: str) -> str | int | float | Refusal:
    if len(text) > _LONGEST_NUMBER and (_INTEGER.fullmatch(text) or _DECIMAL.fullmatch(text)):
        return Refusal("K113", "a number with far too many digits", "", "a number of a few digits")
    if _INTEGER.fullmatch(text):
        return int(text)
    if _DECIMAL.fullmatch(text):
        value = float(text)
        return value if math.isfinite(value) else _not_finite(text)
    if _NOT_FINITE.fullmatch(text):
        return _not_finite(text)
    if _EXPONENT.fullmatch(text):
        value = float(text)
        if not math.isfinite(value):
            return _not_finite(text)
        return _surprise(text, "some YAML readers take it for text, others for a number", f"{value:.12g}", value)
    if _SEXAGESIMAL.fullmatch(text):
        return _surprise(text, "some YAML readers count it in sixties (4:30 is 270)", "")
    if _OTHER_BASE.fullmatch(text):
        digits = text.lstrip("+-").lstrip("0").replace("_", "")
        return _surprise(
            text,
            "a leading 0 may mean base 8, 16 or 2; decimals stand after a point, not a comma",
            digits if digits.isdigit() else "",
        )
    if _UNDERSCORES.fullmatch(text):
        return _surprise(text, "some YAML readers drop the underscores, others take it for text", text.replace("_", ""))
    return text


def _not_finite(text: str) -> Refusal:
    return Refusal("K113", f"'{text}' is not a finite number", "", "a number that can be measured")


def _surprise(text: str, why: str, number: str, value: float = 0.0) -> Refusal:
    if number and "e" in number:
        number = f"{value:.12f}".rstrip("0").rstrip(".") if 1e-9 < abs(value) < 1 else ""
    hint = f'{number}, or "{text}" in quotes if text is meant' if number else f'a plain number, or "{text}" in quotes'
    return Refusal("K112", f"'{text}' may be text or a number", why, hint)
