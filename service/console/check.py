"""The page of warnings: what is not permitted, what has a cost, and what to check."""

from __future__ import annotations

from typing import Any

from service.console.layout import day, ending, headed, money, points, title

PARTS = {
    "not_permitted": "Not permitted",
    "costs": "Has a cost",
    "check": "To check",
}


def page(answer: dict[str, Any]) -> list[str]:
    """The lines of the page."""
    warnings = answer["warnings"]
    lines = title(f"Points to note about what is planned, as at {day(answer['date'])}")
    for effect in dict.fromkeys([*PARTS, *(warning["effect"] for warning in warnings)]):
        of_effect = [warning for warning in warnings if warning["effect"] == effect]
        lines += headed(
            PARTS.get(effect, effect.replace("_", " ").capitalize()), points(of_effect, map(cost, of_effect))
        )
    if not warnings:
        lines += ["", "No warning follows from these facts."]
    return [*lines, *ending(answer)]


def cost(warning: dict[str, Any]) -> str:
    """What the effect of a warning amounts to, where it has one amount."""
    return money(warning["amount"]) if "amount" in warning else ""
