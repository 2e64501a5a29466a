import copy
import dataclasses
import json
import typing
from pathlib import Path

import jsonschema
import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwave.model import spec as model
from kerfwave.safety.materials import MATERIALS
from kerfwave.spec import describe, schema_files, schema_text
from kerfwave.spec.quick import _KEYWORDS, _SILENT, accepts
from kerfwave.spec.schema_files import NAMES, schema
from kerfwave.spec.shape import _validator

HERE = Path(__file__).parent
ROOT = HERE.parents[1]


def _mappings(part: typing.Any) -> typing.Iterator[dict]:
    """Every schema inside a schema, itself included."""
    yield part
    for key in ("properties", "$defs"):
        for inner in part.get(key, {}).values():
            yield from _mappings(inner)
    for key in ("items", "if", "then", "else", "not"):
        if key in part:
            yield from _mappings(part[key])
    for inner in part.get("allOf", []):
        yield from _mappings(inner)


def _properties(part: typing.Any) -> typing.Iterator[tuple[str, dict]]:
    """Every property that a person can write (those in conditions only repeat them)."""
    for key, inner in part.get("properties", {}).items():
        yield key, inner
        yield from _properties(inner)
    for inner in (*part.get("$defs", {}).values(), *([part["items"]] if "items" in part else [])):
        yield from _properties(inner)


@pytest.mark.parametrize("name", NAMES)
def test_each_schema_is_valid_2020_12(name):
    loaded = json.loads(schema_text(name))
    assert loaded["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    jsonschema.Draft202012Validator.check_schema(loaded)


@pytest.mark.parametrize("name", NAMES)
def test_every_property_says_what_it_is_in_which_unit_and_within_which_bounds(name):
    for key, part in _properties(schema(name)):
        if "$ref" in part:
            continue
        assert part["description"].endswith((".", ")")), key
        kinds = [part["type"]] if isinstance(part["type"], str) else part["type"]
        if {"number", "integer"} & set(kinds):
            assert "x-unit" in part, key
            assert "const" in part or part["minimum"] < part["maximum"], key
            words = {"1": "1", "d": "days", "l": "litres"}
            assert words.get(part["x-unit"], part["x-unit"]) in part["description"], key
        if kinds == ["string"]:
            assert "enum" in part or "maxLength" in part, key
        if "array" in kinds:
            assert "maxItems" in part, key
        if kinds == ["object"]:
            assert part["additionalProperties"] is False, key


@pytest.mark.parametrize("name", NAMES)
def test_the_quick_check_knows_every_keyword(name):
    for part in _mappings(schema(name)):
        assert set(part) <= _SILENT | set(_KEYWORDS)


@pytest.mark.parametrize(
    ("part", "cls", "written"),
    [
        (schema("driver"), model.Driver, {}),
        (schema("stock"), model.Stock, {}),
        (
            schema("stock")["properties"]["sheets"]["items"],
            model.SheetStock,
            {"width_mm": ("width_mm",), "height_mm": ("height_mm",)},  # required, or read off the outline
        ),
        (schema("stock")["properties"]["sheets"]["items"]["properties"]["keep_out"]["items"], model.KeepOut, {}),
        (schema("machine"), model.Machine, {"bed_mm": ("bed_width_mm", "bed_height_mm")}),
        (schema("machine")["properties"]["laser"], model.Laser, {}),
        (schema("recipes")["$defs"]["entry"], model.RecipeEntry, {}),
        (schema("recipes")["$defs"]["entry"]["properties"]["provenance"], model.Provenance, {}),
        (schema("spec"), model.Spec, {"format": (), "driver": ("driver", "driver_curve")}),
        (schema("driver")["properties"]["tolerance_percent"], model.Tolerance, {}),
        *(
            (schema("spec")["properties"][key], cls, {})
            for key, cls in (
                ("drive", model.Drive),
                ("listening", model.Listening),
                ("checks", model.Checks),
                ("target", model.Target),
                ("enclosure", model.Enclosure),
                ("room", model.Room),
            )
        ),
        (schema("spec")["properties"]["enclosure"]["properties"]["terminals"], model.Terminals, {}),
        (schema("spec")["properties"]["room"]["properties"]["extraction"], model.Extraction, {}),
        (schema("spec")["properties"]["room"]["properties"]["eyewear"], model.Eyewear, {}),
    ],
)
def test_keys_and_defaults_are_those_of_the_value_type(part, cls, written):
    keys = [name for key in part["properties"] for name in written.get(key, (key,))]
    fields = {field.name: field for field in dataclasses.fields(cls)}
    assert sorted(keys) == sorted(fields)
    for key, inner in part["properties"].items():
        if key in written or key == "recipes":
            continue
        field = fields[key]
        if field.default_factory is not dataclasses.MISSING:
            assert "default" not in inner and key not in part["required"], key
            continue
        assert (key in part["required"]) == (field.default is dataclasses.MISSING), key
        if field.default not in (dataclasses.MISSING, None):
            assert inner["default"] == (list(field.default) if isinstance(field.default, tuple) else field.default), key
        else:
            assert "default" not in inner, key


def test_the_materials_are_those_of_the_safety_stage():
    """Listed in the schemas, so that editors offer them and a spec is checked without importing that stage."""
    for part in (schema("stock"), schema("recipes")["$defs"]["entry"]):
        assert part["properties"]["material"]["examples"] == [material.key for material in MATERIALS]


def test_the_schemas_are_found_in_a_wheel_and_in_a_checkout(tmp_path, monkeypatch):
    (tmp_path / "driver.schema.json").write_text("{}")
    monkeypatch.setattr(schema_files, "_FOLDERS", (tmp_path, *schema_files._FOLDERS))
    assert schema_text("driver") == "{}"
    assert schema_text("spec") == (ROOT / "schemas" / "spec.schema.json").read_text(encoding="utf-8")
    monkeypatch.setattr(schema_files, "_FOLDERS", (tmp_path,))
    with pytest.raises(FileNotFoundError):
        schema_text("spec")
    with pytest.raises(KeyError):
        schema_text("../pyproject")


def test_the_reference_is_up_to_date():
    assert (ROOT / "docs" / "spec.md").read_text(encoding="utf-8") == describe()
    for name in NAMES:
        for key, _ in _properties(schema(name)):
            assert f"`{key}`" in describe()


def _paths(value, path=()):
    yield path
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, part in inner:
        yield from _paths(part, (*path, key))


ODD = st.one_of(
    st.none(), st.booleans(), st.integers(-10, 5000), st.floats(-10, 5000), st.text(max_size=5), st.just([]),
    st.just({}),
    st.sampled_from(["front", "polygon", "rectangle", "M4", "recipes/a.yaml", 1.0, 0, 1, [1, 2]]),
    st.just([[0, 0], [1, 1], [2, 0]]),
)  # fmt: skip


@settings(max_examples=80, deadline=None)
@given(st.data())
def test_the_quick_check_never_says_yes_where_jsonschema_says_no(data):
    value = yaml.safe_load((HERE / "fixtures" / "minimal.yaml").read_text(encoding="utf-8"))
    assert accepts(schema("spec"), value, "spec")
    for _ in range(data.draw(st.integers(1, 3))):
        path = data.draw(st.sampled_from([path for path in _paths(value) if path]))
        parent = value
        for step in path[:-1]:
            parent = parent[step]
        if data.draw(st.booleans()):
            parent[path[-1]] = copy.deepcopy(data.draw(ODD))  # or one example would change the next
        else:
            del parent[path[-1]]
    quick, full = accepts(schema("spec"), value, "spec"), _validator("spec").is_valid(value)
    assert full or not quick
    # Whole numbers written as floats (4.0 for 4) are left to the full validator; everything else is decided alike.
    if full and not quick:
        assert any(isinstance(part, float) and part.is_integer() for part in _leaves(value))


def _leaves(value):
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else None
    if inner is None:
        yield value
    else:
        for part in inner:
            yield from _leaves(part)
