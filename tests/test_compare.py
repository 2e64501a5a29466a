"""Telling two packages apart: each kind of change gets its own word, and no change gets none."""

from __future__ import annotations

import copy
import json
import math

import pytest

from kerfwave.compare import compare, load_report, render_text, to_json
from kerfwave.compare.pieces import area_mm2, line_distance_mm

SQUARE = [[0, 0], [100, 0], [100, 80], [0, 80]]
HOLE = [[40, 30], [40, 50], [60, 50], [60, 30]]
FREQUENCIES = [20.0 * 2 ** (i / 6) for i in range(40)]


def piece(name, layer=1, **more):
    placement = {"sheet": 1, "x_mm": 5.0, "y_mm": 5.0, "turn_deg": 0, "flipped": False}
    return {
        "id": name, "body": 1, "layer": layer, "role": "layer", "outline": SQUARE, "holes": [HOLE],
        "placement": placement, **more,
    }  # fmt: skip


def report(**more):
    """Return a small report of our own invention, in the shape of the package contract."""
    spl = [80.0 if f > 90 else 80.0 + 40 * math.log10(f / 90) for f in FREQUENCIES]  # falls 12 dB an octave below 90 Hz
    return {
        "format": "kerfwave-report-1",
        "name": "invented",
        "spec_sha256": "0" * 64,
        "version": "0.1.0",
        "machine": {"bed_mm": [400, 400]},
        "recipe": {"kerf_mm": 0.15, "passes": 8, "feed_mm_min": 250, "power_percent": 100},
        "acoustics": {
            "network": {
                "chamber_m3": 0.0012, "guide": [{"length_m": 0.5}, {"length_m": 0.25}], "mouth": {"area_m2": 0.002},
            },
            "response": {
                "frequency_hz": FREQUENCIES, "spl_db": spl, "excursion_peak_mm": [100 / f for f in FREQUENCIES],
                "impedance_ohm": [4.2] * len(FREQUENCIES),
            },
            "relief": {"from_hz": 70, "to_hz": 200, "least_db": 1.5},
        },
        "layers": [{"index": 1, "z_mm": 0, "thickness_mm": 6.2, "stock": "ply", "pieces": ["L01"]}],
        "pieces": [piece("L01"), piece("L02", 2)],
        "nest": {"sheets": 2, "utilisation": 0.61},
        "cut": {"length_mm": 52000, "travel_mm": 8000, "time_s": 6000, "bridges": []},
        "checks": [{"id": "web", "level": "ok", "text": "narrowest wood", "value": 4, "limit": 3}],
        "safety": [{"id": "eyewear", "level": "duty", "text": "wear it", "value": 5, "unit": "OD", "source": "x"}],
        **more,
    }  # fmt: skip


def changed(*path, to):
    """Return the report with one value, found by its path, put to another."""
    data = copy.deepcopy(report())
    place = data
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = to(place[path[-1]]) if callable(to) else to
    return data


def test_the_same_report_is_the_same():
    outcome = compare(report(), report())
    assert outcome.same
    assert render_text(outcome) == "invented -> invented (same spec)\nno difference\n"
    assert to_json(outcome)["same"] is True


def test_whole_numbers_and_floats_are_equal():
    assert compare(report(), json.loads(json.dumps(report()), parse_int=float)).same


def test_another_spec_or_version_alone_is_nothing_for_the_bench():
    outcome = compare(report(), report(spec_sha256="1" * 64, version="0.2.0"))
    assert outcome.same
    assert not outcome.same_spec
    assert "no difference that the bench would notice" in render_text(outcome)


def plus(step):
    return lambda values: [value + step for value in values]


@pytest.mark.parametrize(
    ("path", "to", "name", "word", "shown"),
    [
        (("acoustics", "response", "spl_db"), plus(1), "mean level, 100 to 700 Hz", "louder", "80 -> 81 dB"),
        (("acoustics", "response", "spl_db"), plus(-1), "mean level, 100 to 700 Hz", "quieter", "80 -> 79 dB"),
        (("acoustics", "response", "excursion_peak_mm"), plus(1), "greatest excursion", "moves more", "5 -> 6 mm"),
        (("acoustics", "response", "impedance_ohm"), plus(-1), "least impedance", "lower", "4.2 -> 3.2 ohm"),
        (("acoustics", "relief", "least_db"), 2.5, "least relief in the band", "more relief", "1.5 -> 2.5 dB"),
        (("acoustics", "network", "chamber_m3"), 0.0011, "chamber", "smaller", "1.2 -> 1.1 l"),
        (("acoustics", "network", "guide"), [{"length_m": 0.8}], "guide length", "longer", "750 -> 800 mm"),
        (("acoustics", "network", "mouth", "area_m2"), 0.0025, "mouth", "larger", "20 -> 25 cm2"),
        (("layers", 0, "thickness_mm"), 6.0, "stack", "lower", "6.2 -> 6 mm"),
        (("nest", "sheets"), 3, "sheets", "more sheets", "2 -> 3"),
        (("nest", "sheets"), [1], "sheets", "fewer sheets", "2 -> 1"),
        (("nest", "utilisation"), 0.7, "sheet in use", "fuller", "61 -> 70 %"),
        (("recipe", "passes"), 7, "passes", "fewer", "8 -> 7"),
        (("recipe", "feed_mm_min"), 300, "feed", "faster", "250 -> 300 mm/min"),
        (("recipe", "power_percent"), 90, "power", "weaker", "100 -> 90 %"),
        (("recipe", "kerf_mm"), 0.16, "kerf", "wider", "0.15 -> 0.16 mm"),
        (("cut", "length_mm"), 51000, "cut length", "shorter", "52 -> 51 m"),
        (("cut", "travel_mm"), 9000, "travel", "longer", "8 -> 9 m"),
        (("cut", "time_s"), 6600, "machine time", "longer", "100 -> 110 min"),
        (("cut", "bridges"), [{}], "bridges", "more", "0 -> 1"),
    ],
)
def test_each_headline_has_its_word(path, to, name, word, shown):
    outcome = compare(report(), changed(*path, to=to))
    assert not outcome.same
    (moved,) = [moved for moved in outcome.numbers if moved.name == name]
    assert moved.word == word
    assert outcome.others == ()
    (line,) = [line for line in render_text(outcome).splitlines() if f"  {name}  " in line]
    assert line.partition(f"  {name}  ")[0].strip() == word
    assert shown in line


def test_the_bass_corner_is_where_the_level_is_6_db_down():
    """A fall of 40 dB a decade from 90 Hz is 6 dB down at 90 / 10^(6/40) = 63.7 Hz."""
    lower = changed(
        "acoustics",
        "response",
        "spl_db",
        to=lambda spl: [max(v, 77.0) if f > 50 else v for f, v in zip(FREQUENCIES, spl, strict=True)],
    )
    (moved,) = [moved for moved in compare(report(), lower).numbers if "corner" in moved.name]
    assert moved.a == pytest.approx(90 / 10 ** (6 / 40), abs=1.0)  # the curve has six points to the octave
    assert moved.word == "deeper"
    (back,) = [moved for moved in compare(lower, report()).numbers if "corner" in moved.name]
    assert back.word == "less deep"


def test_the_level_is_told_where_it_moved_most():
    index = 24
    bump = changed("acoustics", "response", "spl_db", to=lambda spl: [*spl[:index], 83.0, *spl[index + 1 :]])
    first = compare(report(), bump).numbers[0]
    assert first.name == "level at 315 Hz (moved most)"  # the nearest of its twelve steps to the octave
    assert (first.a, first.word) == (80.0, "louder")
    assert 82.5 < first.b <= 83.0


def test_a_change_below_the_last_decimal_is_told_without_a_number():
    outcome = compare(report(), changed("recipe", "kerf_mm", to=0.15001))
    assert outcome.numbers == ()
    assert outcome.others == ("recipe.kerf_mm",)
    assert not outcome.same


def test_pieces_new_gone_and_changed():
    wider = [[0, 0], [102, 0], [102, 80], [0, 80]]
    other = report(pieces=[piece("L01", outline=wider), piece("L03", 3)])
    outcome = compare(report(), other)
    told = [(change.id, change.kind) for change in outcome.pieces]
    assert told == [("L01", "changed"), ("L02", "gone"), ("L03", "new")]
    assert outcome.pieces[0].moved_mm == pytest.approx(2.0)
    assert outcome.pieces[0].area_b_mm2 - outcome.pieces[0].area_a_mm2 == pytest.approx(160.0)
    text = render_text(outcome)
    assert "pieces: 1 changed, 1 new, 1 gone" in text
    assert "lines moved up to 2 mm  area +160 mm2".replace("  ", ", ") in text


def test_the_last_digits_are_no_difference():
    noisy = json.loads(json.dumps(report(mass=1)), parse_float=lambda text: float(text) * (1 + 1e-9))
    assert compare(report(mass=1), noisy).same
    light, heavy = (report(pieces=[piece("L01", mass_g=mass), piece("L02", 2)]) for mass in (12.31, 12.32))
    assert compare(light, heavy).pieces == ()


def test_a_ring_that_starts_elsewhere_is_the_same_piece():
    outcome = compare(report(), report(pieces=[piece("L01", outline=[*SQUARE[2:], *SQUARE[:2]]), piece("L02", 2)]))
    assert outcome.pieces == ()
    assert outcome.others == ("pieces",)


def test_facts_of_a_piece_and_its_place():
    moved = piece("L01")["placement"] | {"sheet": 2}
    outcome = compare(report(), report(pieces=[piece("L01", 5, placement=moved), piece("L02", 2)]))
    (change,) = outcome.pieces
    assert change.fields == ("layer",)
    assert outcome.placed_elsewhere == 1
    text = render_text(outcome)
    assert "pieces: 1 changed, 1 placed elsewhere" in text
    assert "other layer" in text


def test_the_two_bodies_of_a_pair_are_kept_apart():
    pair = [piece("L01"), piece("L01", body=2)]
    outcome = compare(report(pieces=pair[:1]), report(pieces=pair))
    assert [(change.id, change.body, change.kind) for change in outcome.pieces] == [("L01", 2, "new")]
    assert "L01 (body 2)" in render_text(outcome)


def test_areas_and_distances_by_hand():
    assert area_mm2(piece("x")) == 100 * 80 - 20 * 20
    assert area_mm2({"outline": SQUARE[::-1]}) == 8000
    shifted = piece("x", outline=[[x + 3, y + 4] for x, y in SQUARE], holes=[[[x + 3, y + 4] for x, y in HOLE]])
    assert line_distance_mm(piece("x"), shifted) == pytest.approx(5.0)  # corner to corner, 3-4-5
    # A hole that is new: no corner of it is farther than 30 mm from an edge, but the middle of its left side is 40 mm.
    assert line_distance_mm(piece("x", holes=[]), piece("x")) == pytest.approx(40.0)


@pytest.mark.parametrize(
    ("a", "b", "word"),
    [
        ("ok", "warn", "worse"),
        ("fail", "ok", "better"),
        ("ok", None, "gone"),
        (None, "warn", "new"),
        ("ok", "odd", "changed"),
    ],
)
def test_checks_that_changed_level(a, b, word):
    def checks(level):
        return [] if level is None else [{"id": "web", "level": level, "text": "narrowest wood"}]

    outcome = compare(report(checks=checks(a)), report(checks=checks(b)))
    (change,) = outcome.checks
    assert change.word == word
    assert outcome.others == ()
    assert f"{word}  web  {a or 'absent'} -> {b or 'absent'}  narrowest wood" in render_text(outcome)


def test_a_line_of_the_safety_list_that_changed():
    graver = [{"id": "eyewear", "level": "stop", "text": "wear it"}]
    (change,) = compare(report(), report(safety=graver)).safety
    assert change.word == "worse"


def test_anything_else_is_at_least_named():
    outcome = compare(report(), report(machine={"bed_mm": [300, 400]}, name="renamed", more=[1]))
    assert outcome.others == ("machine.bed_mm", "more", "name")
    assert "also not the same: machine.bed_mm, more, name" in render_text(outcome)


def test_absent_parts_are_tolerated():
    bare = {"format": "kerfwave-report-1"}
    assert compare(bare, bare).same
    for a, b, word in ((bare, report(), "new"), (report(), bare, "gone")):
        outcome = compare(a, b)
        assert {moved.word for moved in outcome.numbers} == {word}
        assert {change.kind for change in outcome.pieces} == {word}
        assert "none" in render_text(outcome)
    for key in report():
        cut = report()
        del cut[key]
        render_text(compare(cut, report()))
        render_text(compare(report(), cut))
    for key in ("response", "network", "relief"):
        cut = report()
        del cut["acoustics"][key]
        json.dumps(to_json(compare(cut, report())), allow_nan=False)


def test_a_name_cannot_steer_the_terminal():
    other = report(name="\x1b[2Jnasty\n", pieces=[piece("\x1b[0m")])
    assert all(letter.isprintable() or letter == "\n" for letter in render_text(compare(report(), other)))


def test_a_report_is_found_in_its_package_or_by_its_own_name(tmp_path):
    (tmp_path / "report.json").write_text(json.dumps(report()))
    assert load_report(tmp_path) == load_report(tmp_path / "report.json") == report()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", r"report\.json:1:1 is not JSON: expecting value"),
        ('{"format": 1,}', r"report\.json:1:1[34] is not JSON"),
        ("[]", "is not a report of Kerfwave: it is no JSON object"),
        ("{}", "it has no 'format'"),
        ('{"format": "f", "x": NaN}', "'NaN' is no number that a report may hold"),
        ('{"format": "f", "x": 1e999}', "'1e999' is no number"),
        ('{"format": "f", "pieces": {}}', "'pieces' is no list of JSON objects"),
        ('{"format": "f", "checks": [1]}', "'checks' is no list of JSON objects"),
        ('{"format": "f", "acoustics": []}', "'acoustics' is no JSON object"),
        ('{"format": "f", "pieces": [{"id": "a", "outline": [[0, 0]]}]}', r"pieces\[0\] has no proper id or outline"),
        ('{"format": "f", "pieces": [{"id": "a", "outline": [[0,0],[1,0],[1,true]]}]}', r"pieces\[0\] has no proper"),
        ("[" * 100_000, "nested too deeply"),
        (b"\xff\xfe", "is not UTF-8 text"),
    ],
)  # fmt: skip
def test_anything_but_a_report_is_refused_with_a_sentence(tmp_path, text, message):
    (tmp_path / "report.json").write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(ValueError, match=message):
        load_report(tmp_path)


def test_what_is_not_there_is_said_to_be_so(tmp_path):
    with pytest.raises(ValueError, match=r"is no package: there is no report\.json in it"):
        load_report(tmp_path)
    with pytest.raises(ValueError, match="is not there"):
        load_report(tmp_path / "nowhere")
