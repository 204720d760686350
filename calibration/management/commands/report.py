"""The owner's report from the command line: to read, as PDF, as CSV, by mail."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone

from brewbar.crew.models import Company
from brewbar.crew.preferences import company_style
from brewbar.refusal import Refusal
from brewbar.units import written_as
from calibration import report_files, report_mail, report_print, report_words
from calibration.report_spans import span_named
from calibration.reporting.build import asked_for, build
from calibration.reporting.result import Asked, Report


class Command(BaseCommand):
    help = (
        "Report how consistent the cup was in a span, of a company or one of its cafés. Without --pdf, --csv or --mail "
        "it prints what the report says first."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--company", metavar="NAME", help="the company, where there are several")
        parser.add_argument("--cafe", metavar="NAME", help="one of its cafés; else the whole company")
        parser.add_argument("--from", dest="first", metavar="DAY", help="the first day, such as 2026-10-01")
        parser.add_argument("--to", dest="last", metavar="DAY", help="the last day, such as 2026-10-31")
        parser.add_argument(
            "--last", dest="named", choices=("month", "quarter"), help="the last whole month, or quarter"
        )
        parser.add_argument("--pdf", type=Path, metavar="FILE", help="write it on A4")
        parser.add_argument("--csv", type=Path, metavar="FOLDER", help="write every table, and report.json")
        parser.add_argument(
            "--mail", action="store_true", help="send the PDF to the owners who have an e-mail address"
        )

    def handle(self, *args: Any, **given: Any) -> None:
        asked = _asked(given)
        owners = report_mail.recipients(asked.company) if given["mail"] else []
        with written_as(company_style(asked.company)):
            report = build(asked, timezone.now())
            if not any((given["pdf"], given["csv"], given["mail"])):
                self.stdout.write(report_words.as_text(report), ending="")
                return
            self._hand_over(report, given, owners)

    def _hand_over(self, report: Report, given: dict[str, Any], owners: list[Any]) -> None:
        pdf = report_print.report_pdf(report) if given["pdf"] or owners else b""
        if given["csv"]:
            folder = given["csv"].expanduser()
            files = report_files.files_of(report)
            _write({folder / name: content for name, content in files.items()}, "--csv", folder)
            self.stdout.write(f"{folder}: {len(files)} files.")
        if given["pdf"]:
            path = given["pdf"].expanduser()
            _write({path: pdf}, "--pdf", path)
            self.stdout.write(f"{path}: {len(pdf):,} bytes.")
        if owners:
            report_mail.send(report, pdf, owners)
            self.stdout.write(f"Sent to {', '.join(owner.email for owner in owners)}.")


def _write(files: dict[Path, bytes], option: str, given: Path) -> None:
    try:
        if option == "--csv":
            given.mkdir(parents=True, exist_ok=True)
        for path, content in files.items():
            report_files.write(path, content)
    except OSError as error:
        raise Refusal(
            f"{option} is {given}, which cannot be written ({error.strerror}): name another, or make its folder first."
        ) from error


def _asked(given: dict[str, Any]) -> Asked:
    company = _named(Company.objects.order_by("name"), given["company"], "company", "--company")
    cafes = None
    if given["cafe"] is not None:
        cafes = [_named(company.cafes.order_by("name"), given["cafe"], f"café of {company}", "--cafe")]
    first, last = _span(given, company)
    return asked_for(company, cafes, first, last)


def _named(known: Any, name: str | None, kind: str, option: str) -> Any:
    """The one of that name, or the only one there is."""
    rows = list(known)
    wanted = [row for row in rows if name is None or row.name.casefold() == name.strip().casefold()]
    if len(wanted) == 1:
        return wanted[0]
    if not rows:
        raise Refusal(f"There is no {kind} yet: python3 manage.py serve opens the first one.")
    names = ", ".join(row.name for row in rows)
    if name is None:
        raise Refusal(f"Which {kind}? Say {option} with one of: {names}.")
    raise Refusal(f"There is no {kind} called {name}. Known: {names}.")


def _span(given: dict[str, Any], company: Company) -> tuple[date, date]:
    if given["named"]:
        if given["first"] or given["last"]:
            raise Refusal("--last names a whole span: leave --from and --to out, or leave out --last.")
        return span_named(given["named"], _today(company))
    if not given["first"] or not given["last"]:
        raise Refusal(
            "Which days? Say --from and --to, such as --from 2026-10-01 --to 2026-10-31, or --last month."
        )
    first, last = _day("--from", given["first"]), _day("--to", given["last"])
    if last < first:
        raise Refusal(f"--to {last} lies before --from {first}: name the earlier day first.")
    return first, last


def _day(option: str, text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Refusal(f"{option} is {text!r}, which is no day: write it as 2026-10-31.") from None


def _today(company: Company) -> date:
    """The day that it is in most of the world of the company: the earliest of its cafés' days."""
    days = [cafe.business_day(timezone.now()) for cafe in company.cafes.all()]
    return min(days, default=timezone.now().date())
