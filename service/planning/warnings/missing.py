"""What was not given and would matter, told once: as one warning, or in the notice where nothing missing decides more.

Some facts decide what is permitted, taxed or charged; missing, they make a warning. Others matter to almost everybody of whom
little was said: guarantees, benefits, the rest of an estate. Of each of these, ``in_notice`` has a sentence.
"""

from __future__ import annotations

from service.figures.loader import STANDINGS
from service.planning.warnings.topic import Entry, Topic
from service.planning.warnings.warning import ClientWarning, Found, told_in_notice

TOPIC: Topic = Topic()


@TOPIC.of_missing_facts(
    "facts_not_given",
    "check",
    "Missing facts could change this",
    "Facts that would matter to what is planned are not given; each is listed in the warning, with its own code.",
    facts=(
        "circumstances.benefits",
        "circumstances.children",
        "circumstances.gifts_planned",
        "circumstances.small_pots_taken",
        "circumstances.usual_contributions",
        "contributions",
        "estate",
        "flexibly_accessed",
        "pensions.guaranteed_annuity_rate",
        "pensions.protected_tax_free_share",
        "pensions.safeguarded_benefits",
    ),
    sources=("the sources that each missing fact names",),
    only="with_facts",
    severity="lasting",
)
def facts_not_given(missing: tuple[ClientWarning, ...], entry: Entry) -> Found:
    """All missing facts as one warning, in their own words and order. It has no figures and no sources of its own."""
    if not missing or told_in_notice(missing):
        return ()
    first, people = missing[0], {one.person for one in missing}
    pensions = {(one.person, one.pension) for one in missing}
    return (
        ClientWarning(
            code=entry.code,
            effect=entry.effect,
            title=entry.title,
            detail=" ".join(one.detail for one in missing),
            path=first.path,
            sources=entry.sources,
            standing=max((one.standing for one in missing), key=STANDINGS.index),
            severity=entry.severity,
            tax_year=min((one.tax_year for one in missing if one.tax_year is not None), default=None),
            person=first.person if len(people) == 1 else None,
            pension=first.pension if len(pensions) == 1 else None,
            caveats=tuple(dict.fromkeys(caveat for one in missing for caveat in one.caveats)),
            missing_facts=missing,
        ),
    )
