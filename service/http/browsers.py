"""What browsers are told: to keep to the page, to guess no types, and which other origins may call."""

from __future__ import annotations

import base64
import hashlib
import re

from flask import Flask

NOTHING = "default-src 'none'; frame-ancestors 'none'"
"""The content security policy of answers that are no page."""
_SCRIPT = re.compile(rb"<script>(.*?)</script>", re.DOTALL)
_ASKED = ("Authorization", "Content-Type", "X-Request-ID", "traceparent")
_SHOWN = ("Rules-Version", "Retry-After", "X-Request-ID", "traceparent")
PREFLIGHT_SECONDS = 600


def policy_of(page: bytes) -> str:
    """The content security policy of a page: its own scripts, known by their hashes, and what comes from the same origin.
    Styles may stand in the page, because Swagger UI writes them there."""
    hashes = [base64.b64encode(hashlib.sha256(script).digest()).decode() for script in _SCRIPT.findall(page)]
    scripts = " ".join(["'self'", *(f"'sha256-{each}'" for each in hashes)])
    return (
        f"default-src 'none'; script-src {scripts}; style-src 'self' 'unsafe-inline'; img-src 'self' data:; "
        "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )


ALWAYS = [
    ("X-Content-Type-Options", "nosniff"),
    ("Referrer-Policy", "no-referrer"),
    ("Content-Security-Policy", NOTHING),
]
"""Headers of every answer, where it does not set them itself."""


def allow(app: Flask, origins: tuple[str, ...]) -> None:
    """Let pages of these origins call from a browser."""
    from flask_cors import CORS

    CORS(
        app,
        resources=r"/v1/.*",
        origins=list(origins),
        methods=["GET", "HEAD", "POST"],
        allow_headers=list(_ASKED),
        expose_headers=list(_SHOWN),
        max_age=PREFLIGHT_SECONDS,
    )
