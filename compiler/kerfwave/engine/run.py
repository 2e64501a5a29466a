"""Build what is wanted: recall what an earlier build already worked out, run the rest, stop at the first failure.

Shallow constructive traces: the key of a stage is the digest of its code and of the *values* of its inputs, and what
it made is kept by content. A stage that runs and makes the same as before therefore stops the rebuild behind it, and
going back to an earlier spec finds what was made for it then. A recalled value is not even read until a stage that
runs, or the caller, needs it.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

from kerfwave.engine import codec, graph, history, why
from kerfwave.engine.digests import CodeDigest, Walker
from kerfwave.engine.errors import EngineError, StageError
from kerfwave.engine.events import Event, Listener
from kerfwave.engine.graph import Ref, Stage, call, encoded
from kerfwave.engine.history import History
from kerfwave.engine.sharing import in_turn
from kerfwave.engine.store import FORMAT, Store
from kerfwave.engine.values import Lost, Output, Values
from kerfwave.engine.why import Reason

if TYPE_CHECKING:
    from concurrent.futures import Future

    from kerfwave.engine.aside import Aside, Made

T = TypeVar("T")
MOST_REASONS = 12
IMPORTS = "imports"  # the record that spares later builds the parsing of unchanged source


@dataclass(frozen=True, slots=True)
class _Pending:
    """A stage that runs in the second process."""

    future: Future[Made]
    key: str
    inputs: dict[str, str]
    reasons: tuple[Reason, ...]


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
        return self._build.values.value(self._build.table[name])

    def __iter__(self) -> Iterator[str]:
        return iter(self._want)

    def __len__(self) -> int:
        return len(self._want)

    def digest(self, name: str) -> str:
        """Return the digest of a value without decoding it."""
        return self._build.values.outputs[name].digest


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
    aside: bool = False,
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
    aside
        Whether a second process may be used for stages that nothing waits for at once.

    Raises
    ------
    StageError
        from a stage function, with `stage` set.
    GraphError, CodecError
        for mistakes in the table or in a stage's types.
    """
    run = _Build(stages, roots, store, want, label, listener or (lambda event: None), explain, walker, aside)
    try:
        run.to_the_end()
    except BaseException:
        run.close(at_once=True)
        raise
    else:
        run.close(at_once=False)
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
        aside: bool,
    ) -> None:
        self.stages = graph.plan(stages, roots, want)
        self.table = {stage.name: stage for stage in self.stages}
        self.refs = {stage.name: graph.refs(stage) for stage in self.stages}
        self.want, self.store, self.listener, self.explain = want, store, listener, explain
        self.label = label
        self.last = History.read(store, label)
        self.walker = walker or Walker(store.get_record(IMPORTS))
        self.known_imports = len(self.walker.memo)
        self.values = Values(roots, self.table, store, self.arrive)
        self.codes: dict[str, CodeDigest] = {}
        self.made: dict[str, Output] = {}  # by key
        self.may_go_aside = aside
        self.beside: Aside | None = None
        self.pending: dict[str, _Pending] = {}
        self.lost: set[str] = set()
        self.told: dict[str, Event] = {}
        self.now: dict[str, Any] = {}  # entries of the next record

    def to_the_end(self) -> None:
        """Decide and run until everything wanted is at hand; a lost cache entry starts the round again."""
        while True:
            try:
                for stage in self.stages:
                    self.settle(stage)
                self.finish_all()
                for name in self.want:
                    self.values.raw(self.table[name])
                return
            except Lost as lost:
                self.lost.add(lost.stage)

    def settle(self, stage: Stage) -> None:
        """See to it that the output of `stage` is at hand, recalled or made, or on its way."""
        if stage.name in self.pending:
            return
        if stage.name not in self.codes:
            self.codes[stage.name] = self.walker.code(stage.modules)
        inputs = {ref.text: self.values.digest_of(ref) for ref in self.refs[stage.name]}
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
            reasons = self.reasons(stage, inputs)
            if self.put_aside(stage, key, inputs, reasons):
                return
            output = self.run(stage, key, reasons)
        self.note(stage, key, inputs, output)

    def note(self, stage: Stage, key: str, inputs: Mapping[str, str], output: Output) -> None:
        """Take down what a stage made, and from what."""
        self.values.outputs[stage.name] = output
        if output.fresh:
            self.made[key] = output
        self.now[stage.name] = {
            "key": key,
            "output": output.digest,
            "inputs": {ref.text: [inputs[ref.text], self.values.whole(ref)] for ref in self.refs[stage.name]},
            "code": self.codes[stage.name].digest,
        }

    def recall(self, stage: Stage, key: str) -> Output | None:
        """Return what the cache remembers under `key`, unread."""
        trace = self.store.get_trace(key)
        try:
            return None if trace is None else Output(str(trace["output"]), dict(trace["parts"]))
        except (KeyError, TypeError, ValueError):
            return None

    def run(self, stage: Stage, key: str, reasons: tuple[Reason, ...]) -> Output:
        """Run the function of `stage` and keep what it makes."""
        values = [self.values.value_of(ref) for ref in self.refs[stage.name]]
        self.listener(Event(stage.name, "started", reasons=reasons))
        start = time.perf_counter()

        def progress(fraction: float, note: str = "") -> None:
            self.listener(Event(stage.name, "progress", fraction=min(max(fraction, 0.0), 1.0), text=note))

        try:
            raw = encoded(stage, call(stage, values, progress, self.share))
        except BaseException as error:
            if isinstance(error, StageError):
                self.finish_all()  # one before this in the table has the first word, as if none had gone aside
            self.fail(stage, time.perf_counter() - start, error)
            raise
        return self.keep(stage, key, raw, time.perf_counter() - start, reasons)

    def keep(self, stage: Stage, key: str, raw: bytes, seconds: float, reasons: tuple[Reason, ...]) -> Output:
        """Put what a stage made into the cache."""
        output = Output(self.store.put_object(raw), self.parts(stage, raw), raw, fresh=True)
        self.store.put_trace(key, {"stage": stage.name, "output": output.digest, "parts": output.parts})
        steady = self.last.of(stage.name).get("output") == output.digest
        self.tell(Event(stage.name, "steady" if steady else "made", seconds, reasons))
        return output

    # The second process.

    def put_aside(self, stage: Stage, key: str, inputs: dict[str, str], reasons: tuple[Reason, ...]) -> bool:
        """Start `stage` in the second process; False if it is to run in this one.

        A stage that feeds on nothing new is run here: little else is likely to be done meanwhile, and a process
        takes a while to begin.
        """
        if not (self.may_go_aside and stage.aside and any(self.values.is_new(ref) for ref in self.refs[stage.name])):
            return False
        from kerfwave.engine.aside import Aside, Input

        given = [Input(*self.values.sent(ref), ref) for ref in self.refs[stage.name]]
        self.beside = self.beside or Aside()
        try:
            future = self.beside.start(stage, given)
        except (OSError, RuntimeError):  # no process to be had, or it is gone
            return False
        self.pending[stage.name] = _Pending(future, key, inputs, reasons)
        return True

    def share(self, function: Callable[..., T], *arguments: Any) -> Callable[[], T]:
        """Begin a call in the second process, if it is there and idle: to start one takes longer than most calls."""
        if self.beside is None or not all(pending.future.done() for pending in self.pending.values()):
            return in_turn(function, *arguments)
        try:
            future = self.beside.submit(function, *arguments)
        except (OSError, RuntimeError):
            return in_turn(function, *arguments)

        def outcome() -> T:
            from concurrent.futures import BrokenExecutor

            try:
                return function(*arguments) if future.cancel() else future.result()
            except BrokenExecutor:
                return function(*arguments)

        return outcome

    def arrive(self, name: str) -> None:
        """Wait for a stage if it is on its way."""
        if name in self.pending:
            self.finish(self.table[name])

    def finish(self, stage: Stage) -> None:
        """Wait for what a stage in the second process makes; run it here if that process is gone."""
        pending = self.pending.pop(stage.name)
        try:
            made = pending.future.result()
        except RuntimeError:  # BrokenProcessPool is one: killed, or never begun
            output = self.run(stage, pending.key, pending.reasons)
        except BaseException as error:
            self.fail(stage, 0.0, error)
            raise
        else:
            output = self.keep(stage, pending.key, made.raw, made.seconds, pending.reasons)
        self.note(stage, pending.key, pending.inputs, output)

    def finish_all(self) -> None:
        """Wait for everything in the second process, in the order of the table."""
        for name in tuple(self.pending):
            self.arrive(name)

    def close(self, *, at_once: bool) -> None:
        """Let go of the second process."""
        if self.beside is not None:
            self.beside.close(at_once=at_once)

    def parts(self, stage: Stage, raw: bytes) -> dict[str, str]:
        """Return digests of the projections that other stages ask of this one, so that they need not read it."""
        asked = [ref for refs in self.refs.values() for ref in refs if ref.source == stage.name and ref.path]
        if not asked:
            return {}
        data = codec.from_bytes(raw)
        return {".".join(ref.path): codec.sha256(codec.to_bytes(ref.of(data))) for ref in asked}

    def fail(self, stage: Stage, seconds: float, error: BaseException) -> None:
        """Tell that `stage` failed and that what is left waits."""
        if isinstance(error, StageError):
            error.stage = stage.name
        text = str(error) if isinstance(error, EngineError) else ""
        self.tell(Event(stage.name, "stopped", seconds, text=text))
        for other in self.stages:
            if other.name not in self.told:
                self.tell(Event(other.name, "waiting", text=f"for {stage.name}"))

    def tell(self, event: Event) -> None:
        """Pass on the last word on a stage."""
        self.told[event.stage] = event
        self.listener(event)

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
        if ref.source in self.table and not self.explain:
            return whole
        before = self.store.get_object(then)
        if before is None:
            return whole
        try:
            old = ref.of(codec.from_bytes(before))
        except ValueError:  # GraphError is one too: the earlier value had other fields
            return whole
        return list(why.compare_values(ref.text, old, self.values.data_of(ref))) or whole

    def remember(self) -> None:
        """Write the record of this build, and let the cache forget what no recent build refers to."""
        if self.now and any(self.last.of(name) != entry for name, entry in self.now.items()):
            for raw in self.values.root_raw.values():
                self.store.put_object(raw)
            parts = {name: part for code in self.codes.values() for name, part in code.parts.items()}
            self.last.write(self.store, self.label, self.now, parts, self.values.root_digests.values())
        if len(self.walker.memo) > self.known_imports:
            self.store.put_record(IMPORTS, self.walker.worth_keeping())
        if self.made:
            history.tidy(self.store)


def cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
