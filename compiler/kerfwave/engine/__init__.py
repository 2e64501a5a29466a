"""The engine: runs stages, remembers by content what they made, and puts packages in place whole.

It knows nothing of loudspeakers. `Stage` declares who makes what from what, `build` makes what is wanted and recalls
the rest from a `Store`, `publish` swaps a finished package in. Nothing here imports the rest of the project or
anything heavy, so a build with nothing to do is over before it is noticed.
"""

from kerfwave.engine.codec import canonical, decode, digest, encode
from kerfwave.engine.digests import CodeDigest, Walker, installation
from kerfwave.engine.errors import CodecError, EngineError, GraphError, PublishError, StageError
from kerfwave.engine.events import Event
from kerfwave.engine.graph import Stage
from kerfwave.engine.packagefiles import is_current, verify
from kerfwave.engine.progress import TerminalListener
from kerfwave.engine.publish import Published, publish, recover
from kerfwave.engine.run import Results, build, cores
from kerfwave.engine.store import Store
from kerfwave.engine.why import Reason, words

__all__ = [
    "CodeDigest",
    "CodecError",
    "EngineError",
    "Event",
    "GraphError",
    "PublishError",
    "Published",
    "Reason",
    "Results",
    "Stage",
    "StageError",
    "Store",
    "TerminalListener",
    "Walker",
    "build",
    "canonical",
    "cores",
    "decode",
    "digest",
    "encode",
    "installation",
    "is_current",
    "publish",
    "recover",
    "verify",
    "words",
]
