"""Round trips on simulated rigs: what is known of the rig is read from the recording of it."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

import sweep_rigs as rigs
from kerfwave.measure.errors import RecordingError, SettingError
from kerfwave.measure.microphone import Correction
from kerfwave.measure.reading import Settings, read
from kerfwave.measure.sweep import design, samples, tone

RATE = 16000
SWEEP = design(rate_hz=RATE, seconds=4.0, from_hz=30.0, to_hz=7000.0)
BAND = signal.butter(2, [80.0, 5000.0], "band", fs=RATE, output="sos")


def check(found, name):
    return next((c for c in found.checks if c.id == name), None)


def errors_db(found, filtered, gain, rate=RATE):
    hz = np.asarray(found.response.frequency_hz)
    return hz, np.asarray(found.response.level_db) - rigs.level_db(filtered, hz, rate) - 20 * math.log10(gain)


def test_a_clean_recording_gives_the_known_response():
    found = read(rigs.record(tone(SWEEP), RATE, filtered=BAND), RATE, SWEEP)
    hz, error = errors_db(found, BAND, 0.5)
    assert hz[0] < 37 and hz[-1] > 6800
    assert np.abs(error).max() < 0.1
    assert np.abs(error[(hz > 60) & (hz < 6500)]).max() < 0.003
    assert [c.level for c in found.checks] == ["ok"] * 4


@settings(max_examples=12, deadline=None)
@given(
    st.floats(-30, 0),
    st.booleans(),
    st.integers(0, 20000),
    st.floats(60, 90),
    st.integers(0, 2**31),
)
def test_gain_polarity_delay_and_noise_do_not_matter(gain_db, inverted, delay, snr_db, seed):
    gain = 10 ** (gain_db / 20) * (-1 if inverted else 1)
    heard = rigs.record(tone(SWEEP), RATE, before_s=delay / RATE, gain=gain, filtered=BAND, snr_db=snr_db, seed=seed)
    found = read(heard, RATE, SWEEP, Settings(smooth=24))
    hz, error = errors_db(found, BAND, abs(gain))
    inside = (hz > 60) & (hz < 6500)
    assert np.abs(error[inside]).max() < 0.1
    assert found.inverted is inverted
    assert found.start_s == pytest.approx(delay / RATE, abs=3e-4)  # the filter's own delay is in it


def test_harmonics_are_read_within_one_percent_of_themselves_at_60_db():
    sweep = design(rate_hz=48000, seconds=10.0, from_hz=20.0, to_hz=4000.0)
    shares = {2: 0.03, 3: 0.01, 4: 0.005, 5: 0.003}
    filtered = signal.butter(1, [40.0, 12000.0], "band", fs=48000, output="sos")
    heard = rigs.record(rigs.bent(sweep, shares), 48000, filtered=filtered, snr_db=60)
    found = read(heard, 48000, sweep)
    hz = np.asarray(found.distortion.frequency_hz)
    inside = (hz > 30) & (hz < 3000)
    for harmonic in found.distortion.harmonics:
        known = (
            100
            * shares[harmonic.order]
            * 10 ** ((rigs.level_db(filtered, harmonic.order * hz, 48000) - rigs.level_db(filtered, hz, 48000)) / 20)
        )
        seen = np.asarray([np.nan if p is None else p for p in harmonic.percent])
        assert np.abs(seen / known - 1)[inside].max() < 0.01, harmonic.order
    one = int(np.argmin(np.abs(hz - 1000)))
    squares = sum(h.percent[one] ** 2 for h in found.distortion.harmonics)
    assert found.distortion.total_percent[one] == pytest.approx(math.sqrt(squares))
    level = np.asarray(found.response.level_db) - rigs.level_db(filtered, found.response.frequency_hz, 48000)
    assert np.abs(level - 20 * math.log10(0.5)).max() < 0.1


def test_without_distortion_none_is_told():
    found = read(rigs.record(tone(SWEEP), RATE, filtered=BAND, snr_db=60), RATE, SWEEP)
    for harmonic in found.distortion.harmonics:
        told = [p for p in harmonic.percent if p is not None]
        assert len(told) <= 0.1 * len(harmonic.percent)
        floors = [p for p in harmonic.floor_percent if p is not None]
        assert floors and max(floors) < 0.5


@pytest.mark.parametrize("snr_db", [50, 40, 20])
def test_the_signal_to_noise_ratio_is_estimated(snr_db):
    found = read(rigs.record(tone(SWEEP), RATE, gain=0.5, snr_db=snr_db), RATE, SWEEP)
    share = (found.band_hz[1] - found.band_hz[0]) / (RATE / 2)  # of the white noise, what lies in the band
    assert found.snr_db == pytest.approx(snr_db - 10 * math.log10(share), abs=1.0)


def test_a_noisy_recording_says_so_and_names_the_bands():
    found = read(rigs.record(tone(SWEEP), RATE, filtered=BAND, snr_db=3), RATE, SWEEP)
    said = check(found, "noise")
    assert said.level in ("warn", "fail") and "too noisy" in said.text and "4000" in said.text
    worse = read(rigs.record(tone(SWEEP), RATE, filtered=BAND, snr_db=-10), RATE, SWEEP)
    assert check(worse, "noise").level == "fail"


@pytest.mark.parametrize("bits", [16, 24, 25])
def test_a_clipped_recording_says_so(bits):
    step = 2.0 ** (1 - bits)
    clean = np.round(rigs.record(tone(SWEEP), RATE, gain=9.0, filtered=BAND) / step) * step
    assert check(read(clean, RATE, SWEEP, bits=bits), "clipped").level == "ok"
    cut = np.clip(clean * 1.5, -1, 1 - step)
    said = check(read(cut, RATE, SWEEP, bits=bits), "clipped")
    assert said.level == "fail" and said.value > 100


@pytest.mark.parametrize("bits", [16, 24])
@pytest.mark.parametrize("level", [0.05, 0.3, 0.95])
def test_clipping_before_the_recorder_is_noticed_and_a_plain_sweep_is_not_taken_for_it(bits, level):
    step = 2.0 ** (1 - bits)
    plain = level / SWEEP.amplitude * rigs.record(tone(SWEEP), RATE, gain=1.0)
    assert check(read(np.round(plain / step) * step, RATE, SWEEP, bits=bits), "clipped").level == "ok"
    flat = np.round(np.clip(plain, -0.9 * level, 0.9 * level) / step) * step
    assert check(read(flat, RATE, SWEEP, bits=bits), "clipped").level == "fail"


def test_silence_is_refused():
    for quiet in (np.zeros(80000), np.full(80000, 0.3), 2e-5 * np.random.default_rng(1).standard_normal(80000)):
        with pytest.raises(RecordingError, match="silent"):
            read(quiet, RATE, SWEEP)


def noise(count):
    return 0.1 * np.random.default_rng(2).standard_normal(count)


@pytest.mark.parametrize(
    "other",
    [
        noise(90000),
        np.sin(np.arange(90000) * 0.3) * 0.2,
        0.5 * (np.arange(90000) % 9000 == 0),
        np.cumsum(noise(90000)) * 0.01,
        0.3 * signal.chirp(np.arange(64000) / RATE, 30, 4.0, 7000, method="linear"),
    ],
    ids=["noise", "tone", "clicks", "rumble", "linear"],
)
def test_what_is_no_exponential_sweep_is_refused(other):
    with pytest.raises(RecordingError, match=r"no exponential sweep|no sweep|another sweep"):
        read(other, RATE, SWEEP)


@pytest.mark.parametrize(
    "other", [{"seconds": 3.0}, {"seconds": 8.0}, {"seconds": 4.0, "from_hz": 60.0}, {"seconds": 4.0, "to_hz": 3500.0}]
)
def test_another_sweep_is_refused_with_its_pace(other):
    wrong = design(**{"rate_hz": RATE, "from_hz": 30.0, "to_hz": 7000.0, **other})
    heard = rigs.record(tone(wrong), RATE, filtered=BAND, snr_db=40)
    with pytest.raises(RecordingError, match="another sweep") as refused:
        read(heard, RATE, SWEEP)
    told = float(str(refused.value).split("octave in ")[1].split(" s")[0])
    assert told == pytest.approx(wrong.pace_s * math.log(2), rel=0.03)


def test_a_recording_at_another_rate_is_read_for_what_it_is():
    sweep = design(rate_hz=48000, seconds=4.0, from_hz=30.0, to_hz=15000.0)
    at_441 = signal.resample_poly(np.pad(0.5 * tone(sweep), (20000, 48000)), 147, 160)
    found = read(at_441, 44100, sweep)
    assert check(found, "rate").level == "warn" and "44100" in check(found, "rate").text
    level = np.asarray(found.response.level_db)[np.asarray(found.response.frequency_hz) < 14000]
    assert np.abs(level - 20 * math.log10(0.5)).max() < 0.1
    low = read(signal.resample_poly(np.pad(0.5 * tone(sweep), (20000, 48000)), 1, 3), 16000, sweep)
    assert low.band_hz[1] < 7700
    assert "7" in check(low, "rate").text
    assert abs(low.response.level_db[300] - 20 * math.log10(0.5)) < 0.1
    with pytest.raises(RecordingError, match="cannot hold"):
        read(at_441, 100, sweep)


def test_a_rate_that_the_header_gets_wrong_is_noticed():
    sweep = design(rate_hz=48000, seconds=4.0, from_hz=30.0, to_hz=15000.0)
    heard = np.pad(0.5 * tone(sweep), 9000)
    with pytest.raises(RecordingError, match=r"another rate.*44100 Hz were taken for 48000 Hz"):
        read(signal.resample_poly(heard, 147, 160), 48000, sweep)
    with pytest.raises(RecordingError, match="another"):
        read(heard, 44100, sweep)


def test_a_recording_that_misses_a_part_says_what_is_left():
    whole = rigs.record(tone(SWEEP), RATE, before_s=0.0, after_s=0.0)
    early = read(whole[: 3 * RATE], RATE, SWEEP)
    assert early.band_hz[1] == pytest.approx(SWEEP.hz_at(3.0) / 2 ** (1 / 3), rel=0.01)
    assert "start it earlier" in check(early, "whole").text
    late = read(whole[RATE // 2 :], RATE, SWEEP)
    assert late.band_hz[0] == pytest.approx(SWEEP.hz_at(0.5) * 2 ** (1 / 3), rel=0.01)
    for part in (early, late):
        assert np.abs(np.asarray(part.response.level_db) - 20 * math.log10(0.5)).max() < 0.2
    with pytest.raises(RecordingError):
        read(whole[: RATE // 2], RATE, SWEEP)


def test_the_gate_shuts_a_reflection_out_and_says_what_it_cannot_tell():
    straight = rigs.record(tone(SWEEP), RATE)
    echo = straight.copy()
    echo[160:] += 0.5 * straight[:-160]  # 10 ms later
    room = read(echo, RATE, SWEEP)
    gated = read(echo, RATE, SWEEP, Settings(gate_s=0.009))
    assert np.ptp(room.response.level_db) > 6
    level = np.asarray(gated.response.level_db)
    assert gated.band_hz[0] == pytest.approx(1 / (0.009 * 0.875))
    clear = np.asarray(gated.response.frequency_hz) > 2 * gated.band_hz[0]
    # A gate blurs by one over its length, here 127 Hz: what is left is the sharp end of the band at 30 Hz.
    assert np.abs(level - 20 * math.log10(0.5))[clear].max() < 0.25
    assert np.abs(level - 20 * math.log10(0.5)).max() < 0.7
    assert f"nothing below {gated.band_hz[0]:.0f} Hz" in check(gated, "gate").text
    assert gated.impulse.time_s[-1] < 0.009
    peak = int(np.argmax(np.abs(gated.impulse.value)))
    assert gated.impulse.time_s[peak] == 0
    with pytest.raises(SettingError, match="gate"):
        read(straight, RATE, SWEEP, Settings(gate_s=9.0))
    short = design(rate_hz=RATE, seconds=4.0, from_hz=30.0, to_hz=100.0)
    with pytest.raises(RecordingError, match="longer gate"):
        read(rigs.record(tone(short), RATE), RATE, short, Settings(gate_s=0.005))


def test_the_microphone_is_taken_off_at_the_frequency_that_it_hears():
    tilt = Correction((20.0, 8000.0), (-10.0, 10.0))
    shares = {2: 0.02}
    sweep = design(rate_hz=RATE, seconds=4.0, from_hz=30.0, to_hz=3000.0)
    heard = rigs.record(rigs.bent(sweep, shares), RATE)
    bare, right = read(heard, RATE, sweep), read(heard, RATE, sweep, Settings(microphone=tilt))
    hz = np.asarray(bare.response.frequency_hz)
    wanted = np.asarray(bare.response.level_db) - tilt.at(hz)
    assert np.allclose(right.response.level_db, wanted, atol=1e-9)
    at = int(np.argmin(np.abs(np.asarray(right.distortion.frequency_hz) - 500)))
    octave_db = 20 * math.log(2) / math.log(400)
    assert right.distortion.harmonics[0].percent[at] == pytest.approx(2.0 * 10 ** (-octave_db / 20), rel=0.01)


def test_full_scale_makes_levels_absolute_at_the_drive_of_the_sweep():
    found = read(rigs.record(tone(SWEEP), RATE), RATE, SWEEP, Settings(full_scale_db=120.0))
    assert found.response.absolute
    # The sweep's sine of -20 dBFS is recorded at -26.02 dBFS; a full sine would be 120 dB.
    assert np.abs(np.asarray(found.response.level_db) - (120 - 20 + 20 * math.log10(0.5))).max() < 0.1


def test_phase_refers_to_the_peak_or_to_the_time_asked_for():
    heard = rigs.record(tone(SWEEP), RATE, before_s=0.25)
    assert np.abs(read(heard, RATE, SWEEP).response.phase_deg).max() < 2
    later = read(heard, RATE, SWEEP, Settings(time_zero_s=0.24))
    hz = np.asarray(later.response.frequency_hz)
    wanted = np.degrees(np.angle(np.exp(-2j * np.pi * hz * 0.01)))
    turned = np.degrees(np.angle(np.exp(1j * np.radians(np.asarray(later.response.phase_deg) - wanted))))
    assert np.abs(turned).max() < 2


def test_two_clocks_that_differ_are_told_and_the_level_holds():
    drifting = replace(SWEEP, rate_hz=RATE, cycles=SWEEP.cycles)
    right = rigs.record(tone(drifting), RATE)
    slow = signal.resample(right, round(len(right) * 1.004))
    found = read(slow, RATE, SWEEP, Settings(smooth=12))
    assert check(found, "clocks").value == pytest.approx(1.004, abs=0.001)


def test_the_file_itself_read_back_is_flat():
    found = read(samples(SWEEP), RATE, SWEEP)
    assert np.abs(found.response.level_db).max() < 0.1
    assert found.start_s == pytest.approx(0.5)
    assert not found.inverted
