"""Kerfwave: from one YAML spec to everything the bench needs to build a small loudspeaker."""

__version__ = "0.1.0"
