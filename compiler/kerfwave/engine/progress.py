"""What the person who waits gets to see: one line a stage."""

from __future__ import annotations

from typing import TextIO

from kerfwave.engine import why
from kerfwave.engine.events import Event

# The word says it all; colour only helps the eye, and these stay apart for the colour-blind.
_COLOURS = {"made": "\x1b[34m", "steady": "\x1b[36m", "kept": "\x1b[2m", "recalled": "\x1b[2m", "waiting": "\x1b[2m"}
MOST_TOLD = 4  # reasons in a line; a changed response alone has hundreds of changed leaves
_STOPPED = "\x1b[1;33m"
_PLAIN = "\x1b[0m"
_START_OF_LINE = "\r\x1b[K"


class TerminalListener:
    """Writes events to a stream.

    Parameters
    ----------
    stream
        Standard error, as a rule.
    colour
        Whether words may be coloured.
    live
        Whether the line of a running stage may be written over as it goes on; only on a terminal.
    explain
        Spell out every reason instead of the first, also of stages that did not run.
    """

    def __init__(self, stream: TextIO, colour: bool = False, live: bool = False, explain: bool = False) -> None:
        self._stream, self._colour, self._live, self._explain = stream, colour, live, explain

    def __call__(self, event: Event) -> None:
        """Show one event."""
        if event.word in ("started", "progress"):
            if self._live:
                width = _columns() - 1  # a longer line could not be written over
                self._stream.write(f"{_START_OF_LINE}{self.line(event)[:width]}")
                self._stream.flush()
            return
        self._stream.write(f"{_START_OF_LINE if self._live else ''}{self.line(event)}\n")
        self._stream.flush()

    def line(self, event: Event) -> str:
        """Return the line for one event, without its end."""
        running = event.word in ("started", "progress")
        word = "..." if running else event.word
        if event.fraction is not None:
            word = f"{event.fraction:4.0%}"
        took = f"{event.seconds:7.2f} s" if event.word in ("made", "steady", "stopped") else " " * 9
        return f"{event.stage:<10} {self._paint(word)} {took}  {self._remark(event)}".rstrip()

    def _remark(self, event: Event) -> str:
        if event.text:
            return why.plain(event.text)
        if event.word in ("kept", "waiting") and not self._explain:
            return ""
        said = why.words(event.reasons, most=MOST_TOLD if self._explain else 1)
        return f"ran, same as before; {said}" if event.word == "steady" else said

    def _paint(self, word: str) -> str:
        code = _STOPPED if word == "stopped" else _COLOURS.get(word)
        gap = " " * (8 - len(word))
        return f"{code}{word}{_PLAIN}{gap}" if self._colour and code else word + gap


def _columns() -> int:
    import shutil  # only wanted on a terminal, and not quick to import

    return shutil.get_terminal_size().columns
