"""The command `sweep`, as a person meets it."""

import json
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from scipy import signal

import sweep_rigs as rigs
from kerfwave.cli import main
from kerfwave.measure.columns import read_columns
from kerfwave.measure.sweep import design, from_inscription, tone
from kerfwave.measure.wav import decode, encode

SPECS = Path(__file__).parent.parent.parent / "specs"
OPTIONS = ("--rate", "16000", "--seconds", "3", "--from", "40", "--to", "6000")
SWEEP = design(rate_hz=16000, seconds=3.0, from_hz=40.0, to_hz=6000.0)
BAND = signal.butter(2, [90.0, 5000.0], "band", fs=16000, output="sos")


@pytest.fixture
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def wav(name, samples, rate=16000, bits=24):
    Path(name).write_bytes(encode(np.asarray(samples), rate, bits=bits))


def heard(**more):
    return rigs.record(tone(SWEEP), 16000, filtered=BAND, snr_db=70, **more)


def test_write_says_what_it_wrote_and_warns(here, capsys):
    assert main(["sweep", "write", "s.wav", *OPTIONS]) == 0
    said = capsys.readouterr()
    assert "s.wav" in said.out and "-20 dBFS" in said.out
    assert "headphones" in said.err and "no design was named" in said.err
    file = decode(Path("s.wav").read_bytes())
    assert (file.rate_hz, file.bits, file.channels) == (16000, 24, 1)
    assert np.abs(file.samples).max() == pytest.approx(0.1, abs=1e-6)
    assert from_inscription(file.comment) == SWEEP
    before = Path("s.wav").read_bytes()
    assert main(["sweep", "write", "s.wav", *OPTIONS, "--level", "-10"]) == 2
    assert "--force" in capsys.readouterr().err and Path("s.wav").read_bytes() == before
    assert main(["sweep", "write", "s.wav", *OPTIONS, "--force"]) == 0
    assert Path("s.wav").read_bytes() == before  # the same options, the same bytes
    assert main(["sweep", "write", "l.wav", *OPTIONS, "--level", "-6", "--bits", "16"]) == 0
    assert "5.0 times the voltage" in capsys.readouterr().err


def test_the_design_decides_where_the_sweep_may_begin(here, capsys):
    spec = str(SPECS / "listening-post.yaml")
    assert main(["sweep", "write", "s.wav", "--from", "20", "--for", spec]) == 0
    assert "starts at 70 Hz, not 20 Hz" in capsys.readouterr().err
    assert from_inscription(decode(Path("s.wav").read_bytes()).comment).from_hz == 70
    package = here / "package"
    package.mkdir()
    (package / "report.json").write_text(
        json.dumps({"format": "kerfwave-report-1", "acoustics": {"relief": {"from_hz": 55.5}}})
    )
    assert main(["sweep", "write", "p.wav", "--for", "package"]) == 0
    assert from_inscription(decode(Path("p.wav").read_bytes()).comment).from_hz == 55.5
    assert main(["sweep", "write", "h.wav", "--from", "80", "--for", "package"]) == 0
    assert from_inscription(decode(Path("h.wav").read_bytes()).comment).from_hz == 80
    (package / "report.json").write_text(json.dumps({"format": "kerfwave-report-1"}))
    assert main(["sweep", "write", "q.wav", "--for", "package"]) == 2
    assert main(["sweep", "write", "q.wav", "--for", "nothing"]) == 2
    assert not Path("q.wav").exists()


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["s.txt"], "ends in .wav"),
        (["no/s.wav"], "no folder"),
        (["s.wav", "--rate", "10"], "the rate"),
        (["s.wav", "--seconds", "1e9"], "the length"),
        (["s.wav", "--to", "30000"], "the end"),
        (["s.wav", "--level", "3"], "the level"),
        (["s.wav", "--fade-in", "nan"], "the fade"),
        (["s.wav", "--lead", "-1"], "--lead"),
    ],
)
def test_write_refuses_with_status_2(here, capsys, options, says):
    assert main(["sweep", "write", *options]) == 2
    assert says in capsys.readouterr().err
    assert list(here.iterdir()) == []


def test_read_writes_tables_and_charts_that_can_be_read(here, capsys):
    assert main(["sweep", "write", "s.wav", *OPTIONS]) == 0
    wav("r.wav", heard())
    capsys.readouterr()
    assert main(["sweep", "read", "r.wav", "--sweep", "s.wav", "--smooth", "0"]) == 0
    said = capsys.readouterr()
    assert "sweep-r" in said.out and "ok   noise" in said.out and said.err == ""
    folder = here / "out/sweep-r"
    found = {path.name for path in folder.iterdir()}
    assert {"response.csv", "response.svg", "impulse.csv", "impulse.svg", "distortion.csv"} <= found
    columns = read_columns(
        (folder / "response.csv").read_text(),
        name="response.csv",
        columns=("frequency_hz", "level_db", "phase_deg", "snr_db"),
    )
    hz, level = np.asarray(columns.values[0]), np.asarray(columns.values[1])
    assert np.abs(level - rigs.level_db(BAND, hz, 16000) - 20 * np.log10(0.5)).max() < 0.1
    for chart in folder.glob("*.svg"):
        ElementTree.fromstring(chart.read_text())
    first = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert main(["sweep", "read", "r.wav", *OPTIONS, "--smooth", "0"]) == 0  # options instead of the file
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == first


def test_distortion_is_written_by_harmonic(here):
    low = design(rate_hz=16000, seconds=3.0, from_hz=40.0, to_hz=1500.0)
    wav("d.wav", rigs.record(rigs.bent(low, {2: 0.02, 3: 0.01}), 16000, snr_db=70))
    assert main(["sweep", "read", "d.wav", *OPTIONS[:-1], "1500"]) == 0
    lines = (here / "out/sweep-d/distortion.csv").read_text().splitlines()
    titles = lines[0].split(",")
    middle = dict(zip(titles, lines[len(lines) // 2].split(","), strict=True))
    assert float(middle["h2_percent"]) == pytest.approx(2.0, rel=0.01)
    assert float(middle["h3_percent"]) == pytest.approx(1.0, rel=0.01)
    assert middle["h5_percent"] == ""
    assert float(middle["h5_noise_percent"]) < 0.1
    chart = (here / "out/sweep-d/distortion.svg").read_text()
    assert "2nd harm." in chart and "3rd harm." in chart and "5th harm." not in chart


def test_a_recording_to_be_made_again_is_status_1(here, capsys):
    wav("c.wav", np.clip(25 * heard(), -1, 1))
    assert main(["sweep", "read", "c.wav", *OPTIONS]) == 1
    assert "fail clipped" in capsys.readouterr().out
    wav("n.wav", 0.5 * rigs.record(tone(SWEEP), 16000, filtered=BAND, snr_db=-10))
    assert main(["sweep", "read", "n.wav", *OPTIONS]) == 1
    assert "too noisy" in capsys.readouterr().out


def longer():
    return tone(design(rate_hz=16000, seconds=5.0, from_hz=40, to_hz=6000))


BAD = {
    "empty": (lambda: b"", "empty"),
    "cut": (lambda: encode(heard(), 16000)[:90000], "cut short"),
    "text": (lambda: b"frequency level\n20 80\n" * 99, "no WAV file"),
    "silent": (lambda: encode(np.zeros(90000), 16000), "silent"),
    "noise": (lambda: encode(np.random.default_rng(1).uniform(-0.3, 0.3, 90000), 16000), "sweep"),
    "another": (lambda: encode(rigs.record(longer(), 16000), 16000), "another sweep"),
    "rate": (lambda: encode(signal.resample_poly(heard(), 147, 160), 16000), "another sweep"),
    "header": (lambda: encode(heard(), 11025), "another sweep"),
}


@pytest.mark.parametrize("kind", sorted(BAD))
def test_bad_recordings_are_status_2_and_leave_what_was_there(here, capsys, kind):
    wav("r.wav", heard())
    assert main(["sweep", "read", "r.wav", *OPTIONS]) == 0
    before = {p.name: p.read_bytes() for p in (here / "out/sweep-r").iterdir()}
    data, says = BAD[kind]
    Path("r.wav").write_bytes(data())
    capsys.readouterr()
    assert main(["sweep", "read", "r.wav", *OPTIONS]) == 2
    said = capsys.readouterr().err
    assert says in said and "r.wav" in said and "nothing was written" in said
    assert {p.name: p.read_bytes() for p in (here / "out/sweep-r").iterdir()} == before


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["missing.wav"], "no such file"),
        (["r.wav", "--channel", "2"], "channel 2 is not there"),
        (["r.wav", "--channel", "0"], "channel 0"),
        (["r.wav", "--gate", "0"], "the gate"),
        (["r.wav", "--gate", "nan"], "the gate"),
        (["r.wav", "--gate", "3"], None),
        (["r.wav", "--smooth", "0.5"], "--smooth"),
        (["r.wav", "--sweep", "r.wav"], "does not say what sweep it holds"),
        (["r.wav", "--microphone", "mic.txt"], "mic.txt:2"),
        (["r.wav", "--full-scale", "nan"], "--full-scale"),
        (["r.wav", "--full-scale", "110", "--calibrator", "r.wav"], "give one of them"),
        (["r.wav", "--calibrator", "r.wav"], "calibrator"),
        (["r.wav", "--mouth", "r.wav"], "--cone-area"),
        (["r.wav", "--mouth", "q.wav", "--cone-area", "22", "--mouth-area", "10"], "common clock"),
    ],
)
def test_wrong_options_are_told(here, capsys, options, says):
    wav("r.wav", heard())
    Path("mic.txt").write_text("Hz dB\n20 loud\n")
    status = main(["sweep", "read", *options, *OPTIONS])
    said = capsys.readouterr().err
    assert (status, said) == (0, "") if says is None else (status == 2 and says in said), said


def test_calibration_and_calibrator_make_sound_pressure_levels(here, capsys):
    wav("r.wav", heard())
    t = np.arange(32000) / 16000
    wav("cal.wav", 0.05 * np.sin(2 * np.pi * 1000 * t))
    Path("mic.txt").write_text(
        "*1000Hz\t-38.2\n20\t0,0\n100\t0,0\n2000\t3,0\n8000\t3,0\n".replace("*1000Hz\t-38.2\n", "")
    )
    options = ["--calibrator", "cal.wav", "--microphone", "mic.txt", "--smooth", "0"]
    assert main(["sweep", "read", "r.wav", *OPTIONS, *options]) == 0
    assert "full scale is 120.0 dB" in capsys.readouterr().out
    columns = read_columns(
        (here / "out/sweep-r/response.csv").read_text(), name="r", columns=("frequency_hz", "level_db")
    )
    hz, level = np.asarray(columns.values[0]), np.asarray(columns.values[1])
    known = rigs.level_db(BAND, hz, 16000) + 20 * np.log10(0.5) + 120 - 20
    flat = hz > 2000
    assert np.abs(level - known + 3.0)[flat].max() < 0.1
    assert np.abs(level - known)[hz < 100].max() < 0.1
    assert "dB re 20 µPa" in (here / "out/sweep-r/response.svg").read_text()


def near_fields(delay):
    """Return cone and mouth: the mouth comes 3 ms later through another filter, and both after the player's delay."""
    cone = rigs.record(tone(SWEEP), 16000, before_s=delay, filtered=BAND, gain=0.4)
    other = signal.butter(2, [60.0, 400.0], "band", fs=16000, output="sos")
    mouth = rigs.record(tone(SWEEP), 16000, before_s=delay + 0.003, after_s=0.997, filtered=other, gain=0.7)
    player = rigs.record(tone(SWEEP), 16000, before_s=delay, gain=0.9)
    return cone, mouth, player, other


def known_sum(hz, other):
    _, a = signal.sosfreqz(BAND, hz, fs=16000)
    _, b = signal.sosfreqz(other, hz, fs=16000)
    return 20 * np.log10(np.abs(0.4 * a + 0.7 * np.sqrt(10 / 22) * b * np.exp(-2j * np.pi * hz * 0.003)))


@pytest.mark.parametrize("way", ["one file", "loopback"])
def test_near_fields_of_cone_and_mouth_are_added_with_their_phases(here, way):
    areas = ["--cone-area", "22", "--mouth-area", "10", "--smooth", "0"]
    cone, mouth, player, other = near_fields(0.3)
    if way == "one file":
        wav("r.wav", np.stack([cone, mouth], axis=1))
        more = ["--mouth", "r.wav", "--mouth-channel", "2"]
    else:
        wav("r.wav", np.stack([cone, player], axis=1))
        _, mouth, player, _ = near_fields(0.71)
        wav("m.wav", np.stack([mouth, player], axis=1))
        more = ["--mouth", "m.wav", "--loopback", "2"]
    assert main(["sweep", "read", "r.wav", *OPTIONS, *areas, *more]) == 0
    columns = read_columns((here / "out/sweep-r/sum.csv").read_text(), name="s", columns=("frequency_hz", "level_db"))
    hz, level = np.asarray(columns.values[0]), np.asarray(columns.values[1])
    assert np.abs(level - known_sum(hz, other)).max() < 0.15
    ElementTree.fromstring((here / "out/sweep-r/sum.svg").read_text())


def test_a_hostile_name_reaches_no_terminal_and_no_other_folder(here, capsys):
    name = "a\x1b[31m'=1+1'.wav"
    wav(name, heard())
    assert main(["sweep", "read", name, *OPTIONS]) == 0
    assert len(list((here / "out").glob("sweep-*"))) == 1
    Path(name).write_bytes(b"")
    assert main(["sweep", "read", name, *OPTIONS]) == 2
    assert "\x1b" not in capsys.readouterr().err
