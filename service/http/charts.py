"""``?include=charts``: an answer with descriptions of charts, in their place before the notice."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from service.schemas.parts import Parts

DRAWN = "charts"
"""The part's name."""


def with_charts(document: dict[str, Any], charts: Sequence[dict[str, Any]], wanted: Parts) -> dict[str, Any]:
    """A document with its charts. A curve that was made for them alone is taken away."""
    notice = document["notice"]
    kept = {key: value for key, value in document.items() if key != "notice" and (key != "curve" or key in wanted)}
    return {**kept, DRAWN: list(charts), "notice": notice}
