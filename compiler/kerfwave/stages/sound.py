"""All that is known of how one build sounds, in one value, for the charts."""

from __future__ import annotations

from dataclasses import dataclass

from kerfwave.acoustics.shaping import Shaped
from kerfwave.model.acoustic import Network, Response
from kerfwave.model.spec import Drive, Driver, Listening, Target
from kerfwave.stages.field import Compared
from kerfwave.stages.listening import AtTheListener
from kerfwave.stages.response import AsBuilt
from kerfwave.stages.spread import Strayed


@dataclass(frozen=True, slots=True)
class Sound:
    """One build, as it sounds."""

    network: Network
    as_built: AsBuilt
    compared: Compared | None  # sound field and network; None if the spec leaves the field out
    at_listener: AtTheListener
    strayed: Strayed  # from build to build
    shaped: Shaped | None  # filters before the amplifier; None if the spec asks for none
    as_measured: Response | None  # with what was measured on the finished speaker; None if nothing was
    driver: Driver
    target: Target
    drive: Drive
    listening: Listening
    sample_rate_hz: float  # of the filters
