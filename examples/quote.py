"""Print a readable quote for a pension withdrawal, computed by a running service.

    python examples/quote.py examples/requests/first-ufpls.json [http://127.0.0.1:8000]

Exit status: 0 when a quote was printed, 1 when the service answered with a problem, could not be asked or was not reached.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import requests

WIDTH = 64
USAGE = (
    "Usage: python examples/quote.py REQUEST.json [ADDRESS]. Prints the quote of a running service, by default the one at "
    "http://127.0.0.1:8000."
)


def money(amount: float) -> str:
    """Pounds and pence, lined up."""
    return f"{'-' if amount < 0 else ''}£{abs(amount):,.2f}"


def line(label: str, amount: float) -> str:
    """One line of the quote: what, and how much."""
    return f"  {label:<{WIDTH - 18}}{money(amount):>16}"


def printed(quote: dict[str, Any]) -> str:
    """The quote as text: what leaves, what payroll takes, what arrives, what comes back, and the rates of tax."""
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
        form = payroll["reclaim"]["form"]
        how = f"form {form}" if form != "none" else "no form needed"
        lines.append(line(f"comes back ({how})", payroll["over_deducted"]))
    if payroll["under_deducted"]:
        lines.append(line("still to be paid to HMRC", payroll["under_deducted"]))
    lines += [
        line("yours in the end", quote["net_after_tax"]),
        "",
        line("tax this withdrawal adds to the year", tax["on_withdrawal"]),
    ]
    charge = quote.get("lifetime_allowance", {}).get("charge", 0)
    if charge:
        lines.append(line("lifetime allowance charge", charge))
    lines += [
        f"  {'effective rate':<{WIDTH - 18}}{tax['effective_rate']:>16.2%}",
        "",
        f"  {marginal_rate_sentence(tax['marginal_rate'])}",
        "",
        "  How the taxable part is taxed:",
    ]
    for piece in tax["slices"]:
        average = piece.get("average_rate", piece.get("rate"))
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
        lines += ["", "  Points to note:"]
        for warning in quote["warnings"]:
            told = [f"{warning['title']}. {warning['detail']}", *warning.get("caveats", [])]
            lines.append(f"    {' '.join(told)}")
    return "\n".join([*lines, "", quote["notice"]])


def marginal_rate_sentence(rate: float) -> str:
    """What the next hundred pounds would cost. An allowance that comes back can make it less than nothing."""
    more = "The next £100 of taxable withdrawal would"
    cost = money(abs(rate) * 100)
    return (
        f"{more} lower the year's tax by {cost}."
        if rate < 0
        else f"{more} cost {cost} of tax (marginal rate {rate:.2%})."
    )


def problem(answer: dict[str, Any]) -> str:
    """A problem as text, each fault on a line of its own."""
    faults = [f"  {fault['pointer']}: {fault['detail']}" for fault in answer.get("errors", [])]
    return "\n".join([f"{answer['title']}: {answer['detail']}", *faults])


class CannotAskError(Exception):
    """Why there is no answer, in a sentence."""


def request_in(path: str) -> Any:
    """The request that a file holds."""
    try:
        return json.loads(Path(path).read_text(encoding="utf-8"))
    except OSError as error:
        raise CannotAskError(f"{path} cannot be read: {error.strerror}.") from None
    except ValueError:
        raise CannotAskError(f"{path} does not hold JSON.") from None


def asked(base: str, request: Any) -> tuple[int, dict[str, Any]]:
    """The service's status and answer."""
    if not base.startswith(("http://", "https://")):
        raise CannotAskError(f"An address begins with http://, such as http://127.0.0.1:8000; {base} does not.")
    try:
        response = requests.post(f"{base.rstrip('/')}/v1/withdrawal-tax", json=request, timeout=10)
        answer = response.json()
    except (requests.ConnectionError, requests.Timeout):
        raise CannotAskError(f"No service answers at {base}. Start it first; README.md says how.") from None
    except (requests.RequestException, ValueError):
        raise CannotAskError(f"{base} is not an address of this service.") from None
    if not isinstance(answer, dict) or not {"title", "withdrawal"} & set(answer):
        raise CannotAskError(f"{base} is not an address of this service.")
    return response.status_code, answer


def main(arguments: list[str]) -> int:
    """Read a request file, ask the service, print the quote."""
    if {"-h", "--help"} & set(arguments):
        print(USAGE)
        return 0
    if not 1 <= len(arguments) <= 2:
        print(USAGE, file=sys.stderr)
        return 1
    base = arguments[1] if len(arguments) == 2 else "http://127.0.0.1:8000"
    try:
        status, answer = asked(base, request_in(arguments[0]))
    except CannotAskError as error:
        print(error, file=sys.stderr)
        return 1
    if status != 200:
        print(problem(answer), file=sys.stderr)
        return 1
    print(printed(answer))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
