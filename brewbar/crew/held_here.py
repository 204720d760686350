"""What the crew's own room holds about a person."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db.models import Exists, OuterRef, Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from brewbar.crew import locks, record
from brewbar.crew.held import NUMBER, Kind
from brewbar.crew.models import Change, Membership, User

ROOM = gettext_lazy("Your account, and signing in")
SECRET = gettext_lazy("Only its hash is kept, and whoever had that could try to guess it.")
COMPANY = gettext_lazy("The company.")
CAFE = gettext_lazy("The café; empty for what is the company's.")


def _tries(user: User) -> Q:
    """By password under the sign-in name, by PIN under the role and the station."""
    pins = Q()
    for pk in user.memberships.values_list("pk", flat=True):
        pins |= Q(username__startswith=locks.PIN, username__endswith=f":{pk}")
    return Q(username=user.username) | pins


def _exports(user: User) -> Q:
    """Of companies in which they had a role by then."""
    theirs = Membership.objects.filter(user=user, company=OuterRef("company"), started_at__lte=OuterRef("at"))
    return Q(about=Change.About.EXPORT) & Q(Exists(theirs))


def _invited(user: User, row: Mapping[str, Any]) -> str:
    is_own = user.pk in (row["used_by"], row["for_user"])
    return str(row["name"]) if is_own else _("somebody else") if row["name"] else ""


def _subject(user: User, row: Mapping[str, Any]) -> str:
    """Who was invited has no row yet, and stands there by name alone."""
    kept = row["row"]
    about_people = kept.startswith(f"{User._meta.label_lower} ") or (not kept and row["about"] == "crew")
    if about_people and kept != record.row_key(user):
        return _("somebody else")
    return str(row["subject"])


KINDS = (
    Kind(
        key="account",
        room=ROOM,
        model="crew.User",
        title=gettext_lazy("Your account"),
        purpose=gettext_lazy("So that you can sign in and are called by your name."),
        keeps=gettext_lazy(
            "Until your name becomes a pseudonym; then name, sign-in name, e-mail and your settings are gone."
        ),
        where=lambda user: Q(pk=user.pk),
        columns={
            "username": gettext_lazy("What you sign in with."),
            "name": gettext_lazy("What you are called here."),
            "email": gettext_lazy("Your e-mail address, if you gave one."),
            "decimal_mark": gettext_lazy("How you like numbers; empty is as the company has it."),
            "temperature_unit": gettext_lazy("How you like temperatures; empty is as the company has it."),
            "date_order": gettext_lazy("How you like dates; empty is as the company has it."),
            "is_active": gettext_lazy("Whether you can sign in."),
            "created_at": gettext_lazy("When the account was made."),
            "last_login": gettext_lazy("When you signed in last."),
            "forgotten_at": gettext_lazy("When the name became a pseudonym."),
        },
        left_out={"id": NUMBER, "password": SECRET},
    ),
    Kind(
        key="roles",
        room=ROOM,
        model="crew.Membership",
        title=gettext_lazy("Your roles"),
        purpose=gettext_lazy("What you may do, in which café, and from when to when."),
        ways=("user",),
        columns={
            "company__name": COMPANY,
            "cafe__name": CAFE,
            "role": gettext_lazy("Your role there."),
            "in_training": gettext_lazy("Whether you are marked as learning."),
            "started_at": gettext_lazy("When the role began."),
            "ended_at": gettext_lazy("When it ended."),
            "pin_set_at": gettext_lazy("When you chose your PIN for the tablets."),
        },
        left_out={"id": NUMBER, "user": gettext_lazy("You."), "pin_hash": SECRET},
    ),
    Kind(
        key="links",
        room=ROOM,
        model="crew.OneTimeLink",
        title=gettext_lazy("Links that open once"),
        purpose=gettext_lazy(
            "By which you came here or chose a new password, and those that you made for others."
        ),
        ways=("for_user", "made_by", "used_by"),
        columns={
            "kind": gettext_lazy("What the link was for."),
            "company__name": COMPANY,
            "cafe__name": CAFE,
            "role": gettext_lazy("The role that it led to, or that the person had."),
            "in_training": gettext_lazy("Whether it invited somebody to learn."),
            "name": gettext_lazy("What you were called in it."),
            "for_user": gettext_lazy("Whose password it renews."),
            "made_by": gettext_lazy("Who made it; empty for the server's console."),
            "made_at": gettext_lazy("When it was made."),
            "expires_at": gettext_lazy("Until when it opened."),
            "used_at": gettext_lazy("When it was used."),
            "used_by": gettext_lazy("Who used it."),
            "withdrawn_at": gettext_lazy("When it was withdrawn."),
        },
        left_out={"id": NUMBER, "key_hash": SECRET},
        shows={"name": _invited},
    ),
    Kind(
        key="tablets",
        room=ROOM,
        model="crew.Tablet",
        title=gettext_lazy("Tablets that you enrolled or took out"),
        purpose=gettext_lazy("So that it is known which devices may show a café's board, and by whom."),
        ways=("enrolled_by", "revoked_by"),
        columns={
            "station__cafe__name": CAFE,
            "station__name": gettext_lazy("The station."),
            "label": gettext_lazy("What the device was called."),
            "enrolled_at": gettext_lazy("When it was enrolled."),
            "enrolled_by": gettext_lazy("Who enrolled it."),
            "revoked_at": gettext_lazy("When it was taken out."),
            "revoked_by": gettext_lazy("Who took it out."),
        },
        left_out={
            "id": NUMBER,
            "key_hash": SECRET,
            "last_used_at": gettext_lazy("Of the device, whoever used it."),
        },
    ),
    Kind(
        key="keys",
        room=ROOM,
        model="crew.Key",
        title=gettext_lazy("Keys for other programs that you made or revoked"),
        purpose=gettext_lazy("So that it is known which programs may speak for you, and since when."),
        ways=("membership__user", "revoked_by"),
        names=frozenset({"membership__user"}),
        columns={
            "membership__user": gettext_lazy("Who made it, and for whom it speaks."),
            "membership__company__name": COMPANY,
            "membership__cafe__name": CAFE,
            "name": gettext_lazy("What it is for."),
            "start": gettext_lazy("How it begins."),
            "scopes": gettext_lazy("What it may do."),
            "made_at": gettext_lazy("When it was made."),
            "expires_at": gettext_lazy("Until when it works."),
            "last_used_at": gettext_lazy("When it was used last."),
            "revoked_at": gettext_lazy("When it was revoked."),
            "revoked_by": gettext_lazy("Who revoked it."),
        },
        left_out={"id": NUMBER, "key_hash": SECRET},
    ),
    Kind(
        key="wrong_passwords",
        room=ROOM,
        model="axes.AccessAttempt",
        title=gettext_lazy("Wrong passwords and PINs that are being counted"),
        purpose=gettext_lazy("So that nobody can guess yours."),
        keeps=gettext_lazy("Until the next time that you sign in, or the lock has run out."),
        where=_tries,
        columns={
            "attempt_time": gettext_lazy("When the last of them was typed."),
            "failures_since_start": gettext_lazy("How many they were."),
            "ip_address": gettext_lazy("From which address of the network."),
            "user_agent": gettext_lazy("With which browser."),
        },
        rest=gettext_lazy("What the browser sent along; neither password nor PIN is in it."),
    ),
    Kind(
        key="record_by_you",
        room=ROOM,
        model="crew.Change",
        title=gettext_lazy("Your changes, in the record"),
        purpose=gettext_lazy("So that it is known who changed what, and a mistake can be traced."),
        ways=("by",),
        columns={
            "company__name": COMPANY,
            "cafe__name": CAFE,
            "at": gettext_lazy("When."),
            "by_name": gettext_lazy("What you were called then."),
            "through": gettext_lazy("The shared tablet, if it was one."),
            "about": gettext_lazy("Which part of brewbar."),
            "what": gettext_lazy("What you did."),
            "subject": gettext_lazy("What you did it to."),
            "row": gettext_lazy("What the record calls that, whatever its name is later."),
            "why": gettext_lazy("The reason that you gave."),
        },
        left_out={
            "id": NUMBER,
            "by": gettext_lazy("You."),
            "before": gettext_lazy("Of the thing that was changed, and may name others."),
            "after": gettext_lazy("Of the thing that was changed, and may name others."),
            "words": gettext_lazy("The same once more, for searching."),
        },
        shows={"subject": _subject},
    ),
    Kind(
        key="record_about_you",
        room=ROOM,
        model="crew.Change",
        title=gettext_lazy("Changes about you, in the record"),
        purpose=gettext_lazy(
            "Your roles, your training, your passwords and PINs that were refused or unlocked."
        ),
        where=lambda user: Q(row=record.row_key(user)),
        columns={
            "company__name": COMPANY,
            "cafe__name": CAFE,
            "at": gettext_lazy("When."),
            "by": gettext_lazy("Whether you did it or somebody else; empty for the server's console."),
            "about": gettext_lazy("Which part of brewbar."),
            "what": gettext_lazy("What was done."),
            "subject": gettext_lazy("What you were called then."),
            "before": gettext_lazy("What was before."),
            "after": gettext_lazy("What was after."),
            "why": gettext_lazy("The reason that was given."),
        },
        left_out={
            "id": NUMBER,
            "by_name": gettext_lazy("Somebody else's name, or yours."),
            "through": gettext_lazy("Of whoever did it."),
            "row": gettext_lazy("You."),
            "words": gettext_lazy("The same once more, for searching."),
        },
    ),
    Kind(
        key="exports",
        room=ROOM,
        model="crew.Change",
        title=gettext_lazy("Exports of everything, with what is held about you in them"),
        purpose=gettext_lazy(
            "Whoever keeps the server writes all of a company into one file, to keep or to move it. You can ask what "
            "became of it."
        ),
        where=_exports,
        columns={
            "company__name": COMPANY,
            "at": gettext_lazy("When."),
            "by_name": gettext_lazy("By whom; where it was done on the server, that stands here."),
        },
        rest=gettext_lazy("The same for every export."),
    ),
    Kind(
        key="naming",
        room=ROOM,
        model="crew.NamingChange",
        title=gettext_lazy("How owners read about people: your changes of it"),
        purpose=gettext_lazy("So that everybody can see from when on owners were shown what."),
        ways=("by",),
        columns={
            "company__name": COMPANY,
            "at": gettext_lazy("When you changed it."),
            "was": gettext_lazy("What it was."),
            "becomes": gettext_lazy("What it became."),
        },
        left_out={"id": NUMBER, "by": gettext_lazy("You.")},
    ),
)
