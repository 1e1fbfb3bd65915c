"""The page of a quote: what leaves the pension, what payroll takes, what arrives, what comes back, and the rates of tax."""

from __future__ import annotations

from typing import Any

from service.console.layout import effect_of, ending, headed, line, money, paragraph, points, share, title, words

METHODS = {
    "pcls": "a tax-free lump sum",
    "pcls_and_drawdown": "a tax-free lump sum, and the rest paid out",
    "ufpls": "a lump sum, part of it tax free",
    "drawdown": "income from drawdown",
    "small_pot": "a small pot lump sum",
}


def page(quote: dict[str, Any]) -> list[str]:
    """The lines of the page."""
    method = quote["withdrawal"]["method"]
    return [
        *title(f"A pension withdrawal in {quote['tax_year']}: {METHODS.get(method, words(method))}"),
        *headed("From the pension to the bank", money_moved(quote)),
        *headed("Tax on the withdrawal", taxed(quote)),
        *headed("How the taxable part is taxed", slices(quote["income_tax"]["slices"])),
        *headed("How payroll taxes it", paragraph(said_of_payroll(quote["payroll"]))),
        *headed("Points to note", points(quote["warnings"], map(effect_of, quote["warnings"]))),
        *ending(quote),
    ]


def money_moved(quote: dict[str, Any]) -> list[str]:
    """From what leaves the pension to what is kept."""
    withdrawal, payroll = quote["withdrawal"], quote["payroll"]
    code = f"code {payroll['code']}, {words(payroll['basis'])}"
    lines = [
        line("leaves the pension", money(withdrawal["gross"])),
        line("  of it tax free", money(withdrawal["tax_free"])),
        line("  of it taxable", money(withdrawal["taxable"])),
    ]
    if payroll["refund"]:
        lines.append(line(f"payroll pays back ({code})", money(payroll["refund"])))
    else:
        lines.append(line(f"payroll takes ({code})", money(-payroll["tax_deducted"])))
    charge = quote.get("lifetime_allowance", {}).get("charge", 0)
    if charge:
        lines.append(line("lifetime allowance charge", money(-charge)))
    lines.append(line("arrives in the bank", money(payroll["paid_out"])))
    if payroll["over_deducted"]:
        form = payroll["reclaim"]["form"]
        how = f"form {form}" if form != "none" else "no form needed"
        lines.append(line(f"can be reclaimed ({how})", money(payroll["over_deducted"])))
    if payroll["under_deducted"]:
        lines.append(line("still to be paid to HMRC", money(-payroll["under_deducted"])))
    return [*lines, line("kept in the end", money(quote["net_after_tax"]))]


def taxed(quote: dict[str, Any]) -> list[str]:
    """What the withdrawal adds to the tax of the year, and the rates."""
    tax = quote["income_tax"]
    return [
        line("tax that it adds to the year", money(tax["on_withdrawal"])),
        line("as a share of the withdrawal", share(tax["effective_rate"])),
        *paragraph(marginal_rate_sentence(tax["marginal_rate"])),
    ]


def marginal_rate_sentence(rate: float) -> str:
    """What the next hundred pounds would cost. An allowance that comes back can make it less than nothing."""
    cost = money(abs(rate) * 100)
    if rate < 0:
        return f"The next £100 of taxable withdrawal would lower the year's tax by {cost}."
    return f"The next £100 of taxable withdrawal would cost {cost} of tax."


def slices(found: list[dict[str, Any]]) -> list[str]:
    """The parts of the taxable withdrawal, each with its rate and what the rate comes from."""
    lines = [f"  {'from':>14}{'to':>15}{'rate':>9}{'tax':>15}  because of"]
    for piece in found:
        average = piece.get("average_rate", piece.get("rate"))
        rate = "at once" if average is None else share(average)
        start = f"  {money(piece['from']):>14}{money(piece['to']):>15}{rate:>9}{money(piece['tax']):>15}  "
        because = paragraph(", ".join(words(reason) for reason in piece["because"]), " " * len(start))
        lines += [start + because[0].lstrip(), *because[1:]]
        if "staircase" in piece:
            stairs = piece["staircase"]
            lines += paragraph(f"about {money(stairs['by'])} more at every {money(stairs['every'])}", " " * len(start))
    return lines


def said_of_payroll(payroll: dict[str, Any]) -> str:
    """How payroll comes to its tax, and how what is too much comes back."""
    return " ".join(filter(None, (payroll["explanation"], payroll.get("reclaim", {}).get("reason", ""))))
