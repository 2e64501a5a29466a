"""What can go wrong in the engine.

EngineError
+-- GraphError     the table of stages does not hang together (a mistake in the program)
+-- CodecError     a value is not of the kind that the cache can write (a mistake in the program)
+-- StageError     a stage cannot build what the input asks for (the person's to mend)
+-- PublishError   the machine failed us: disk full, no permission; the last good package is untouched
"""

from __future__ import annotations


class EngineError(Exception):
    """Anything the engine raises on purpose."""


class GraphError(EngineError, ValueError):
    """Duplicate names, an input that nobody makes, a cycle."""


class CodecError(EngineError, TypeError):
    """A value that does not fit its declared type, or that has no place in JSON. `path` says where it sits."""

    def __init__(self, message: str, path: tuple[str | int, ...] = ()) -> None:
        self.message = message
        self.path = path
        super().__init__(message)

    def inside(self, step: str | int) -> CodecError:
        """Return the same complaint seen from one level further out."""
        return type(self)(self.message, (step, *self.path))

    def __str__(self) -> str:
        place = "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in self.path).lstrip(".")
        return f"{place}: {self.message}" if place else self.message


class StageError(EngineError):
    """Raised by a stage function when this input cannot be built.

    Parameters
    ----------
    message
        What is wrong and what would be right, in one sentence.
    where
        Path of the field of the spec that causes it, such as ``("enclosure", "wall_mm")``; empty if there is no one
        place. The command line turns it into file, line and column.
    """

    def __init__(self, message: str, where: tuple[str | int, ...] = ()) -> None:
        self.message = message
        self.where = tuple(where)
        self.stage: str | None = None  # set by the engine on the way out
        super().__init__(message)


class PublishError(EngineError):
    """The package could not be written. `target` still holds what it held before."""
