"""Print a readable quote for a pension withdrawal, computed by a running service.

    python examples/quote.py examples/requests/first-ufpls.json [http://127.0.0.1:8000]

Exit status: 0 when a quote was printed, 1 when the service answered with a problem or could not be reached.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import requests

WIDTH = 64


def money(amount: float) -> str:
    """Pounds and pence, lined up."""
    return f"{'-' if amount < 0 else ''}£{abs(amount):,.2f}"


def line(label: str, amount: float) -> str:
    """One line of the quote: what, and how much."""
    return f"  {label:<{WIDTH - 18}}{money(amount):>16}"


def printed(quote: dict[str, Any]) -> str:
    """The quote as text: what leaves, what payroll takes, what arrives, what comes back, what it is really taxed at."""
    withdrawal, tax, payroll = quote["withdrawal"], quote["income_tax"], quote["payroll"]
    lines = [
        f"Withdrawal in {quote['tax_year']} ({withdrawal['method'].replace('_', ' ')})",
        "",
        line("leaves the pension", withdrawal["gross"]),
        line("of it free of tax", withdrawal["tax_free"]),
        line("of it taxable income", withdrawal["taxable"]),
        "",
        line(
            f"payroll {'pays back' if payroll['refund'] else 'takes'} (code {payroll['code']}, "
            f"{payroll['basis'].replace('_', ' ')})",
            payroll["refund"] or payroll["tax_deducted"],
        ),
        line("arrives in the bank", payroll["paid_out"]),
    ]
    if payroll["over_deducted"]:
        form = payroll["reclaim_form"]
        how = f"form {form}" if form != "none" else "no form needed"
        lines.append(line(f"comes back ({how})", payroll["over_deducted"]))
    if payroll["under_deducted"]:
        lines.append(line("still to be paid to HMRC", payroll["under_deducted"]))
    lines += [
        line("yours in the end", quote["net_after_tax"]),
        "",
        line("tax this withdrawal adds to the year", tax["on_withdrawal"]),
        f"  {'really taxed at':<{WIDTH - 18}}{tax['effective_rate']:>16.2%}",
        f"  {'the next taxable pound would be taxed at':<{WIDTH - 18}}{tax['next_pound_rate']:>16.2%}",
        "",
        "  How the taxable part is taxed:",
    ]
    for piece in tax["slices"]:
        average = piece.get("average_rate", piece["rate"])
        rate = "step" if average is None else f"{average:.2%}"
        reasons = ", ".join(reason.replace("_", " ") for reason in piece["because"])
        lines.append(
            f"    {money(piece['from']):>13} to {money(piece['to']):>13}  {rate:>7}  {money(piece['tax']):>11}  {reasons}"
        )
        if "staircase" in piece:
            stairs = piece["staircase"]
            lines.append(
                f"{'':37}{piece['rate']:>7.2%}  and about {money(stairs['by'])} more at every {money(stairs['every'])}"
            )
    if quote["warnings"]:
        lines += ["", "  Mind:"]
        for warning in quote["warnings"]:
            told = [f"{warning['title']}. {warning['detail']}", *warning.get("caveats", [])]
            lines.append(f"    {' '.join(told)}")
    return "\n".join([*lines, "", quote["notice"]])


def main(arguments: list[str]) -> int:
    """Read a request file, ask the service, print the quote."""
    if not 1 <= len(arguments) <= 2:
        print(__doc__, file=sys.stderr)
        return 1
    request = json.loads(Path(arguments[0]).read_text(encoding="utf-8"))
    base = arguments[1] if len(arguments) == 2 else "http://127.0.0.1:8000"
    try:
        response = requests.post(f"{base}/v1/withdrawal-tax", json=request, timeout=10)
    except requests.ConnectionError:
        print(f"No service answers at {base}. Start it first; README.md says how.", file=sys.stderr)
        return 1
    answer = response.json()
    if response.status_code != 200:
        print(f"{answer['title']}: {answer['detail']}", file=sys.stderr)
        for fault in answer["errors"]:
            print(f"  {fault['pointer']}: {fault['detail']}", file=sys.stderr)
        return 1
    print(printed(answer))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
