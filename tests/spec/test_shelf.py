from pathlib import Path

import pytest

from kerfwave.findings import SpecError
from kerfwave.spec import load

PARTS = {"driver": "drivers/invented.yaml", "stock": "stock/birch.yml", "machine": "machines/open frame.yaml"}


def _split(minimal: str) -> tuple[str, dict[str, str]]:
    """Cut the minimal spec into one that names shelf files, and those files."""
    files, rest, current = {}, [], None
    for line in minimal.splitlines():
        if line and not line[0].isspace():
            current = line.rstrip(":") if line.rstrip(":") in (*PARTS, "recipes") else None
            if current in PARTS:
                rest.append(f"{current}: {PARTS[current]}")
            if current:
                continue
        if current == "recipes":
            files.setdefault("recipes/all.yaml", ["entries:"]).append(line)
        elif current:
            files.setdefault(PARTS[current], []).append(line[2:])
        else:
            rest.append(line)
    return "\n".join(rest) + "\n", {name: "\n".join(lines) + "\n" for name, lines in files.items()}


@pytest.mark.parametrize(
    "where", ["specs/a.yaml", "specs/one/two/a.yaml", "specs/one/two/three/a.yaml", "a.yaml", "job/a.yaml"]
)
def test_inline_and_shelf_give_equal_specs(minimal, write, where):
    text, files = _split(minimal)
    inline = load(write(minimal)).spec
    for name, content in files.items():
        write(content, f"specs/{name}")
    loaded = load(write(text, where))
    assert loaded.spec == inline
    expected = [where, *(f"specs/{name}" for name in (*PARTS.values(), "recipes/all.yaml"))]
    assert [path.as_posix() for path in loaded.files] == expected
    absolute = load(Path(where).absolute())
    assert absolute.spec == inline
    assert absolute.files == tuple(Path.cwd() / name for name in expected)
    file, line, _, text_line = loaded.locate(("stock", "density_kg_m3"))
    assert (file, text_line) == ("specs/stock/birch.yml", "density_kg_m3: 680")
    assert files["stock/birch.yml"].splitlines()[line - 1] == text_line
    assert loaded.locate(("recipes", 0, "kerf_mm"))[0] == "specs/recipes/all.yaml"
    assert loaded.locate(("target", "level_db"))[0] == where


def test_a_shelf_too_far_up_is_not_found(minimal, write):
    text, files = _split(minimal)
    for name, content in files.items():
        write(content, f"specs/{name}")
    with pytest.raises(SpecError) as caught:
        load(write(text, "specs/1/2/3/4/a.yaml"))
    assert [f.code for f in caught.value.findings] == ["K303"] * 3


def test_recipes_come_from_every_file_of_the_shelf_in_order_of_name(minimal, write):
    text, files = _split(minimal)
    for name, content in files.items():
        if not name.startswith("recipes"):
            write(content, name)
    for name in ("b.yaml", "a.yaml", "c.yml"):
        write(files["recipes/all.yaml"].replace("name: birch 6 mm", f"name: from {name}"), f"recipes/{name}")
    write("not: a recipe", "recipes/readme.txt")
    loaded = load(write(text))
    assert [entry.name for entry in loaded.spec.recipes] == ["from a.yaml", "from b.yaml", "from c.yml"]
    assert [path.name for path in loaded.files[-3:]] == ["a.yaml", "b.yaml", "c.yml"]
    assert load(write(text + "recipes: []\n")).spec.recipes == ()
    mixed = minimal[minimal.index("  - name: birch") : minimal.index("room:")]
    loaded = load(write(text + f"recipes:\n  - recipes/c.yml\n{mixed}  - recipes/a.yaml\n"))
    assert [entry.name for entry in loaded.spec.recipes] == ["from c.yml", "birch 6 mm", "from a.yaml"]
    assert loaded.locate(("recipes", 1, "passes"))[0] == "spec.yaml"
    assert loaded.locate(("recipes", 2, "passes"))[0] == "recipes/a.yaml"


@pytest.mark.parametrize(
    "name",
    [
        "../secret.yaml", "drivers/../../secret.yaml", "drivers/../secret.yaml", "drivers/./invented.yaml",
        "/etc/passwd", "/etc/passwd.yaml", "~/secret.yaml", "drivers//invented.yaml", "drivers/", "drivers",
        "C:/secret.yaml", "drivers\\invented.yaml", "stock/birch.yml", "drivers/invented.txt", "invented",
        "invented.yaml",
        "file:///etc/passwd.yaml", ".", "..", "drivers/..", "DRIVERS/invented.yaml",
    ],
)  # fmt: skip
def test_names_that_lead_elsewhere_are_refused(minimal, write, name):
    text, files = _split(minimal)
    for file, content in files.items():
        write(content, f"specs/{file}")
    write(files["drivers/invented.yaml"], "specs/secret.yaml")
    with pytest.raises(SpecError) as caught:
        load(write(text.replace("drivers/invented.yaml", f"'{name}'"), "specs/a.yaml"))
    (finding,) = caught.value.findings
    assert (finding.code, finding.file, finding.source_line) == ("K302", "specs/a.yaml", f"driver: '{name}'")


def test_links_may_stay_inside_and_not_lead_out(minimal, write):
    text, files = _split(minimal)
    for name, content in files.items():
        write(content, f"specs/{name}")
    secret = write("passwords: many\n", "secret.yaml")
    drivers = Path("specs/drivers")
    (drivers / "inside.yaml").symlink_to("invented.yaml")
    (drivers / "outside.yaml").symlink_to(secret.absolute())
    (drivers / "loop.yaml").symlink_to("loop.yaml")
    (drivers / "up").symlink_to(Path.cwd())
    assert load(write(text.replace("invented", "inside"), "specs/a.yaml")).spec.driver.fs_hz == 105
    for name, code in (("outside.yaml", "K302"), ("up/secret.yaml", "K302"), ("loop.yaml", "K301")):
        with pytest.raises(SpecError) as caught:
            load(write(text.replace("invented.yaml", name), "specs/a.yaml"))
        (finding,) = caught.value.findings
        assert finding.code in (code, "K302")
        assert "passwords" not in str(caught.value)


def test_a_shelf_folder_that_is_a_link_out_of_the_shelf_is_no_shelf(minimal, write):
    text, files = _split(minimal)
    for name, content in files.items():
        write(content, f"elsewhere/{name}" if name.startswith("drivers") else f"job/{name}")
    Path("job/drivers").symlink_to(Path("elsewhere/drivers").absolute())
    with pytest.raises(SpecError) as caught:
        load(write(text, "job/a.yaml"))
    assert [finding.code for finding in caught.value.findings] == ["K303"]


def test_recipe_files_that_link_out_of_the_shelf_are_not_read(minimal, write):
    text, files = _split(minimal)
    for name, content in files.items():
        write(content, name)
    secret = write("passwords: many\n", "../secret-recipes.yaml")
    Path("recipes/zzz.yaml").symlink_to(secret.absolute())
    assert len(load(write(text)).spec.recipes) == 1


def test_a_folder_with_the_name_of_a_file(minimal, write):
    text, files = _split(minimal)
    for name, content in files.items():
        write(content, name)
    Path("drivers/folder.yaml").mkdir()
    with pytest.raises(SpecError) as caught:
        load(write(text.replace("invented.yaml", "folder.yaml")))
    (finding,) = caught.value.findings
    assert (finding.code, finding.file) == ("K101", "drivers/folder.yaml")


def test_all_errors_of_all_files_come_at_once(minimal, write):
    text, files = _split(minimal)
    files["drivers/invented.yaml"] = files["drivers/invented.yaml"].replace("fs_hz: 105", "fs_hz: 1050")
    files["stock/birch.yml"] = files["stock/birch.yml"].replace("glue: muf", "glue: muf\nglue: uf")
    files["machines/open frame.yaml"] = files["machines/open frame.yaml"].replace("G21 G90", "G20")
    files["recipes/all.yaml"] = files["recipes/all.yaml"].replace("passes: 8", "passes: no")
    for name, content in files.items():
        write(content, name)
    bad = text.replace("band_to_hz: 700", "band_to_hz: 60").replace("height_m: 2.5", "hight_m: 2.5")
    with pytest.raises(SpecError) as caught:
        load(write(bad))
    assert [(f.file, f.code) for f in caught.value.findings] == [
        ("drivers/invented.yaml", "K204"),
        ("machines/open frame.yaml", "K412"),
        ("recipes/all.yaml", "K112"),
        ("spec.yaml", "K404"),
        ("spec.yaml", "K201"),
        ("stock/birch.yml", "K109"),
    ]
    keys = [(f.file, f.line, f.column) for f in caught.value.findings]
    assert keys == sorted(keys)
