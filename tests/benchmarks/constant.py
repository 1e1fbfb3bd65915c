"""The least that Flask on the service's server can do: one route that reads nothing and returns bytes made beforehand.

A process of its own, started like the service. It reads the reply from standard input as JSON: ``headers`` and
``body``, the bytes as Latin-1 text.
"""

from __future__ import annotations

import json
import os
import sys

from flask import Flask, Response

from service.server import listen, serve, url_of
from service.settings import Settings

PATH = "/v1/withdrawal-tax"


def constant_app(headers: dict[str, str], body: bytes) -> Flask:
    """An application that answers every POST to PATH alike."""
    app = Flask("constant", static_folder=None)

    @app.post(PATH)
    def constant() -> Response:
        return Response(body, 200, headers)

    return app


def main() -> None:
    """Serve until a stop signal, with the service's own settings and server options."""
    reply = json.load(sys.stdin)
    settings = Settings.from_environment(os.environ)
    listener = listen(settings)
    sys.stdout.write(f"Listening on {url_of(listener)}, workers: {settings.workers}\n")
    sys.stdout.flush()
    serve(constant_app(reply["headers"], reply["body"].encode("latin-1")), settings, listener)


if __name__ == "__main__":
    main()
