"""What the measuring room refuses: recordings, and settings."""

from __future__ import annotations


class RecordingError(ValueError):
    """A recording that cannot be read: what is wrong, and what would be right."""

    def __init__(self, problem: str, remedy: str = "") -> None:
        self.problem, self.remedy = problem, remedy
        super().__init__(problem + (f"; {remedy}" if remedy else ""))


class SettingError(ValueError):
    """A number that somebody chose, and that is out of its range; the message says which, and the range."""
