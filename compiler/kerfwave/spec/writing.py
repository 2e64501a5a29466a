"""Plain data back into YAML that `load` reads as the same data."""

from __future__ import annotations

from typing import Any

import yaml


def text_of(data: Any) -> str:
    """Return data (dicts, lists, scalars) as YAML: keys in their order, one line a value, no anchors."""
    return str(yaml.dump(data, Dumper=_Plain, sort_keys=False, allow_unicode=True, width=1 << 20))


class _Plain(yaml.SafeDumper):
    """What stands in two places is written twice: the reader takes no anchors."""

    def ignore_aliases(self, data: Any) -> bool:
        return True
