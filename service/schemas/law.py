"""Which law a request is to be answered by: that of the field ``law``, or the law as known."""

from __future__ import annotations

from collections.abc import Iterable

from marshmallow import ValidationError

from service.figures.proposals import KNOWN
from service.schemas.fields import nearest
from service.schemas.together import Said

LAW = "law"
"""The field of every question."""


def unknown_law(name: str, proposed: Iterable[str]) -> ValidationError:
    """What is wrong with the name of a law that is not held, and which are."""
    names = [KNOWN, *proposed]
    if len(names) == 1:
        detail = f'This service holds no proposed law. Leave `{LAW}` out, or send "{KNOWN}", for the law as known.'
    else:
        near = nearest(name, names)
        meant = f' Did you mean "{near}"?' if near else ""
        detail = f"No law of this name is held. Must be one of: {', '.join(names)}.{meant}"
    return ValidationError({LAW: [Said("unknown-law", detail)]})
