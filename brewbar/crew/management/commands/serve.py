"""The real thing: checks that everything fits together, then serves it."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandParser
from django.db import OperationalError, connection
from django.db.migrations.executor import MigrationExecutor
from django.urls import reverse

from brewbar import address, deployment, serving
from brewbar.crew import first_start
from brewbar.refusal import Refusal


class Command(BaseCommand):
    help = "Serve brewbar at the address that BREWBAR_URL names."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        address.add_arguments(parser)

    def handle(self, *args: Any, host: str, port: int, **options: Any) -> None:
        if settings.DEMO or not settings.SERVING:
            raise Refusal("The real data are served by `python3 manage.py serve`, with BREWBAR_DEMO unset.")
        if problems := deployment.misfits(settings.DEPLOYMENT, host, port):
            raise Refusal("\n".join(problems))
        address.refuse_unless_free(host, port)
        self.check()
        self._prepare_database()
        if serving.collect_static():
            self.stdout.write(f"Static files collected into {settings.STATIC_ROOT}.")
        if lost := deployment.loses(settings.DEPLOYMENT):
            self.stdout.write(lost)
        self._say_how_to_begin()
        self.stdout.write(f"brewbar is served at {settings.BASE_URL} (Ctrl-C stops it).")
        serving.listen(host, port)

    def _prepare_database(self) -> None:
        try:
            executor = MigrationExecutor(connection)
            pending = executor.migration_plan(executor.loader.graph.leaf_nodes())
            is_new = connection.vendor == "sqlite" and not connection.introspection.table_names()
            if is_new:
                call_command("migrate", interactive=False, verbosity=0)
                self.stdout.write(f"A new database was made in {settings.DATA_DIR}.")
            elif pending:
                raise Refusal(
                    f"The database is {len(pending)} steps behind this version: make a copy of it, then run "
                    f"`python3 manage.py migrate`."
                )
        except OperationalError as error:
            raise Refusal(
                f"The database does not answer ({str(error).splitlines()[0]}): see that it runs and that "
                f"DATABASE_URL leads to it."
            ) from error
        finally:
            connection.close()

    def _say_how_to_begin(self) -> None:
        """Only whoever reads this gets past the set-up page."""
        if first_start.is_open():
            address, code = settings.BASE_URL + reverse("crew:set_up"), first_start.new_code()
            self.stdout.write(f"\nThere is no company yet. Open it at  {address}\nwith this code:  {code}\n")
        connection.close()
