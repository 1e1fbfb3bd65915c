"""Starting the server: reads the settings, takes the port, loads the rules and serves.

Exit status: 0 after a stop signal; 1 when the address cannot be listened on, nothing can be written, too few files can be
opened, or the figures or the installation cannot be used; 2 when a setting cannot be used.
"""

from __future__ import annotations

import logging
import logging.config
import signal
import sys
from collections.abc import Mapping

from service import create_app, is_compiled
from service.figures.loader import FiguresError
from service.http.keys import KeysError
from service.logs import configuration
from service.server import (
    CannotListenError,
    NowhereToWriteError,
    TooFewDescriptorsError,
    folder_for_heartbeats,
    listen,
    require_descriptors,
    serve,
    stop_at_once,
    url_of,
)
from service.settings import Settings, SettingsError
from service.versions import SourcesMissingError


def start(environ: Mapping[str, str]) -> int:
    """Start the service with the settings in `environ`; returns only if that fails, with an exit status."""
    signal.signal(signal.SIGTERM, stop_at_once)
    signal.signal(signal.SIGINT, stop_at_once)
    signal.signal(signal.SIGHUP, signal.SIG_IGN)  # to reload before there is anything to reload must not end the start
    try:
        settings = Settings.from_environment(environ)
        require_descriptors(settings.workers)
        folder_for_heartbeats()
        # The port comes first: a second copy started by mistake is told so before it does any work.
        listener = listen(settings)
        app = create_app(settings)
    except (
        SettingsError,
        CannotListenError,
        NowhereToWriteError,
        TooFewDescriptorsError,
        FiguresError,
        KeysError,
        SourcesMissingError,
    ) as error:
        print(f"The service cannot start: {error}", file=sys.stderr)
        return 2 if isinstance(error, SettingsError | KeysError) else 1
    except OSError as error:
        print(f"The service cannot start: {error.strerror or error}", file=sys.stderr)
        return 1
    version = app.extensions["rules_version"]
    how = "compiled" if is_compiled() else "interpreted"
    started = f"Listening on {url_of(listener)}, workers: {settings.workers}, rules: {version}, code: {how}."
    if settings.log_format == "text":
        print(started, flush=True)
    logging.config.dictConfig(configuration(settings.log_format, settings.log_level))
    if settings.log_format == "json":
        logging.getLogger("service").info(started)
    serve(app, settings, listener)
    return 0
