"""`python -m service`: reads the settings, takes the port, loads the rules and serves.

Exit status: 0 after a stop signal, 1 when the address cannot be listened on, 2 when a setting cannot be used.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Mapping

from flask import Flask

from service import create_app
from service.server import CannotListenError, listen, serve, stop_at_once, url_of
from service.settings import Settings, SettingsError


def main(environ: Mapping[str, str]) -> int:
    """Start the service with the settings in `environ`; returns only if that fails, with an exit status."""
    signal.signal(signal.SIGTERM, stop_at_once)
    signal.signal(signal.SIGINT, stop_at_once)
    try:
        settings = Settings.from_environment(environ)
    except SettingsError as error:
        print(f"The service cannot start: {error}.", file=sys.stderr)
        return 2
    # The port comes first: a second copy started by mistake is told so before it does any work.
    try:
        listener = listen(settings)
    except CannotListenError as error:
        print(f"The service cannot start: {error}.", file=sys.stderr)
        return 1
    app = create_app(settings)
    version = rules_version(app)
    print(f"Listening on {url_of(listener)}, workers: {settings.workers}, rules: {version}.", flush=True)
    serve(app, settings, listener)
    return 0


def rules_version(app: Flask) -> str:
    """The version of the figures that `app` has loaded, as its own readiness check tells it."""
    version: str = app.test_client().get("/health/ready").get_json()["version"]
    return version


if __name__ == "__main__":
    sys.exit(main(os.environ))
