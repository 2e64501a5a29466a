import dataclasses
import os
import subprocess
import sys
from pathlib import Path

import pytest

from kerfwave.findings import SpecError
from kerfwave.model import spec as model
from kerfwave.spec import LoadedSpec, load


def test_the_minimal_spec(minimal, write):
    path = write(minimal)
    loaded = load(path)
    assert isinstance(loaded, LoadedSpec)
    assert loaded.warnings == ()
    assert loaded.files == (path,)
    assert loaded.text == minimal
    spec = loaded.spec
    assert spec.driver == model.Driver(
        name="Invented 3-inch wide-band driver",
        fs_hz=105.0, qms=3.0, qes=0.70, vas_l=1.0, sd_cm2=22.0, re_ohm=3.6, le_mh=0.1, frame_mm=86.0, cutout_mm=72.0,
        bolt_circle_mm=79.0, depth_mm=45.0, xmax_mm=2.5, power_w=12.0,
    )  # fmt: skip
    assert spec.enclosure.plan.outline == ((-75.0, 0.0), (75.0, 0.0), (120.0, 200.0), (-120.0, 200.0))
    assert spec.enclosure.terminals == model.Terminals()
    assert spec.stock.measured_mm == (5.9, 6.0, 5.95)
    assert spec.stock.sheets == (model.SheetStock(380.0, 380.0, 40, 4.5),)
    assert (spec.machine.bed_width_mm, spec.machine.bed_height_mm) == (400.0, 400.0)
    assert spec.machine.start == ("G21 G90", "G0 X0 Y0")
    assert spec.drive == model.Drive()
    assert spec.listening == model.Listening()
    assert hash(spec) == hash(load(path).spec)


def _leaf_types(value, path="spec"):
    if dataclasses.is_dataclass(value):
        for field in dataclasses.fields(value):
            yield from _leaf_types(getattr(value, field.name), f"{path}.{field.name}")
    elif isinstance(value, tuple):
        for part in value:
            yield from _leaf_types(part, path)
    else:
        yield path, type(value)


def test_whole_and_decimal_numbers_give_the_same_value_to_the_byte(minimal, write):
    one = load(write(minimal)).spec
    other = minimal.replace("fs_hz: 105", "fs_hz: 105.0").replace("count: 40", "count: 40.0").replace("8\n", "8.0\n")
    two = load(write(other.replace("[400, 400]", "[400.0, 4.0e+2]"))).spec
    assert one == two
    assert list(_leaf_types(one)) == list(_leaf_types(two))
    assert repr(one) == repr(two)


def test_truth_values_are_not_numbers(findings, minimal):
    for value in ("true", "false"):
        (finding,) = findings(minimal.replace("passes: 8", f"passes: {value}"))
        assert (finding.code, finding.message) == ("K203", f"passes is {value}; expected a whole number")
        (finding,) = findings(minimal.replace("fs_hz: 105", f"fs_hz: {value}"))
        assert finding.code == "K203"


def test_one_reading_may_be_a_number(minimal, write):
    text = minimal.replace("measured_mm: [5.9, 6.0, 5.95]", "measured_mm: 6")
    assert load(write(text)).spec.stock.measured_mm == (6.0,)


def test_everything_that_may_be_said(minimal, write):
    more = minimal.replace("room:\n", "room:\n  eyewear: {from_nm: 190, to_nm: 550, optical_density: 6, lb: 5}\n")
    more += "  extraction: {flow_m3_h: 200, capture: enclosure, outdoors: true, open_area_cm2: 60}\n"
    more += "  smoke_alarm: true\n  extinguisher: water\n  bystander_m: 3\nnotes: |\n  Two\n  lines.\n"
    more = more.replace("power_scale: 1000", "power_scale: 1000\n  air_on: M8\n  air_off: M9\n  laser_on: M3")
    spec = load(write(more)).spec
    assert spec.room.eyewear == model.Eyewear(190.0, 550.0, 6.0, 5)
    assert spec.room.extraction == model.Extraction(200.0, "enclosure", True, None, 60.0)
    assert spec.notes == "Two\nlines.\n"
    assert (spec.machine.laser_on, spec.machine.air_on) == ("M3", "M8")


def test_an_offcut_with_an_outline_and_what_is_kept_out(minimal, write):
    offcut = (
        "{outline_mm: [[0, 20], [380, 0], [300, 260]], count: 1, keep_out: [{shape: circle, what: magnet, x_mm: 50, "
        "y_mm: 60, diameter_mm: 20}, {shape: rectangle, what: clamp, x_mm: 0, y_mm: 0, width_mm: 30, height_mm: 9, "
        "clearance_mm: 4}]}"
    )
    (sheet,) = load(
        write(minimal.replace("{width_mm: 380, height_mm: 380, count: 40, price: 4.5}", offcut))
    ).spec.stock.sheets
    assert (sheet.width_mm, sheet.height_mm) == (380.0, 260.0)
    assert sheet.outline_mm == ((0.0, 20.0), (380.0, 0.0), (300.0, 260.0))
    assert sheet.keep_out == (
        model.KeepOut("circle", "magnet", 50.0, 60.0, 20.0),
        model.KeepOut("rectangle", "clamp", 0.0, 0.0, None, 30.0, 9.0, None, 4.0),
    )


@pytest.mark.parametrize(
    ("written", "code"),
    [
        ("{outline_mm: [[0, 0], [380, 0], [0, 300]], width_mm: 380, count: 1}", "K208"),
        ("{width_mm: 380, count: 1}", "K202"),
        ("{count: 1}", "K202"),
        ("{outline_mm: [[0, 0], [380, 0]], count: 1}", "K207"),
        ("{width_mm: 90, height_mm: 90, count: 1, keep_out: [{shape: circle, what: knot, x_mm: 5, y_mm: 5}]}", "K202"),
        (
            "{width_mm: 90, height_mm: 90, count: 1, keep_out: [{shape: polygon, what: knot, x_mm: 5, "
            "points_mm: [[1, 1], [9, 1], [5, 9]]}]}",
            "K208",
        ),
        (
            "{width_mm: 90, height_mm: 90, count: 1, keep_out: [{shape: polygon, what: knot, "
            "points_mm: [[1, 1], [9, 9], [9, 1], [1, 9]]}]}",
            "K419",
        ),
    ],
)
def test_sheets_that_are_neither_one_nor_the_other(findings, minimal, written, code):
    found = findings(minimal.replace("{width_mm: 380, height_mm: 380, count: 40, price: 4.5}", written))
    assert {finding.code for finding in found} == {code}


def test_a_shelf_file_with_a_sheet_of_no_size(minimal, write, findings):
    stock = minimal[minimal.index("stock:\n") : minimal.index("machine:\n")]
    lines = [line[2:] for line in stock.splitlines()[1:]]
    text = "\n".join(lines).replace("width_mm: 380, ", "") + "\n"
    write(text, "stock/thin.yaml")
    (finding,) = findings(minimal.replace(stock, "stock: stock/thin.yaml\n"))
    assert (finding.code, finding.file) == ("K202", "stock/thin.yaml")
    assert "width_mm" in finding.message


def test_locate(minimal, write):
    loaded = load(write(minimal))
    lines = minimal.splitlines()

    def here(*path):
        file, line, column, text = loaded.locate(path)
        assert file == "spec.yaml"
        assert text == lines[line - 1]
        return text[column - 1 :]

    assert here("driver", "fs_hz") == "105"
    assert here("driver", "mms_g") == "driver:"
    assert here("drive", "volts") == "format: 1"
    assert here("machine", "bed_height_mm") == "400]"
    assert here("machine", "laser", "spot_mm") == "0.08}"
    assert here("stock", "sheets", 0, "count").startswith("40,")
    assert here("recipes", 0, "provenance", "note") == "common practice}"
    assert here("enclosure", "plan", "outline") == "plan:"


def test_errors_say_all_at_once_and_broken_parts_do_not_hide_others(findings, minimal):
    text = minimal.replace("qes: 0.70", "qes: 0.70\n  qts: 0.7").replace("band_to_hz: 700", "band_to_hz: 60")
    text = text.replace("glue: muf\n  thick", "glue: fish\n  thick").replace("power_scale: 1000", "power_skale: 1000")
    text = text.replace("height_mm: 260", "height_mm: 26").replace("measured: false", "measured: maybe")
    assert [finding.code for finding in findings(text)] == ["K401", "K404", "K204", "K205", "K201", "K203"]


@pytest.mark.parametrize(
    ("right", "wrong", "hint"),
    [
        ("bed_mm: [400, 400]", "bed_mm: 400x400", "[400, 400]"),
        ("room:\n", "re_ohm: 3.6\nroom:\n", "move it to driver"),  # never taken for a misspelt room
        ("  qms: 3.0", "  format: 1\n  qms: 3.0", "delete it here"),
        ("width_mm: 380,", "width_mm: 380,5,", "decimals stand after a point"),
        ("[5.9, 6.0, 5.95]", "[5,9, 6,1]", "decimals after a point"),  # a mean of 5.25 mm would be built from
        ("[5.9, 6.0, 5.95]", "[5,09, 6,1]", "9, or"),
        ("  height_mm: 260", "  height_mm:260", "a colon and a space after each key"),
        ("  level_db: 78", "   level_db: 78", "one key: value on a line, neighbours at one indent"),
    ],
)
def test_a_slip_is_told_where_it_stands_and_what_would_be_right(findings, minimal, right, wrong, hint):
    text = minimal.replace(right, wrong, 1)
    first = findings(text)[0]
    assert first.level == "error" and first.hint.startswith(hint)
    assert first.line == text[: text.index(wrong)].count("\n") + 1


@pytest.mark.parametrize("name", ["name", "material", "date"])
def test_one_line_texts_stay_on_one_line(findings, minimal, name):
    text = minimal.replace("provenance: {measured: false,", 'provenance: {measured: false, date: "x",')
    text = text.replace("Shelf speaker, invented", "Shelf speaker")
    start = text.index(f"{name}: ") + len(name) + 2
    end = min(text.index(sign, start) for sign in "\n,")
    found = findings(text[:start] + '"G0 X0\\nM3 S1000"' + text[end:])
    assert "K206" in [finding.code for finding in found]


@pytest.mark.parametrize("sign", ["\\e[2J", "\\0", "\\a", "\\u202e", "\\u200b", "\\x7f", "\\x9b", "\\ud800", "\\uffff"])
def test_texts_are_printable(findings, minimal, sign):
    (finding,) = findings(minimal.replace("common practice", f'"{sign}"'))
    assert finding.code in ("K116", "K105")


def test_unusual_texts_that_are_fine(minimal, write):
    for name in ("Lautsprecher fürs Museum", "展示用スピーカー", "5 % <b>&amp;</b> =SUM(A1)", "a b\u3000c"):
        assert load(write(minimal.replace("Shelf speaker, invented", f"'{name}'"))).spec.name == name


def test_a_name_has_at_most_80_characters(findings, minimal):
    assert findings(minimal.replace("Shelf speaker, invented", "x" * 80)) == ()
    (finding,) = findings(minimal.replace("Shelf speaker, invented", "x" * 81))
    assert (finding.code, finding.why) == ("K206", "allowed: 1 to 80 characters")


def test_what_is_no_file(tmp_path):
    fifo = tmp_path / "pipe.yaml"
    os.mkfifo(fifo)
    for path in (tmp_path, tmp_path / "none.yaml", fifo, Path("/dev/zero"), Path("a\0b"), tmp_path / ("x" * 300)):
        with pytest.raises(SpecError) as caught:
            load(path)
        assert [finding.code for finding in caught.value.findings] == ["K101"]


def test_a_file_that_may_not_be_read(minimal, write, monkeypatch):
    path = write(minimal)

    def refuse(*_args, **_more):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(SpecError) as caught:
        load(path)
    (finding,) = caught.value.findings
    assert (finding.code, finding.message) == ("K101", "the file cannot be read: Permission denied")


def test_a_good_spec_needs_no_heavy_import(minimal, write):
    code = (
        "import sys; from pathlib import Path; from kerfwave.spec import load; load(Path('spec.yaml'));"
        "print(sorted({'numpy', 'scipy', 'shapely', 'jsonschema', 'jinja2'} & set(sys.modules)))"
    )
    write(minimal)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"


def test_count_is_one_body_or_a_pair(minimal, write):
    assert load(write(minimal)).spec.count == 1
    assert load(write(minimal.replace("format: 1", "format: 1\ncount: 2"))).spec.count == 2
