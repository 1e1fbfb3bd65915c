"""The command `pension-to-isa`, or `python -m service`."""

from __future__ import annotations

import sys

from service.console.command import main

if __name__ == "__main__":
    sys.exit(main())
