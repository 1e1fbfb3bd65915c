"""Which question a request asks, and what a record asks for besides the plain answer."""

from __future__ import annotations

from typing import Any

_BY_KEY = {
    "withdrawal": "withdrawal-tax",
    "options": "lump-sum-timing",
    "aim": "allowance-schedule",
}
"""The operation by the key that its request alone has. A request with none of them is for warnings."""
_INCLUDED = {
    "withdrawal-tax": "working,charts",
    "allowance-schedule": "charts",
    "lump-sum-timing": "charts",
}


def operation_of(request: Any) -> str:
    """The operation that a request is for: the last part of its path."""
    return next((name for key, name in _BY_KEY.items() if isinstance(request, dict) and key in request), "warnings")


def path_of(operation: str) -> str:
    """The path, with its query, at which the answer has all that a record prints."""
    return f"/v1/{operation}" + (f"?include={_INCLUDED[operation]}" if operation in _INCLUDED else "")
