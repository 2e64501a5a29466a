"""What the stages of one build have made: bytes first, decoded when somebody needs them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from kerfwave.engine import codec
from kerfwave.engine.errors import CodecError
from kerfwave.engine.graph import Ref, Stage
from kerfwave.engine.store import Store


@dataclass(slots=True)
class Output:
    """What a stage made: its digest, those of the parts that others ask for, and the bytes once they are at hand."""

    digest: str
    parts: dict[str, str]
    raw: bytes | None = None
    fresh: bool = False  # made in this build, so it cannot be lost
    value: Any = None
    decoded: bool = False


class Lost(Exception):
    """A recalled value turned out to be missing or damaged when it was needed."""

    def __init__(self, stage: str) -> None:
        self.stage = stage
        super().__init__(stage)


class Values:
    """Root values, and outputs as they come in.

    Parameters
    ----------
    roots
        The values that everything starts from.
    table
        The stages by name.
    store
        Where recalled bytes are.
    arrive
        Called with the name of a stage before its output is looked at; it may still be on its way.
    """

    def __init__(
        self, roots: Mapping[str, Any], table: Mapping[str, Stage], store: Store, arrive: Callable[[str], None]
    ) -> None:
        self.table, self.store, self.arrive = table, store, arrive
        self.outputs: dict[str, Output] = {}
        self.roots: dict[str, Any] = {}
        self.root_raw: dict[str, bytes] = {}
        for name, value in roots.items():
            data = codec.encode(value)
            self.root_raw[name] = codec.to_bytes(data)
            self.roots[name] = codec.decode(type(value), data)  # as every later process will see it
        self.root_data = {name: codec.from_bytes(raw) for name, raw in self.root_raw.items()}
        self.root_digests = {name: codec.sha256(raw) for name, raw in self.root_raw.items()}

    def output(self, name: str) -> Output:
        """Return what a stage made, waiting for it if need be."""
        self.arrive(name)
        return self.outputs[name]

    def raw(self, stage: Stage) -> bytes:
        """Return the canonical bytes of a stage's output. Raises Lost if they are gone."""
        output = self.output(stage.name)
        if output.raw is None:
            output.raw = self.store.get_object(output.digest)
            if output.raw is None:
                raise Lost(stage.name)
        return output.raw

    def value(self, stage: Stage) -> Any:
        """Return a stage's output itself, the same whether it was made just now or recalled."""
        output = self.output(stage.name)
        if not output.decoded:
            try:
                output.value = codec.decode(stage.output_type(), codec.from_bytes(self.raw(stage)))
            except (CodecError, ValueError):
                if output.fresh:
                    raise
                raise Lost(stage.name) from None
            output.decoded = True
        return output.value

    def value_of(self, ref: Ref) -> Any:
        """Return an input itself."""
        return ref.value(self.roots[ref.source] if ref.source in self.roots else self.value(self.table[ref.source]))

    def data_of(self, ref: Ref) -> Any:
        """Return an input as dicts and lists."""
        if ref.source in self.root_data:
            return ref.of(self.root_data[ref.source])
        return ref.of(codec.from_bytes(self.raw(self.table[ref.source])))

    def digest_of(self, ref: Ref) -> str:
        """Return the digest of an input's value, from the trace where it is known."""
        if ref.source in self.roots:
            return codec.sha256(codec.to_bytes(self.data_of(ref))) if ref.path else self.root_digests[ref.source]
        output = self.output(ref.source)
        if not ref.path:
            return output.digest
        path = ".".join(ref.path)
        if path not in output.parts:
            output.parts[path] = codec.sha256(codec.to_bytes(self.data_of(ref)))
        return output.parts[path]

    def whole(self, ref: Ref) -> str:
        """Return the digest of the object that an input is a part of."""
        return self.root_digests[ref.source] if ref.source in self.roots else self.output(ref.source).digest

    def sent(self, ref: Ref) -> tuple[bytes, str | type]:
        """Return the bytes of the object that an input is a part of, and its type or the type's name."""
        if ref.source in self.roots:
            return self.root_raw[ref.source], type(self.roots[ref.source])
        stage = self.table[ref.source]
        return self.raw(stage), stage.output

    def is_new(self, ref: Ref) -> bool:
        """Tell whether an input was made in this build."""
        return ref.source not in self.roots and self.output(ref.source).fresh
