"""What the command lines of the scripts have in common."""

from __future__ import annotations

import argparse


def tax_year(text: str) -> str:
    """A tax year as it is written, such as 2026-27. ArgumentTypeError for anything else."""
    start, _, end = text.partition("-")
    if not (text.isascii() and start.isdigit() and len(start) == 4 and end == f"{(int(start) + 1) % 100:02}"):
        raise argparse.ArgumentTypeError(f"{text!r} is not a tax year such as 2026-27")
    return text


def at_least_one(text: str) -> int:
    """A whole number from 1 on. ArgumentTypeError for anything else."""
    if not text.isascii() or not text.isdigit() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number from 1 on")
    return int(text)
