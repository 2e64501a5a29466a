"""Charts: what the guide shows of the sound. Nothing of how the body is cut is in them."""

from __future__ import annotations

from typing import Any

from kerfwave.stages.charts_view import field_charts, measured_charts, sound_charts
from kerfwave.stages.listening_view import listening_charts
from kerfwave.stages.shaping_view import shaping_charts
from kerfwave.stages.sound import Sound
from kerfwave.writers.guide_model import Charts


def run(*known: Any) -> Charts:
    """Run the stage on the fields of `Sound`, in their order."""
    sound = Sound(*known)
    return Charts(
        (
            *sound_charts(sound),
            *listening_charts(sound),
            *measured_charts(sound),
            *shaping_charts(sound),
            *field_charts(sound),
        )
    )
