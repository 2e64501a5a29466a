"""The command `sweep`: writes a sine sweep as WAV, and reads a recording of one.

Messages go to standard error, results to standard output; nothing heavy is imported before it is needed.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kerfwave import cli
from kerfwave.file_jobs import Refused, bytes_of, guarded, publish_aside, say
from kerfwave.findings import visible

if TYPE_CHECKING:
    from kerfwave.measure.nearfield import NearFieldSum
    from kerfwave.measure.reading import Reading, Settings
    from kerfwave.measure.sweep import Sweep
    from kerfwave.measure.wav import Recording

CAUTION = """\
before you play it: turn the amplifier right down, start the sweep, and turn it up only until it stands clear of the
room; nobody wears headphones, and no ear is near the driver; watch the cone at the start, where it moves farthest, and
stop at the first rattle or smell. A sweep puts more heat into a small driver than music of the same peak level."""


def add_parser(commands: Any) -> None:
    """Add `sweep write` and `sweep read` to the command line."""
    sweep = commands.add_parser(
        "sweep",
        help="write a sine sweep as WAV, or read a recording of one",
        description="Write a sine sweep to play through the finished speaker, or read a recording of it.",
    )
    actions = sweep.add_subparsers(dest="action", required=True, metavar="ACTION")
    write = actions.add_parser(
        "write",
        help="write an exponential sine sweep as WAV",
        description="Write an exponential sine sweep as WAV. Turn the amplifier down before you play it.",
    )
    write.add_argument("file", metavar="OUT.wav", help="the file to write")
    _add_sweep(write)
    write.add_argument("--bits", type=int, choices=(16, 24, 32), default=24, help="of a sample (default: 24)")
    write.add_argument(
        "--for",
        dest="design",
        metavar="SPEC|PACKAGE",
        help="start no lower than this design's relief_from_hz: below, its guide does not hold the cone",
    )
    write.add_argument("--lead", type=float, default=0.5, metavar="S", help="silence before (default: 0.5)")
    write.add_argument("--tail", type=float, default=1.0, metavar="S", help="silence after (default: 1)")
    write.add_argument("--force", action="store_true", help="write over a file that is there")
    read = actions.add_parser(
        "read",
        help="read the recording of a sweep: response, impulse response, distortion",
        description="Read the recording of a sweep: response, impulse response and distortion, as CSV and SVG.",
    )
    read.add_argument("recording", metavar="RECORDING.wav", help="the recording")
    read.add_argument(
        "--sweep", metavar="FILE.wav", help="the file that was played; it says itself what sweep it holds"
    )
    _add_sweep(read)
    read.add_argument("--channel", type=int, default=1, metavar="N", help="the microphone's channel (default: 1)")
    read.add_argument(
        "--gate", type=float, metavar="MS", help="time after the peak that counts (default: 500, no gate)"
    )
    read.add_argument("--smooth", type=float, default=24.0, metavar="N", help="to 1/N octave; 0: not (default: 24)")
    read.add_argument("--microphone", metavar="FILE", help="the microphone's calibration: columns of Hz and dB")
    read.add_argument(
        "--full-scale", type=float, metavar="DB", help="level in dB re 20 µPa of a sine that fills the recorder's scale"
    )
    read.add_argument("--calibrator", metavar="FILE.wav", help="a recording of a calibrator, from which that is found")
    read.add_argument("--calibrator-db", type=float, default=94.0, metavar="DB", help="its level (default: 94)")
    read.add_argument("--mouth", metavar="FILE.wav", help="near field of the mouth, to add to RECORDING, the cone's")
    read.add_argument("--mouth-channel", type=int, default=None, metavar="N", help="its channel (default: --channel)")
    read.add_argument("--cone-area", type=float, metavar="CM2", help="of the cone (Sd)")
    read.add_argument("--mouth-area", type=float, metavar="CM2", help="of the mouth")
    read.add_argument(
        "--loopback", type=int, metavar="N", help="channel that recorded the player's output: a common clock"
    )
    read.add_argument("--distance", type=float, default=1.0, metavar="M", help="of the sum of near fields (default: 1)")
    read.add_argument("--out", default="out", metavar="DIR", help="where plots and numbers go (default: out)")


def _add_sweep(command: argparse.ArgumentParser) -> None:
    command.add_argument("--rate", type=int, default=48000, metavar="HZ", help="sampling rate (default: 48000)")
    command.add_argument("--seconds", type=float, default=10.0, metavar="S", help="length (default: 10)")
    command.add_argument("--from", dest="from_hz", type=float, default=20.0, metavar="HZ", help="start (default: 20)")
    command.add_argument("--to", dest="to_hz", type=float, default=20000.0, metavar="HZ", help="end (default: 20000)")
    command.add_argument("--level", type=float, default=-20.0, metavar="DBFS", help="peak level (default: -20)")
    command.add_argument("--fade-in", type=float, metavar="S", help="fade at the start (default: 1 %% of the length)")
    command.add_argument("--fade-out", type=float, metavar="S", help="fade at the end (default: 0.2 %% of the length)")


def run(arguments: argparse.Namespace) -> int:
    """Do what the command line asks; return the exit status."""
    from kerfwave.measure.errors import SettingError

    def job() -> int:
        try:
            return _write(arguments) if arguments.action == "write" else _read(arguments)
        except SettingError as error:
            raise Refused(str(error)) from error

    return guarded(f"sweep {arguments.action}", job)


def _write(arguments: argparse.Namespace) -> int:
    from kerfwave.engine.files import write_atomic
    from kerfwave.measure.errors import SettingError
    from kerfwave.measure.sweep import SAFE_LEVEL_DBFS, inscription, samples
    from kerfwave.measure.wav import encode

    target = Path(arguments.file)
    if target.suffix.lower() != ".wav":
        raise Refused(f"{arguments.file}: the file's name ends in .wav")
    if target.exists() and not arguments.force:
        raise Refused(f"{arguments.file}: is there already; another name, or --force to write over it")
    if not target.parent.is_dir():
        raise Refused(f"{arguments.file}: there is no folder {target.parent}")
    least = _protected_hz(arguments.design) if arguments.design else None
    if least is not None and least > arguments.from_hz:
        say(
            f"starts at {least:g} Hz, not {arguments.from_hz:g} Hz: below, nothing holds the cone of {arguments.design}"
        )
        arguments.from_hz = least
    sweep = replace(_sweep(arguments), lead_s=arguments.lead, tail_s=arguments.tail)
    for what, value in (("--lead", arguments.lead), ("--tail", arguments.tail)):
        if not 0.0 <= value <= 30.0:
            raise SettingError(f"{what} is {value:g} s; it lies between 0 and 30 s")
    data = encode(samples(sweep), sweep.rate_hz, bits=arguments.bits, comment=inscription(sweep))
    write_atomic(target, data)
    low, high = sweep.honest_hz
    print(target)
    print(
        f"{sweep.seconds:.3f} s from {sweep.from_hz:g} to {sweep.to_hz:g} Hz (full level {low:.1f} to {high:.0f} Hz), "
        f"peak {sweep.level_dbfs:g} dBFS, {sweep.rate_hz} Hz, {arguments.bits} bits, with "
        f"{sweep.lead_s:g} s of silence before and {sweep.tail_s:g} s after"
    )
    say(CAUTION)
    if sweep.level_dbfs > SAFE_LEVEL_DBFS:
        times = 10 ** ((sweep.level_dbfs - SAFE_LEVEL_DBFS) / 20)
        say(f"{sweep.level_dbfs:g} dBFS is {times:.1f} times the voltage of the safe level, {SAFE_LEVEL_DBFS:g} dBFS")
    if least is None:
        say(f"no design was named (--for): the cone is driven from {sweep.from_hz:g} Hz up, whatever it can bear")
    return cli.DONE


def _read(arguments: argparse.Namespace) -> int:
    from kerfwave.sweep_files import reading_files, sum_files

    recording = _recording(arguments.recording)
    sweep = _played(arguments)
    settings = _settings(arguments)
    found = _reading(arguments.recording, recording, arguments.channel, sweep, settings)
    files = reading_files(found)
    if arguments.mouth:
        files |= sum_files(_near_field(arguments, recording, found.start_s, sweep, settings))
    print(publish_aside(files, Path(arguments.out), f"sweep-{Path(arguments.recording).stem}"))
    for check in found.checks:
        print(f"{check.level:<4} {check.id}: {visible(check.text)}")
    print(f"told from {found.band_hz[0]:.0f} to {found.band_hz[1]:.0f} Hz: {', '.join(sorted(files))}")
    return cli.FAILED_CHECK if any(c.level == "fail" for c in found.checks) else cli.DONE


def _protected_hz(name: str) -> float:
    """Return the frequency below which nothing holds the cone, from a spec or a package."""
    path = Path(name)
    if path.suffix.lower() in (".yaml", ".yml"):
        from kerfwave.spec import load

        return float(load(path).spec.target.relief_from_hz)
    from kerfwave.compare import load_report

    try:
        report = load_report(path)
    except (ValueError, OSError) as error:
        raise Refused(str(error)) from error
    try:
        value = float(report["acoustics"]["relief"]["from_hz"])
    except (KeyError, TypeError, ValueError) as error:
        raise Refused(f"{name}: its report does not say from which frequency the cone is held") from error
    return value


def _sweep(arguments: argparse.Namespace) -> Sweep:
    from kerfwave.measure.sweep import design

    return design(
        rate_hz=arguments.rate,
        seconds=arguments.seconds,
        from_hz=arguments.from_hz,
        to_hz=arguments.to_hz,
        level_dbfs=arguments.level,
        fade_in_s=arguments.fade_in,
        fade_out_s=arguments.fade_out,
    )


def _played(arguments: argparse.Namespace) -> Sweep:
    """Return the sweep that was played: what its file says of itself, or what the options say."""
    from kerfwave.measure.sweep import from_inscription

    if not arguments.sweep:
        return _sweep(arguments)
    sweep = from_inscription(_recording(arguments.sweep).comment)
    if sweep is None:
        raise Refused(
            f"{arguments.sweep}: it does not say what sweep it holds; leave --sweep out, and give the options it was "
            "written with"
        )
    return sweep


def _recording(name: str) -> Recording:
    from kerfwave.measure.errors import RecordingError
    from kerfwave.measure.wav import decode

    try:
        return decode(bytes_of(name))
    except RecordingError as error:
        raise Refused(f"{name}: {error}") from error


def _channel(name: str, recording: Recording, number: int) -> Any:
    if not 1 <= number <= recording.channels:
        raise Refused(f"{name}: channel {number} is not there; it has {recording.channels}, counted from 1")
    return recording.samples[:, number - 1].copy()


def _settings(arguments: argparse.Namespace) -> Settings:
    from kerfwave.measure.columns import read_columns, text_of
    from kerfwave.measure.errors import RecordingError, SettingError
    from kerfwave.measure.microphone import Correction, full_scale_db
    from kerfwave.measure.reading import Settings

    microphone, full_scale = None, arguments.full_scale
    for what, value in (("--full-scale", full_scale), ("--calibrator-db", arguments.calibrator_db)):
        if value is not None and not 0.0 <= value <= 250.0:
            raise SettingError(f"{what} is {value:g} dB; it lies between 0 and 250 dB")
    if arguments.microphone:
        text = text_of(bytes_of(arguments.microphone), name=arguments.microphone)
        columns = read_columns(text, name=arguments.microphone, columns=("frequency_hz", "level_db"))
        for note in columns.notes:
            say(f"{arguments.microphone}: {note}")
        microphone = Correction(columns.values[0], columns.values[1])
    if arguments.calibrator:
        if full_scale is not None:
            raise SettingError("--full-scale and --calibrator say the same thing; give one of them")
        heard = _recording(arguments.calibrator)
        try:
            tone = _channel(arguments.calibrator, heard, min(arguments.channel, heard.channels))
            full_scale = full_scale_db(tone, heard.rate_hz, arguments.calibrator_db)
        except RecordingError as error:
            raise Refused(f"{arguments.calibrator}: {error}") from error
        print(f"full scale is {full_scale:.1f} dB re 20 µPa, by the calibrator")
    if not 0.0 <= arguments.smooth <= 96.0 or 0.0 < arguments.smooth < 1.0:
        raise SettingError(f"--smooth is {arguments.smooth:g}; it is 0, or lies between 1 and 96")
    gate = None if arguments.gate is None else arguments.gate / 1000.0
    return Settings(gate, arguments.smooth or None, full_scale, microphone)


def _near_field(
    arguments: argparse.Namespace, cone: Recording, cone_s: float, sweep: Sweep, settings: Settings
) -> NearFieldSum:
    """Return the cone's near field and the mouth's, added up; both phases refer to the cone's peak at `cone_s`."""
    from kerfwave.measure.errors import SettingError
    from kerfwave.measure.nearfield import sum_near_fields

    if arguments.cone_area is None or arguments.mouth_area is None:
        raise SettingError("--mouth needs --cone-area and --mouth-area")
    if arguments.loopback is None and Path(arguments.mouth).resolve() != Path(arguments.recording).resolve():
        raise SettingError(
            "two recordings need a common clock: record the player's output on another channel and name it with "
            "--loopback, or record cone and mouth as two channels of one file"
        )
    mouth = _recording(arguments.mouth)
    both: list[Reading] = []
    later = 0.0  # the cone's peak, after the player's start
    for name, recording, channel in (
        (arguments.recording, cone, arguments.channel),
        (arguments.mouth, mouth, arguments.mouth_channel or arguments.channel),
    ):
        clock = 0.0
        if arguments.loopback is not None:
            clock = _reading(name, recording, arguments.loopback, sweep, settings).start_s
        if not both:
            later = cone_s - clock
        both.append(_reading(name, recording, channel, sweep, replace(settings, time_zero_s=clock + later)))
    for check in both[1].checks:
        print(f"{check.level:<4} mouth, {check.id}: {visible(check.text)}")
    return sum_near_fields(
        both[0].response,
        both[1].response,
        cone_area_m2=arguments.cone_area / 1e4,
        mouth_area_m2=arguments.mouth_area / 1e4,
        distance_m=arguments.distance,
    )


def _reading(name: str, recording: Recording, channel: int, sweep: Sweep, settings: Settings) -> Reading:
    from kerfwave.measure.errors import RecordingError
    from kerfwave.measure.reading import read

    try:
        return read(_channel(name, recording, channel), recording.rate_hz, sweep, settings, bits=recording.bits)
    except RecordingError as error:
        raise Refused(f"{name}: channel {channel}: {error}") from error
