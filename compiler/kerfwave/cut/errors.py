"""What can be wrong with a job that is to be cut."""

from __future__ import annotations


class CutError(ValueError):
    """The job cannot be cut as asked; the message names the piece and says what would be right."""


class OutsideBed(CutError):
    """A cut line leaves the sheet or the machine's bed."""


class KerfTooWide(CutError):
    """A hole, slot or notch is too narrow for the beam."""
