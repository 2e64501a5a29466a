"""The sweep itself, and the WAV files that carry it."""

import io
import struct

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from kerfwave.measure.errors import RecordingError, SettingError
from kerfwave.measure.sweep import design, from_inscription, inscription, samples, tone
from kerfwave.measure.wav import decode, encode


def test_the_sweep_is_synchronised_and_about_as_long_as_asked():
    sweep = design(seconds=10.0)
    assert sweep.cycles == round(sweep.from_hz * sweep.pace_s)
    assert abs(sweep.seconds - 10.0) < 0.5 * 10.0 / sweep.cycles
    low, high = sweep.honest_hz
    assert 20 < low < 22 and 19000 < high < 20000


def test_silence_surrounds_it_and_it_is_as_loud_as_asked():
    sweep = design(rate_hz=8000, seconds=2.0, from_hz=50, to_hz=3000, level_dbfs=-12.0, lead_s=0.25, tail_s=0.5)
    x = samples(sweep)
    assert len(x) == 2000 + round(sweep.seconds * 8000) + 4000
    assert not x[:2001].any() and not x[-4000:].any()
    assert np.abs(x).max() == pytest.approx(10 ** (-12 / 20), rel=1e-3)
    assert np.abs(np.diff(x)[:2010]).max() < 5e-4  # it does not begin with a click


@given(
    st.sampled_from([8000, 44100, 48000, 96000]),
    st.floats(0.5, 120),
    st.floats(1, 500),
    st.floats(1.0, 2.3),
    st.floats(-80, 0),
)
def test_what_a_file_says_of_itself_makes_the_same_sweep_again(rate, seconds, low, decades, level):
    high = min(low * 10**decades, 0.48 * rate)
    low, high, level = round(low, 3), round(high - 0.001, 3), round(level, 2)
    sweep = design(rate_hz=rate, seconds=round(seconds, 2), from_hz=low, to_hz=max(high, 2 * low), level_dbfs=level)
    again = from_inscription(inscription(sweep))
    assert again is not None
    assert again.cycles == sweep.cycles and again.seconds == pytest.approx(sweep.seconds, rel=1e-9)
    assert from_inscription(inscription(again)) == again


@pytest.mark.parametrize(
    "text",
    [
        "",
        "made by hand",
        "kerfwave sweep 1",
        "kerfwave sweep 1 rate_hz=48000 from_hz=20 to_hz=20000 cycles=0",
        "kerfwave sweep 1 rate_hz=48000 from_hz=20 to_hz=20 cycles=3",
        "kerfwave sweep 1 rate_hz=48000 from_hz=20 to_hz=90000 cycles=29",
        "kerfwave sweep 1 rate_hz=48000 from_hz=20 to_hz=20000 cycles=29 other=3",
        "kerfwave sweep 1 rate_hz=48000 from_hz=2..0 to_hz=20000 cycles=29",
        "kerfwave sweep 1 rate_hz=48000 from_hz=0 to_hz=20000 cycles=29",
        "kerfwave sweep 1 rate_hz=48000 from_hz=20 to_hz=20000 cycles=29000000",
    ],
)
def test_a_remark_that_describes_no_sweep_is_not_believed(text):
    assert from_inscription(text) is None


@pytest.mark.parametrize(
    "wrong",
    [
        {"rate_hz": 100},
        {"seconds": 0.1},
        {"seconds": float("nan")},
        {"from_hz": 0.0},
        {"from_hz": -20.0},
        {"to_hz": 30.0},
        {"to_hz": 24000.0},
        {"level_dbfs": 0.1},
        {"fade_in_s": 5.0},
        {"fade_out_s": -1.0},
        {"lead_s": 1e9},
        {"tail_s": float("inf")},
    ],
)
def test_numbers_out_of_range_are_refused_with_the_range(wrong):
    with pytest.raises(SettingError, match="lies between"):
        design(**wrong)


@pytest.mark.parametrize("bits", [16, 24, 32])
def test_what_is_written_is_read_back_to_the_last_bit(bits):
    x = tone(design(rate_hz=8000, seconds=0.5, from_hz=50, to_hz=3000))
    data = encode(x, 8000, bits=bits, comment="hello")
    assert data == encode(x, 8000, bits=bits, comment="hello")
    back = decode(data)
    assert (back.rate_hz, back.bits, back.floating, back.channels, back.comment) == (8000, bits, False, 1, "hello")
    assert np.abs(back.samples[:, 0] - x).max() <= 2.0 ** (1 - bits)


@pytest.mark.parametrize("kind", ["PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"])
@pytest.mark.parametrize("container", ["WAV", "WAVEX"])
@pytest.mark.parametrize("channels", [1, 2, 6])
def test_files_of_other_programs_are_read(kind, container, channels):
    x = np.linspace(-0.9, 0.9, 100 * channels).reshape(100, channels)
    out = io.BytesIO()
    soundfile.write(out, x, 44100, format=container, subtype=kind)
    back = decode(out.getvalue())
    assert back.samples.shape == (100, channels)
    assert np.abs(back.samples - x).max() < 1e-4
    assert back.floating is (kind in ("FLOAT", "DOUBLE"))


def good():
    return encode(np.zeros(1000), 48000)


def container(kind, **more):
    out = io.BytesIO()
    soundfile.write(out, np.zeros(1000), 48000, format=kind, **more)
    return out.getvalue()


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "empty"),
        (b"RI", "cut short"),
        (b"RIFF\x10\x00", "cut short"),
        (b"hello, this is text", "no WAV file"),
        (good()[:30], "cut short"),
        (good()[:43], "cut short"),
        (good()[:-1], "cut short"),
        (good()[:500], "3000 bytes of samples are promised"),
        (good()[:40] + struct.pack("<I", 0xFFFFFFFF) + good()[44:], "not finished"),
        (good()[:40] + struct.pack("<I", 0) + good()[44:], "not finished"),
        (encode(np.zeros(0), 48000), "without samples"),
        (container("FLAC"), "no WAV file"),
        (container("AIFF"), "no WAV file"),
        (container("WAV", subtype="ULAW"), "ULAW"),
        (container("WAV", subtype="PCM_U8"), "16, 24 or 32 bits"),
        (good()[:20] + b"\x99\x99" + good()[22:], "damaged"),
    ],
)
def test_what_is_no_whole_wav_file_is_refused(data, says):
    with pytest.raises(RecordingError, match=says) as refused:
        decode(data)
    assert refused.value.remedy


def test_floats_that_are_no_numbers_are_refused():
    out = io.BytesIO()
    soundfile.write(out, np.array([0.0, np.nan, 0.5]), 48000, format="WAV", subtype="FLOAT")
    with pytest.raises(RecordingError, match="not finite"):
        decode(out.getvalue())


def test_recordings_that_are_too_long_are_refused(monkeypatch):
    monkeypatch.setattr("kerfwave.measure.wav.MOST_FRAMES", 900)
    with pytest.raises(RecordingError, match="too long"):
        decode(good())
    monkeypatch.setattr("kerfwave.measure.wav.MOST_BYTES", 900)
    with pytest.raises(RecordingError, match="too much"):
        decode(good())


@given(st.binary(max_size=300), st.integers(0, 100))
def test_damaged_files_are_read_or_refused_never_anything_else(noise, at):
    data = good()
    spoiled = data[:at] + noise + data[at + len(noise) :]
    try:
        decode(spoiled)
    except RecordingError:
        return


def test_only_what_fits_is_written():
    with pytest.raises(ValueError, match="full scale"):
        encode(np.array([1.1]), 48000)
    with pytest.raises(ValueError, match="8 bits"):
        encode(np.zeros(3), 48000, bits=8)
