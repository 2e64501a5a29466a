"""Build what is wanted: recall what an earlier build already worked out, run the rest, stop at the first failure.

Shallow constructive traces: the key of a stage is the digest of its code and of the *values* of its inputs, and what
it made is kept by content. A stage that runs and makes the same as before therefore stops the rebuild behind it, and
going back to an earlier spec finds what was made for it then. A recalled value is not even read until a stage that
runs, or the caller, needs it.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from kerfwave.engine import codec, graph, history, why
from kerfwave.engine.digests import CodeDigest, Walker
from kerfwave.engine.errors import CodecError, EngineError, StageError
from kerfwave.engine.events import Event, Listener
from kerfwave.engine.graph import Ref, Stage
from kerfwave.engine.history import History
from kerfwave.engine.store import FORMAT, Store
from kerfwave.engine.why import Reason

MOST_REASONS = 12
IMPORTS = "imports"  # the record that spares later builds the parsing of unchanged source


@dataclass(slots=True)
class _Output:
    """What a stage made: its digest, those of the parts that others ask for, and the bytes once they are at hand."""

    digest: str
    parts: dict[str, str]
    raw: bytes | None = None
    fresh: bool = False  # made in this process, so it cannot be lost
    value: Any = None
    decoded: bool = False


class _Lost(Exception):
    """A recalled value turned out to be missing or damaged when it was needed."""

    def __init__(self, stage: str) -> None:
        self.stage = stage
        super().__init__(stage)


class Results(Mapping[str, Any]):
    """What was wanted, by stage; a value is decoded when it is first asked for.

    `events` holds the last word on each stage, in build order.
    """

    def __init__(self, build: _Build, want: Sequence[str]) -> None:
        self._build = build
        self._want = tuple(want)
        self.events: tuple[Event, ...] = tuple(build.told[stage.name] for stage in build.stages)

    def __getitem__(self, name: str) -> Any:
        if name not in self._want:
            raise KeyError(name)
        return self._build.value(self._build.table[name])

    def __iter__(self) -> Iterator[str]:
        return iter(self._want)

    def __len__(self) -> int:
        return len(self._want)

    def digest(self, name: str) -> str:
        """Return the digest of a value without decoding it."""
        return self._build.outputs[name].digest


def build(
    stages: Sequence[Stage],
    roots: Mapping[str, Any],
    store: Store,
    *,
    want: Sequence[str],
    label: str = "",
    listener: Listener | None = None,
    explain: bool = False,
    walker: Walker | None = None,
) -> Results:
    """Make the outputs of the stages in `want`.

    Parameters
    ----------
    stages
        The whole table; only what `want` needs is looked at.
    want
        Names of stages; the keys of the result.
    roots
        The values that everything starts from, frozen dataclasses by name.
    store
        The cache.
    label
        Whose last build to compare with when saying why a stage ran; the name of the spec file, say.
    listener
        Called with each `Event`.
    explain
        Also look into the outputs of earlier stages for the leaf that changed, which means reading them.
    walker
        A `Walker` to share between builds of one process.

    Raises
    ------
    StageError
        from a stage function, with `stage` set.
    GraphError, CodecError
        for mistakes in the table or in a stage's types.
    """
    run = _Build(stages, roots, store, want, label, listener or (lambda event: None), explain, walker)
    try:
        run.to_the_end()
    finally:
        run.remember()
    return Results(run, want)


class _Build:
    """The state of one build."""

    def __init__(
        self,
        stages: Sequence[Stage],
        roots: Mapping[str, Any],
        store: Store,
        want: Sequence[str],
        label: str,
        listener: Listener,
        explain: bool,
        walker: Walker | None,
    ) -> None:
        self.stages = graph.plan(stages, roots, want)
        self.table = {stage.name: stage for stage in self.stages}
        self.refs = {stage.name: graph.refs(stage) for stage in self.stages}
        self.want, self.store, self.listener, self.explain = want, store, listener, explain
        self.label = label
        self.last = History.read(store, label)
        self.walker = walker or Walker(store.get_record(IMPORTS))
        self.known_imports = len(self.walker.memo)
        self.roots: dict[str, Any] = {}
        self.root_raw: dict[str, bytes] = {}
        for name, value in roots.items():
            data = codec.encode(value)
            self.root_raw[name] = codec.to_bytes(data)
            self.roots[name] = codec.decode(type(value), data)  # as every later process will see it
        self.root_data = {name: codec.from_bytes(raw) for name, raw in self.root_raw.items()}
        self.root_digests = {name: codec.sha256(raw) for name, raw in self.root_raw.items()}
        self.codes: dict[str, CodeDigest] = {}
        self.outputs: dict[str, _Output] = {}
        self.made: dict[str, _Output] = {}  # by key
        self.lost: set[str] = set()
        self.told: dict[str, Event] = {}
        self.now: dict[str, Any] = {}  # entries of the next record

    def to_the_end(self) -> None:
        """Decide and run until everything wanted is at hand; a lost cache entry starts the round again."""
        while True:
            try:
                for stage in self.stages:
                    self.outputs[stage.name] = self.settle(stage)
                for name in self.want:
                    self.raw(self.table[name])
                return
            except _Lost as lost:
                self.lost.add(lost.stage)

    def settle(self, stage: Stage) -> _Output:
        """Return the output of `stage`, recalled or made."""
        if stage.name not in self.codes:
            self.codes[stage.name] = self.walker.code(stage.modules)
        inputs = {ref.text: self.digest_of(ref) for ref in self.refs[stage.name]}
        code = self.codes[stage.name].digest
        key = codec.sha256(codec.to_bytes([FORMAT, stage.name, code, list(inputs.items())]))
        output = self.made.get(key)
        if output is None and stage.name not in self.lost:
            output = self.recall(stage, key)
            if output is not None and stage.name not in self.told:
                kept = self.last.of(stage.name).get("key") == key
                reasons = (Reason("nothing"),) if kept else self.reasons(stage, inputs)
                self.tell(Event(stage.name, "kept" if kept else "recalled", reasons=reasons))
        if output is None:
            output = self.made[key] = self.run(stage, key, self.reasons(stage, inputs))
        self.now[stage.name] = {
            "key": key,
            "output": output.digest,
            "inputs": {ref.text: [inputs[ref.text], self.whole(ref)] for ref in self.refs[stage.name]},
            "code": code,
        }
        return output

    def recall(self, stage: Stage, key: str) -> _Output | None:
        """Return what the cache remembers under `key`, unread."""
        trace = self.store.get_trace(key)
        try:
            return None if trace is None else _Output(str(trace["output"]), dict(trace["parts"]))
        except (KeyError, TypeError, ValueError):
            return None

    def run(self, stage: Stage, key: str, reasons: tuple[Reason, ...]) -> _Output:
        """Run the function of `stage` and keep what it makes."""
        values = [self.value_of(ref) for ref in self.refs[stage.name]]
        self.listener(Event(stage.name, "started", reasons=reasons))
        start = time.perf_counter()
        try:
            result = self.call(stage, values)
            raw = codec.to_bytes(self.encode(stage, result))
        except BaseException as error:
            if isinstance(error, StageError):
                error.stage = stage.name
            self.stop(stage, time.perf_counter() - start, str(error) if isinstance(error, EngineError) else "")
            raise
        output = _Output(self.store.put_object(raw), self.parts(stage, raw), raw, fresh=True)
        self.store.put_trace(key, {"stage": stage.name, "output": output.digest, "parts": output.parts})
        steady = self.last.of(stage.name).get("output") == output.digest
        seconds = time.perf_counter() - start
        self.tell(Event(stage.name, "steady" if steady else "made", seconds, reasons))
        return output

    def call(self, stage: Stage, values: list[Any]) -> Any:
        """Call the stage's function, with a way to report progress if it takes one."""
        function = stage.function()
        if not graph.wants_progress(function):
            return function(*values)

        def progress(fraction: float, note: str = "") -> None:
            self.listener(Event(stage.name, "progress", fraction=min(max(fraction, 0.0), 1.0), text=note))

        return function(*values, progress=progress)

    def encode(self, stage: Stage, result: Any) -> Any:
        """Encode what the function returned as the type that the table promises."""
        try:
            return codec.encode(result, stage.output_type())
        except CodecError as error:
            raise error.inside(f"output of stage '{stage.name}'") from None

    def parts(self, stage: Stage, raw: bytes) -> dict[str, str]:
        """Return digests of the projections that other stages ask of this one, so that they need not read it."""
        asked = [ref for refs in self.refs.values() for ref in refs if ref.source == stage.name and ref.path]
        if not asked:
            return {}
        data = codec.from_bytes(raw)
        return {".".join(ref.path): codec.sha256(codec.to_bytes(ref.of(data))) for ref in asked}

    def stop(self, stage: Stage, seconds: float, text: str) -> None:
        """Tell that `stage` failed and that what is left waits."""
        self.tell(Event(stage.name, "stopped", seconds, text=text))
        for other in self.stages:
            if other.name not in self.told:
                self.tell(Event(other.name, "waiting", text=f"for {stage.name}"))

    def tell(self, event: Event) -> None:
        """Pass on the last word on a stage."""
        self.told[event.stage] = event
        self.listener(event)

    # Values: bytes first, decoded when somebody needs them.

    def raw(self, stage: Stage) -> bytes:
        """Return the canonical bytes of a stage's output. Raises _Lost if they are gone."""
        output = self.outputs[stage.name]
        if output.raw is None:
            output.raw = self.store.get_object(output.digest)
            if output.raw is None:
                raise _Lost(stage.name)
        return output.raw

    def value(self, stage: Stage) -> Any:
        """Return a stage's output itself, the same whether it was made just now or recalled."""
        output = self.outputs[stage.name]
        if not output.decoded:
            try:
                output.value = codec.decode(stage.output_type(), codec.from_bytes(self.raw(stage)))
            except (CodecError, ValueError):
                if output.fresh:
                    raise
                raise _Lost(stage.name) from None
            output.decoded = True
        return output.value

    def value_of(self, ref: Ref) -> Any:
        return ref.value(self.roots[ref.source] if ref.source in self.roots else self.value(self.table[ref.source]))

    def data_of(self, ref: Ref) -> Any:
        if ref.source in self.root_data:
            return ref.of(self.root_data[ref.source])
        return ref.of(codec.from_bytes(self.raw(self.table[ref.source])))

    def digest_of(self, ref: Ref) -> str:
        """Return the digest of an input's value, from the trace where it is known."""
        if ref.source in self.roots:
            return codec.sha256(codec.to_bytes(self.data_of(ref))) if ref.path else self.root_digests[ref.source]
        output = self.outputs[ref.source]
        if not ref.path:
            return output.digest
        path = ".".join(ref.path)
        if path not in output.parts:
            output.parts[path] = codec.sha256(codec.to_bytes(self.data_of(ref)))
        return output.parts[path]

    def whole(self, ref: Ref) -> str:
        """Return the digest of the object that an input is a part of."""
        return self.root_digests[ref.source] if ref.source in self.roots else self.outputs[ref.source].digest

    # The last build, and why this one differs.

    def reasons(self, stage: Stage, inputs: Mapping[str, str]) -> tuple[Reason, ...]:
        """Return why `stage` is not simply kept."""
        last = self.last.of(stage.name)
        if not last:
            return (Reason("lost" if stage.name in self.lost else "first"),)
        found = [Reason("removed", text) for text in sorted(last["inputs"].keys() - inputs.keys())]
        for ref in self.refs[stage.name]:
            if ref.text not in last["inputs"]:
                found.append(Reason("added", ref.text))
            elif last["inputs"][ref.text][0] != inputs[ref.text]:
                found += self.leaves(ref, last["inputs"][ref.text][1])
        if last["code"] != self.codes[stage.name].digest:
            now = self.codes[stage.name].parts
            then = {name: self.last.parts[name] for name in now if name in self.last.parts}
            found += list(why.compare_code(then, now)) or [Reason("code", stage.modules[0])]
        return tuple(found[:MOST_REASONS]) or (Reason("lost"),)

    def leaves(self, ref: Ref, then: str) -> list[Reason]:
        """Return the leaves of one input that changed, or only its name where they are not to be had cheaply."""
        whole = [Reason("changed", ref.text)]
        if ref.source not in self.roots and not self.explain:
            return whole
        before = self.store.get_object(then)
        if before is None:
            return whole
        try:
            old = ref.of(codec.from_bytes(before))
        except ValueError:  # GraphError is one too: the earlier value had other fields
            return whole
        return list(why.compare_values(ref.text, old, self.data_of(ref))) or whole

    def remember(self) -> None:
        """Write the record of this build, and let the cache forget what no recent build refers to."""
        if self.now and any(self.last.of(name) != entry for name, entry in self.now.items()):
            for raw in self.root_raw.values():
                self.store.put_object(raw)
            parts = {name: part for code in self.codes.values() for name, part in code.parts.items()}
            self.last.write(self.store, self.label, self.now, parts, self.root_digests.values())
        if len(self.walker.memo) > self.known_imports:
            self.store.put_record(IMPORTS, self.walker.worth_keeping())
        if self.made:
            history.tidy(self.store)
