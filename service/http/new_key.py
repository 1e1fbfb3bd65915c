"""Make a key for a caller.

    python -m service.http.new_key NAME

prints the key, once, and the lines for the file of keys (``keys.py``), which has only its hash.
"""

from __future__ import annotations

import argparse
import secrets
import sys

from service.http.keys import NAME, digest_of


def main(arguments: list[str] | None = None) -> int:
    """Print a new key and its entry of the file; status 2 for a name that cannot be used."""
    parser = argparse.ArgumentParser(
        prog="python -m service.http.new_key",
        description="Makes a key for a caller. The key is shown once and is kept nowhere.",
    )
    parser.add_argument("name", help="the name that stands in the log: small letters, digits, dots and dashes")
    name = parser.parse_args(arguments).name
    if not NAME.fullmatch(name):
        print("The name must be 1 to 60 small letters, digits, dots or dashes.", file=sys.stderr)
        return 2
    key = secrets.token_urlsafe(32)
    print(f"The key, for the caller alone. It is not kept anywhere:\n\n    {key}\n")
    print(
        f'Put this into the file of SERVICE_KEYS_FILE:\n\n[[keys]]\nname = "{name}"\nsha256 = "{digest_of(key).hex()}"'
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
