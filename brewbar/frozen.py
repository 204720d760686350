"""What the database itself refuses to change, on SQLite and PostgreSQL alike. The one place where triggers are made.

Published versions and their pours, published slots, settings, readings and the record of changes are history.
Triggers are dropped before every migration and made anew after it: one that stays would break SQLite's remaking of
tables, or vanish in it. There is none on DELETE, since it would refuse the flush after a live-server test: PROTECT
and ``recipes.models.recipe.refuse_thawing`` stand there instead.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any

from django.apps import AppConfig
from django.db import DEFAULT_DB_ALIAS, connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models.signals import post_migrate, pre_migrate

PUBLISHED_POUR = (
    "EXISTS (SELECT 1 FROM recipes_recipeversion v "
    "WHERE v.id = {row}.version_id AND v.published_at IS NOT NULL)"
)


@dataclass(frozen=True)
class Frozen:
    """Rows of ``table`` that may not change once ``when`` holds, but for the columns named in ``free``."""

    table: str
    event: str
    when: str
    says: str
    free: frozenset[str] = frozenset()

    @property
    def name(self) -> str:
        return f"frozen_{self.table}_{self.event.lower()}"


RULES = (
    Frozen(
        "recipes_recipeversion",
        "UPDATE",
        "OLD.published_at IS NOT NULL",
        "a published version is frozen",
        frozenset({"retired_at"}),
    ),
    Frozen(
        "recipes_pour",
        "INSERT",
        PUBLISHED_POUR.format(row="NEW"),
        "the pours of a published version are frozen",
    ),
    Frozen(
        "recipes_pour",
        "UPDATE",
        PUBLISHED_POUR.format(row="OLD"),
        "the pours of a published version are frozen",
    ),
    Frozen(
        "recipes_slot",
        "UPDATE",
        "OLD.published_at IS NOT NULL",
        "a published slot is frozen",
        frozenset(
            {"setting_id", "leaving", "withdrawn_at", "withdrawn_by_id", "withdrawn_why", "replaced_by_id"}
        ),
    ),
    Frozen("recipes_slot", "UPDATE", "OLD.withdrawn_at IS NOT NULL", "a withdrawn slot is history"),
    Frozen("recipes_slotsetting", "UPDATE", "1 = 1", "settings are added, never changed"),
    Frozen(
        "calibration_reading",
        "UPDATE",
        "1 = 1",
        "a reading is never changed: correct or void it",
        frozenset({"voided_at", "voided_by_id", "void_reason"}),
    ),
    Frozen("calibration_reading", "UPDATE", "OLD.voided_at IS NOT NULL", "a voided reading stays voided"),
    Frozen(
        "calibration_import",
        "UPDATE",
        "1 = 1",
        "what a spreadsheet brought is never changed: undo it",
        frozenset({"undone_at", "undone_by_id", "undone_why"}),
    ),
    Frozen("calibration_import", "UPDATE", "OLD.undone_at IS NOT NULL", "what was undone stays so"),
    Frozen("calibration_drop", "UPDATE", "1 = 1", "a drop is never changed"),
    Frozen("calibration_instrumentcheck", "UPDATE", "1 = 1", "a check is never changed: enter another"),
    Frozen("calibration_checkrun", "UPDATE", "OLD.closed_at IS NOT NULL", "a closed check stays as it is"),
    Frozen(
        "calibration_signal",
        "UPDATE",
        "1 = 1",
        "what raised a signal is never changed",
        frozenset({"state", "state_at"}),
    ),
    Frozen("calibration_signalnote", "UPDATE", "1 = 1", "notes of a signal are added, never changed"),
    Frozen(
        "calibration_followup",
        "UPDATE",
        "1 = 1",
        "what was tried is never changed: end it",
        frozenset({"ended_at", "ended_by_id", "outcome", "note"}),
    ),
    Frozen("calibration_followup", "UPDATE", "OLD.ended_at IS NOT NULL", "what has ended stays so"),
    Frozen(
        "recipes_grindermatch",
        "UPDATE",
        "1 = 1",
        "a match is never changed: take it back",
        frozenset({"taken_back_at", "taken_back_by_id"}),
    ),
    Frozen("recipes_grindermatch", "UPDATE", "OLD.taken_back_at IS NOT NULL", "what was taken back stays so"),
    Frozen(
        "recipes_barevent",
        "UPDATE",
        "1 = 1",
        "an event is never changed: take it back",
        frozenset({"taken_back_at", "taken_back_by_id"}),
    ),
    Frozen("recipes_barevent", "UPDATE", "OLD.taken_back_at IS NOT NULL", "what was taken back stays so"),
    Frozen(
        "recipes_breakuppoint",
        "UPDATE",
        "1 = 1",
        "a measurement is never changed: take it back",
        frozenset({"taken_back_at", "taken_back_by_id"}),
    ),
    Frozen("recipes_breakuppoint", "UPDATE", "OLD.taken_back_at IS NOT NULL", "what was taken back stays so"),
    Frozen(
        "recipes_grindnote",
        "UPDATE",
        "1 = 1",
        "a note on the grind is never changed: write another",
        frozenset({"ended_at", "ended_by_id"}),
    ),
    Frozen("recipes_grindnote", "UPDATE", "OLD.ended_at IS NOT NULL", "what has ended stays so"),
    Frozen(
        "recipes_cafetarget",
        "UPDATE",
        "1 = 1",
        "the target of a café is never changed: set another",
        frozenset({"ended_at", "ended_by_id"}),
    ),
    Frozen("recipes_cafetarget", "UPDATE", "OLD.ended_at IS NOT NULL", "what has ended stays so"),
    Frozen("crew_namingchange", "UPDATE", "1 = 1", "the history of this setting is only added to"),
    Frozen("recipes_cardprint", "UPDATE", "1 = 1", "a print is never changed"),
    Frozen("recipes_seen", "UPDATE", "1 = 1", "what was seen stays seen"),
    Frozen("crew_change", "UPDATE", "1 = 1", "the record of changes is only added to"),
    Frozen("crew_onetimelink", "UPDATE", "OLD.used_at IS NOT NULL", "a used link is history"),
    Frozen("crew_key", "UPDATE", "OLD.revoked_at IS NOT NULL", "a revoked key stays revoked"),
    Frozen("crew_tablet", "UPDATE", "OLD.revoked_at IS NOT NULL", "a revoked tablet stays revoked"),
)


def _names() -> list[tuple[str, Frozen]]:
    return [(f"{rule.name}_{number}", rule) for number, rule in enumerate(RULES)]


def _condition(connection: BaseDatabaseWrapper, rule: Frozen, columns: Iterable[str]) -> str:
    if rule.event == "INSERT":
        return rule.when
    differs = "IS DISTINCT FROM" if connection.vendor == "postgresql" else "IS NOT"
    changed = " OR ".join(f'OLD."{c}" {differs} NEW."{c}"' for c in columns if c not in rule.free)
    return f"({rule.when}) AND ({changed})"


def make(connection: BaseDatabaseWrapper) -> None:
    """Create every trigger; the tables must be there."""
    with connection.cursor() as cursor:
        for name, rule in _names():
            _refuse(connection, cursor, name, rule)
            if connection.vendor == "postgresql":
                cursor.execute(
                    f'CREATE TRIGGER "{name}" BEFORE {rule.event} ON "{rule.table}" '
                    f'FOR EACH ROW EXECUTE FUNCTION "{name}"()'
                )


def _refuse(connection: BaseDatabaseWrapper, cursor: Any, name: str, rule: Frozen) -> None:
    """What the trigger does: on PostgreSQL a function that replaces one of its name, on SQLite the whole trigger."""
    columns = [c.name for c in connection.introspection.get_table_description(cursor, rule.table)]
    condition = _condition(connection, rule, columns)
    if connection.vendor == "sqlite":
        cursor.execute(
            f'CREATE TRIGGER "{name}" BEFORE {rule.event} ON "{rule.table}" WHEN {condition} '
            f"BEGIN SELECT RAISE(ABORT, '{rule.says}'); END"
        )
        return
    cursor.execute(
        f'CREATE OR REPLACE FUNCTION "{name}"() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN '
        f"IF {condition} THEN RAISE EXCEPTION '{rule.says}' USING ERRCODE = 'integrity_constraint_violation'; "
        f"END IF; RETURN NEW; END $$"
    )


NAMES_IN = {
    "crew_change": frozenset({"by_name", "subject", "before", "after", "why", "words"}),
    "crew_onetimelink": frozenset({"name"}),
}
"""Where the names of people stand as text in rows that are frozen."""


@contextmanager
def names_lifted(table: str, using: str = DEFAULT_DB_ALIAS) -> Iterator[None]:
    """Inside, the columns of ``table`` that hold names may be changed; every other column stays as frozen as it is.

    The one exception from history being unalterable. A company may promise its people that their names go some time
    after they have left, and so does the law in many places; the record of who changed what would keep them for good.
    That something was changed, when, and by one and the same person is what the record is for, and stays.

    The rules that hold inside belong to the transaction, which must be open: no other connection ever meets them, and
    whatever ends the transaction early brings the old ones back. SQLite changes no trigger while a query is still being
    read. Raises RuntimeError outside a transaction, KeyError for another table.
    """
    columns = NAMES_IN[table]
    connection = connections[using]
    if not connection.in_atomic_block:
        raise RuntimeError("Names are lifted inside a transaction, which brings the rule back if it fails.")
    with transaction.atomic(using=using):
        _remake(connection, table, columns)
        yield
        _remake(connection, table, frozenset())


def _remake(connection: BaseDatabaseWrapper, table: str, free: frozenset[str]) -> None:
    with connection.cursor() as cursor:
        for name, rule in _names():
            if rule.table == table and rule.event == "UPDATE":
                if connection.vendor == "sqlite":
                    cursor.execute(f'DROP TRIGGER "{name}"')
                _refuse(connection, cursor, name, replace(rule, free=rule.free | free))


def drop(connection: BaseDatabaseWrapper) -> None:
    """Drop every trigger of ours, also of an earlier release."""
    with connection.cursor() as cursor:
        for name, table in existing(connection):
            on_table = f' ON "{table}"' if connection.vendor == "postgresql" else ""
            cursor.execute(f'DROP TRIGGER "{name}"{on_table}')
            if connection.vendor == "postgresql":
                cursor.execute(f'DROP FUNCTION IF EXISTS "{name}"()')


def existing(connection: BaseDatabaseWrapper) -> list[tuple[str, str]]:
    """(name, table) of every trigger of ours in the database."""
    query = (
        "SELECT tgname, relname FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid "
        "WHERE tgname LIKE 'frozen#_%' ESCAPE '#'"
        if connection.vendor == "postgresql"
        else "SELECT name, tbl_name FROM sqlite_master WHERE type = 'trigger' AND name LIKE 'frozen#_%' ESCAPE '#'"
    )
    with connection.cursor() as cursor:
        cursor.execute(query)
        return sorted(cursor.fetchall())


def expected() -> list[tuple[str, str]]:
    return sorted((name, rule.table) for name, rule in _names())


def _before(sender: AppConfig, using: str = DEFAULT_DB_ALIAS, **kwargs: Any) -> None:
    drop(connections[using])


def _after(sender: AppConfig, using: str = DEFAULT_DB_ALIAS, **kwargs: Any) -> None:
    connection = connections[using]
    tables = set(connection.introspection.table_names())
    if existing(connection) != expected() and all(rule.table in tables for rule in RULES):
        drop(connection)
        make(connection)


def install(app: AppConfig) -> None:
    """Connect to the migrations of ``app``: the first room drops, the last one makes."""
    pre_migrate.connect(_before, sender=app, dispatch_uid="frozen-before")
    post_migrate.connect(_after, sender=app, dispatch_uid="frozen-after")
