"""What the commands about measurements share: files in, files out, and the messages."""

from __future__ import annotations

import math
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kerfwave import cli
from kerfwave.filenames import MOST_BYTES, is_plain, native, text_of_name
from kerfwave.findings import SpecError, render, visible

if TYPE_CHECKING:
    from collections.abc import Callable

    from kerfwave.measure.impedance import ImpedanceSweep


class Refused(Exception):
    """The input is wrong; the message says how."""


def guarded(what: str, job: Callable[[], int]) -> int:
    """Run a job; turn what is wrong into words and an exit status."""
    from kerfwave.engine import PublishError, StageError
    from kerfwave.learn.edit import LearnError
    from kerfwave.measure.columns import ColumnError

    try:
        return job()
    except SpecError as error:
        print(render(error.findings), file=sys.stderr)
    except PublishError as error:
        say(str(error))
        return cli.MACHINE_FAILED
    except (Refused, LearnError, ColumnError, StageError) as error:
        say(f"{error}; nothing was written")
    except BrokenPipeError:
        raise  # whoever read our output has gone; the command line knows what to do
    except OSError as error:
        from kerfwave.engine.files import WRONG_NAME, advice

        say(f"{error.filename or what}: {advice(error)}; nothing was written")
        return cli.WRONG_INPUT if error.errno in WRONG_NAME else cli.MACHINE_FAILED
    return cli.WRONG_INPUT


def sweep_of(name: str, from_hz: float = 0.0, to_hz: float = math.inf) -> ImpedanceSweep:
    """Return the impedance sweep in a file, from one frequency to another.

    Raises:
        Refused: if there is none, or too little of it.
        ColumnError: for columns that cannot be read.
    """
    from kerfwave.measure.columns import text_of
    from kerfwave.measure.impedance import LEAST_ROWS, read_impedance

    sweep = read_impedance(text_of(bytes_of(name), name=name), name=name)
    for note in sweep.notes:
        say(f"{name}: {note}")
    kept = sweep.band(from_hz, to_hz)
    if len(kept.frequency_hz) < LEAST_ROWS:
        raise Refused(f"{name}: fewer than {LEAST_ROWS} rows lie between --from and --to")
    return kept


def number_of(text: str, what: str) -> float:
    """Return the number in a word of the command line.

    Raises:
        Refused: if it is none.
    """
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise Refused(f"{visible(what)}: '{visible(text)}' is no number")
    return value


def whole(value: float) -> float | int:
    """Return 4 for 4.0: schemas ask for whole numbers, and people write them so."""
    return int(value) if float(value).is_integer() else value


def bytes_of(name: str) -> bytes:
    """Return the content of a file.

    Raises:
        Refused: if it cannot be read.
    """
    from kerfwave.engine.files import read_regular

    data = read_regular(Path(name))
    if data is None:
        raise Refused(f"{visible(name)}: no such file, or it cannot be read")
    return data


def utf8_of(data: bytes, name: str) -> str:
    """Return bytes as text.

    Raises:
        Refused: if they are none.
    """
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise Refused(f"{visible(name)}: this is not UTF-8 text") from error


def json_of(data: Mapping[str, Any]) -> str:
    """Return plain data as JSON with sorted keys and fixed numbers."""
    from kerfwave.writers.report import render_report

    return render_report(data)


def publish_aside(files: Mapping[str, str], out: Path, name: str) -> Path:
    """Put the files into a folder of their own, whole or not at all."""
    from kerfwave.engine import publish

    safe = "".join(c if is_plain(c) else "-" for c in text_of_name(name))
    place = out / native(safe.encode()[:MOST_BYTES].decode(errors="ignore"))
    done = publish({key: text.encode() for key, text in files.items()}, place)
    if done.kept is not None:
        say(f"files changed by hand were kept in {done.kept}")
    return place


def write_file(path: Path, text: str) -> None:
    """Put the text at its place so that every reader sees the old content or the new."""
    from kerfwave.engine.files import write_atomic

    path.parent.mkdir(parents=True, exist_ok=True)
    write_atomic(path, text.encode(), synced=True)


def say(text: str) -> None:
    """Print a message to standard error."""
    print("\n".join(f"kerfwave: {visible(line)}" for line in text.splitlines()), file=sys.stderr)
