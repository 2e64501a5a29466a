"""The table of stages: who makes what from what. Checked once, before anything runs."""

from __future__ import annotations

import difflib
import importlib
import inspect
import re
from collections.abc import Callable, Iterable, Sequence, Set
from dataclasses import dataclass
from typing import Any

from kerfwave.engine import codec
from kerfwave.engine.errors import CodecError, GraphError
from kerfwave.engine.sharing import Beside, in_turn

_NAME = re.compile(r"[a-z][a-z0-9_]*")


@dataclass(frozen=True, slots=True)
class Stage:
    """One step of the build: a pure function and the narrow view of the world that it gets.

    Parameters
    ----------
    name
        Lower-case letters, digits and underscores; what others write to ask for its output.
    run
        The function, or ``"module:function"``, which is imported only when the stage really runs. It gets the input
        values by position, a callback ``progress(fraction, note="")`` if it has a parameter of that name, and a
        `sharing.Beside` if it has one called ``beside``.
    output
        The type that it returns, or ``"module:Class"``.
    inputs
        Each the name of another stage or of a root value, or a dotted projection of one: ``"body.air"``,
        ``"spec.stock.measured_mm"``. A projection through something that is None is None. The stage runs again only
        if the value of an input changes, so a narrow input saves work.
    code
        Further modules whose source counts for this stage, beyond what the walk over its imports finds.
    aside
        Nothing waits for it at once, so it may run in a second process. It reports no progress.
    """

    name: str
    run: str | Callable[..., Any]
    output: str | type
    inputs: tuple[str, ...] = ()
    code: tuple[str, ...] = ()
    aside: bool = False

    @property
    def modules(self) -> tuple[str, ...]:
        """Names of the modules that the code digest starts from."""
        own = [_module_of(self.run), _module_of(self.output), *self.code]
        return tuple(dict.fromkeys(name for name in own if name != "builtins"))

    def function(self) -> Callable[..., Any]:
        """Return the function itself, importing its module if need be."""
        return self.run if callable(self.run) else _load(self.name, self.run)

    def output_type(self) -> Any:
        """Return the output type itself, importing its module if need be."""
        return load_type(self.name, self.output)


@dataclass(frozen=True, slots=True)
class Ref:
    """An input taken apart: where the value comes from and which part of it is meant."""

    text: str
    source: str
    path: tuple[str, ...]

    @classmethod
    def parse(cls, text: str) -> Ref:
        """Take ``"spec.stock.measured_mm"`` apart."""
        source, *path = text.split(".")
        return cls(text, source, tuple(path))

    def of(self, data: Any) -> Any:
        """Return the part of encoded `data` (dicts and lists) that is meant."""
        for step in self.path:
            if data is None:
                return None
            if not isinstance(data, dict) or step not in data:
                known = ", ".join(sorted(data)) if isinstance(data, dict) else "no fields"
                raise GraphError(f"input '{self.text}': there is no field '{step}' (there is {known})")
            data = data[step]
        return data

    def value(self, value: Any) -> Any:
        """Return the part of `value` itself (dataclasses) that is meant."""
        for step in self.path:
            if value is None:
                return None
            value = getattr(value, step)
        return value


def load_type(stage: str, output: str | type) -> Any:
    """Return a type that may be given by its name, importing its module if need be."""
    return _load(stage, output) if isinstance(output, str) else output


def encoded(stage: Stage, result: Any) -> bytes:
    """Return what a stage's function returned, as canonical bytes of the type that the table promises."""
    try:
        return codec.to_bytes(codec.encode(result, stage.output_type()))
    except CodecError as error:
        raise error.inside(f"output of stage '{stage.name}'") from None


def refs(stage: Stage) -> tuple[Ref, ...]:
    """Return the inputs of `stage`, taken apart."""
    return tuple(Ref.parse(text) for text in stage.inputs)


def call(stage: Stage, values: Sequence[Any], progress: Callable[..., None], beside: Beside = in_turn) -> Any:
    """Call the stage's function, with a way to report progress and one to share its work if it takes them."""
    function = stage.function()
    extras: dict[str, Any] = {"progress": progress, "beside": beside}
    return function(*values, **{name: extras[name] for name in extras.keys() & parameters(function)})


def parameters(function: Callable[..., Any]) -> Set[str]:
    """Return the names of the parameters of `function`."""
    try:
        return inspect.signature(function).parameters.keys()
    except (TypeError, ValueError):  # some builtins have no signature
        return frozenset()


def plan(stages: Sequence[Stage], roots: Iterable[str], want: Sequence[str]) -> tuple[Stage, ...]:
    """Return what `want` needs, each stage after those it feeds on, in the order of the table where that is free.

    Raises
    ------
    GraphError
        for a malformed or duplicate name, an input or a wish that nobody makes, and a cycle, which is shown whole.
    """
    table = _table(stages, set(roots))
    for name in want:
        if name not in table:
            raise GraphError(f"no stage is called '{name}'{_nearest(name, table)}")
    done: dict[str, Stage] = {}

    def visit(name: str, trail: tuple[str, ...]) -> None:
        if name in trail:
            raise GraphError("stages feed on each other: " + " -> ".join((*trail[trail.index(name) :], name)))
        if name in done or name not in table:
            return
        for ref in refs(table[name]):
            visit(ref.source, (*trail, name))
        done[name] = table[name]

    for name in table:  # the whole table, so that a cycle outside of `want` is noticed too
        visit(name, ())
    needed = set(want)
    for stage in reversed(done.values()):
        if stage.name in needed:
            needed.update(ref.source for ref in refs(stage))
    return tuple(stage for stage in done.values() if stage.name in needed)


def _table(stages: Sequence[Stage], roots: set[str]) -> dict[str, Stage]:
    table: dict[str, Stage] = {}
    for stage in stages:
        if not _NAME.fullmatch(stage.name):
            raise GraphError(f"'{stage.name}' is no name for a stage: lower-case letters, digits, underscores")
        if stage.name in table:
            raise GraphError(f"two stages are called '{stage.name}'")
        if stage.name in roots:
            raise GraphError(f"'{stage.name}' is both a stage and a root value")
        if not isinstance(stage.run, str) and not inspect.isroutine(stage.run):
            # What a partial or an object carries along is an input that no digest would see.
            raise GraphError(f"stage '{stage.name}': its function must be a plain one")
        table[stage.name] = stage
    known = {*table, *roots}
    for stage in stages:
        for ref in refs(stage):
            if ref.source not in known:
                raise GraphError(
                    f"stage '{stage.name}' asks for '{ref.text}', which nobody makes" + _nearest(ref.source, known)
                )
    return table


def _nearest(name: str, known: Iterable[str]) -> str:
    close = difflib.get_close_matches(name, sorted(known), n=1)
    return f"; did you mean '{close[0]}'?" if close else f" (there is {', '.join(sorted(known))})"


def _module_of(thing: Any) -> str:
    if isinstance(thing, str):
        return thing.partition(":")[0]
    return str(getattr(thing, "__module__", "builtins"))


def _load(stage: str, text: str) -> Any:
    module, colon, name = text.partition(":")
    if not colon or not name.isidentifier():
        raise GraphError(f"stage '{stage}': '{text}' is not of the form module:name")
    try:
        return getattr(importlib.import_module(module), name)
    except AttributeError:
        raise GraphError(f"stage '{stage}': there is no '{name}' in {module}") from None
