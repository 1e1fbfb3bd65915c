"""The answer of POST /v1/warnings."""

from __future__ import annotations

from collections import Counter
from datetime import date
from typing import Any

from service.planning.warnings.warning import EFFECTS, ClientWarning
from service.schemas.warnings import warning


def answer(
    found: list[ClientWarning],
    missing: tuple[ClientWarning, ...],
    today: date,
    rules: dict[str, Any],
    notice: str,
) -> dict[str, Any]:
    """The answer as JSON."""
    counts = Counter(one.effect for one in found)
    return {
        "date": today.isoformat(),
        "rules": rules,
        "warnings": [warning(one) for one in found],
        "missing_facts": [warning(one) for one in missing],
        "counts": {effect: counts[effect] for effect in EFFECTS},
        "notice": notice,
    }
