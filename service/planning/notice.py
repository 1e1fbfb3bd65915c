"""What every answer says about itself: which figures are assumptions, and that it is not advice."""

from __future__ import annotations

from service.figures.loader import TaxYear

_GROUPS = ("income_tax.", "payroll.", "pension.")


def assumptions(figures: TaxYear) -> list[str]:
    """A sentence for each figure of the year that is not law, or whose source leaves a doubt."""
    return [
        f"{name}: {figure.status}. {figure.doubt or figure.source}"
        if figure.status != "enacted"
        else f"{name}: {figure.doubt}"
        for name, figure in figures.figures.items()
        if name.startswith(_GROUPS) and (figure.status != "enacted" or figure.doubt)
    ]


def notice(figures: TaxYear) -> str:
    """The short notice under every calculation for a tax year."""
    law = (
        ""
        if figures.status == "enacted"
        else f" Not all rates and allowances for {figures.name} are law yet: the last known ones are carried forward."
    )
    return (
        "An illustration from the facts given and published figures, not advice."
        + law
        + " Check with the pension scheme, HMRC, local rules and an authorised adviser before acting."
    )
