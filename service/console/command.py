"""The command `pension-to-isa`: starts the service, or asks it here and prints the answer.

Click reads the command line. It is installed with Flask anyway, and has what this needs: commands of their own, help that is made
from them, and no traceback where a pipe is closed.

Exit status: 0 when what was asked for is printed; 1 when the request cannot be answered, or the page cannot be written; 2 when
the command line or the file cannot be used; 130 when it is stopped by Ctrl-C.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple
from urllib.parse import urlencode

import click

from service.console import check, figures, filing, plan, quote, timing
from service.console.asking import Answer, Service
from service.console.reading import STANDARD_INPUT, CannotReadError, name_of, request_in, under_law
from service.console.waiting import waiting
from service.console.writing import write, write_bytes
from service.figures.keys import KEYS
from service.figures.loader import FiguresError
from service.record import PANGO, operation_of
from service.settings import SettingsError
from service.start import start
from service.versions import SOFTWARE_VERSION

ANSWERED, NOT_ANSWERED, NOT_ASKED, STOPPED = 0, 1, 2, 130
FILE_HELP = "FILE is a request as JSON, such as those in examples/requests. Without it, standard input is read."


class Question(NamedTuple):
    """A question of the command line: the path it is asked at, its page, and what is being done meanwhile."""

    path: str
    page: Callable[[dict[str, Any]], list[str]]
    doing: str


QUOTE = Question("/v1/withdrawal-tax", quote.page, "Working out the tax")
SCHEDULE = Question("/v1/allowance-schedule", plan.page, "Looking for the plan")
TIMING = Question("/v1/lump-sum-timing", timing.page, "Comparing the options")
CHECK = Question("/v1/warnings", check.page, "Looking at each rule")
_COMMANDS = {"withdrawal-tax": "quote", "allowance-schedule": "schedule", "lump-sum-timing": "timing"}
"""The command of an operation that a request names by a key of its own. A request for warnings has none."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command with its arguments, by default those of the process; its exit status. Only as much of a traceback as one
    line is ever printed for what the user can mend."""
    try:
        return int(command.main(arguments, standalone_mode=False) or ANSWERED)
    except click.Abort:
        return failed(["Stopped."], STOPPED)
    except click.ClickException as error:
        context = error.ctx.command_path if isinstance(error, click.UsageError) and error.ctx else "pension-to-isa"
        said = error.format_message()
        return failed([f"{said}{'' if said.endswith(('.', '?')) else '.'} {context} --help shows how."], NOT_ASKED)
    except CannotReadError as error:
        return failed([str(error)], NOT_ASKED)
    except (FiguresError, SettingsError) as error:  # of the folder of proposed law
        return failed(str(error).splitlines(), NOT_ASKED)
    except OSError as error:
        where = f" to {error.filename}" if error.filename else ""
        return failed([f"What was made cannot be written{where}: {error.strerror}."], NOT_ANSWERED)


@click.group(invoke_without_command=True, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(SOFTWARE_VERSION, message="%(prog)s %(version)s")
@click.pass_context
def command(context: click.Context) -> int | None:
    """What it costs to move money from a UK pension into an ISA.

    The questions are answered on this machine: no service has to run, and nothing is kept or sent. Answers are illustrations,
    not advice. Without a command the service is started.
    """
    return start(os.environ) if context.invoked_subcommand is None else None


@command.command()
def serve() -> int:
    """Start the service for other programs.

    It listens on http://127.0.0.1:8000 until it is stopped. Settings are read from the environment; README.md has their list.
    """
    return start(os.environ)


def asks(question: Question) -> Callable[[Callable[..., None]], click.Command]:
    """The command of a question, from a function that has its name and its help."""

    def made(described: Callable[..., None]) -> click.Command:
        def run(file: str, as_json: bool, include: str | None, law: str | None) -> int:
            return asked(question, file, as_json=as_json, include=include, law=law)

        run.__name__ = described.__name__
        run.__doc__ = f"{described.__doc__}\n\n    {FILE_HELP}"
        return command.command()(_file(_as_json(_include(_law(run)))))

    return made


_file = click.argument("file", default=STANDARD_INPUT)
_as_json = click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON, as the service gives it.")
_include = click.option(
    "--include", metavar="PARTS", help="With --json: parts to add, such as working. Put commas between several."
)
_law = click.option(
    "--law", metavar="NAME", help="Answer by this proposed law, from the folder that SERVICE_FIGURES names."
)


@asks(QUOTE)
def quote_command() -> None:
    """What one withdrawal costs in tax, and what arrives."""


@asks(SCHEDULE)
def schedule() -> None:
    """A plan of withdrawals and ISA payments over tax years."""


@asks(TIMING)
def timing_command() -> None:
    """Ways to time the tax-free lump sum, side by side."""


@asks(CHECK)
def check_command() -> None:
    """What is not permitted, what has a cost, what to check."""


def asked(question: Question, file: str, *, as_json: bool, include: str | None, law: str | None = None) -> int:
    """Ask a question and print the answer; the exit status."""
    if include is not None and not as_json:
        raise click.UsageError("--include needs --json.", click.get_current_context())
    request = request_in(file) if law is None else under_law(request_in(file), law)
    path = question.path if include is None else f"{question.path}?include={include}"
    with waiting(question.doing):
        answer = Service().post(path, request)
    if answer.is_problem and not as_json:
        other = other_command(question, request)
        if other is not None:
            return failed([f"{name_of(file)} asks another question: pension-to-isa {other} answers it."], NOT_ANSWERED)
    return printed(answer, question.page, as_json=as_json, about=name_of(file))


def other_command(question: Question, request: bytes) -> str | None:
    """The command that a request is for, where its keys say that it is for another one."""
    try:
        operation = operation_of(json.loads(request))
    except ValueError:
        return None
    other = _COMMANDS.get(operation)
    return None if question.path == f"/v1/{operation}" else other


@command.command(name="figures")
@click.argument("tax_year", required=False)
@click.option("--find", default="", metavar="TEXT", help="Only figures with this text in their name, such as isa.")
@_as_json
@_law
def figures_command(tax_year: str | None, find: str, as_json: bool, law: str | None) -> int:
    """The figures of a tax year, each with its source.

    TAX_YEAR is written as 2026-27. Without it, all tax years are listed.
    """
    if as_json and find:
        raise click.UsageError(
            "--find is for the page; with --json all figures are printed.", click.get_current_context()
        )
    under = "" if law is None else f"?{urlencode({'law': law})}"
    if tax_year is None:
        return printed(Service().get(f"/v1/tax-years{under}"), figures.list_page, as_json=as_json, about="figures")
    kinds = {name: key.kind for name, key in KEYS.items()}
    found = find.strip().lower().replace(" ", "_")
    answer = Service().get(f"/v1/tax-years/{tax_year}{under}")

    def page(year: dict[str, Any]) -> list[str]:
        lines = figures.page(year, kinds, found)
        if not lines:
            raise click.UsageError(f"No figure of {tax_year} has {find} in its name.", click.get_current_context())
        return lines

    return printed(answer, page, as_json=as_json, about=tax_year)


@command.command(name="record")
@click.argument("file", default=STANDARD_INPUT)
@click.argument("out", required=False, type=click.Path(dir_okay=False, path_type=Path))
@click.option("--check", "to_check", is_flag=True, help="Check the record in FILE, which must be HTML, and make none.")
def record_command(file: str, out: Path | None, to_check: bool) -> int:
    """A record for the file: question and answer as one page.

    FILE is a request as JSON, of any of the four questions. OUT is the file to write: HTML, or PDF where its name ends in .pdf.
    The packages that it needs are installed with pip install '.[record]'.
    """
    if to_check == (out is not None):
        raise click.UsageError("Give the file to write, or --check and no file to write.", click.get_current_context())
    try:
        return recorded(file, out)
    except ImportError as error:  # what records are made with is not installed everywhere
        if error.name == PANGO:
            said = "Pango is missing, which PDF needs. Install libpango-1.0-0 and libpangoft2-1.0-0, or write HTML."
        else:
            said = "The packages for records are missing. Install them with pip install '.[record]'."
        return failed([said], NOT_ANSWERED)


def recorded(file: str, out: Path | None) -> int:
    """Make a record, or check one if there is no file to write; the exit status."""
    content, service = request_in(file), Service()
    if out is None:
        found = filing.faults_of_record(service, content.decode("utf-8", "replace"))
        if found:
            return failed([f"{name_of(file)}: {fault}" for fault in found], NOT_ANSWERED)
        write(["The record is sound."], sys.stdout)
        return ANSWERED
    try:
        operation = operation_of(json.loads(content))
    except ValueError:
        operation = "warnings"  # which says where the JSON is broken
    with waiting("Making the record"):
        answer = filing.asked_for_the_file(service, operation, content)
        if not answer.is_problem:
            made_on = datetime.now().astimezone().date()
            filing.write_record(service, operation, content, answer, out, made_on)
    return failed(faults(answer.document, name_of(file)), NOT_ANSWERED) if answer.is_problem else ANSWERED


def printed(answer: Answer, page: Callable[[dict[str, Any]], list[str]], *, as_json: bool, about: str) -> int:
    """Print an answer as JSON or as a page, or why there is none, a line for each fault; the exit status."""
    if as_json:
        write_bytes(answer.content)
        return NOT_ANSWERED if answer.is_problem else ANSWERED
    if answer.is_problem:
        return failed(faults(answer.document, about), NOT_ANSWERED)
    write(page(answer.document), sys.stdout)
    return ANSWERED


def faults(problem: dict[str, Any], about: str) -> list[str]:
    """Why there is no answer: each fault with its place and what to send instead, in a line of its own."""
    found = problem.get("errors", ())
    whole = problem["detail"].replace("The body", "The request", 1)  # which is how a request comes over HTTP
    return [f"{about}: {fault['pointer']}: {fault['detail']}" for fault in found] or [f"{about}: {whole}"]


def failed(lines: list[str], status: int) -> int:
    """Say on the standard error what is wrong; the exit status."""
    write(lines, sys.stderr)
    return status
