"""What a household owns besides pensions, ISAs and cash, from loaded values."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from service.planning.estates import TO_BENEFICIARIES, EstateFacts, Gift, HomeGivenUp
from service.schemas.places import Places


def estate_of(values: Mapping[str, Any], places: Places) -> EstateFacts:
    """The estate facts of a record; ``places`` gathers what is not clear of the people that gifts name."""
    given = dict(values)
    gifts = tuple(
        Gift(
            gift["date"],
            gift["amount"],
            places.person(gift.get("person"), ("household", "estate", "lifetime_gifts", j, "person")),
        )
        for j, gift in enumerate(given.pop("lifetime_gifts", ()))
    )
    if "home_given_up" in given:
        given["home_given_up"] = HomeGivenUp(**given["home_given_up"])
    if not given.get("spouses", True):
        given.setdefault("first_death", TO_BENEFICIARIES)
    return EstateFacts(**given, gifts=gifts)
