"""The first start: whoever reads the console may open the company, and nobody may again.

`serve` makes a code while there is no company, prints it, and keeps no more than its hash. Nothing slows down
guessing, since there is no need: the code is one of 2**60, and it ends with the first company.
"""

from __future__ import annotations

import os
import re
import secrets
from hashlib import sha256
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import IntegrityError, transaction

from brewbar.crew.founding import open_company
from brewbar.crew.models import Company, Membership

LETTERS = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"
"""Without those that are taken for one another on a screen."""
GROUPS, GROUP = 3, 4


class WrongCode(Exception):
    """This is not the code that the last start printed."""


class Closed(Exception):
    """There is a company already, or somebody else is just opening it."""


def is_open() -> bool:
    return not Company.objects.exists()


def new_code() -> str:
    """A code in groups, as it is read aloud; it replaces the one of an earlier start."""
    groups = ("".join(secrets.choice(LETTERS) for _ in range(GROUP)) for _ in range(GROUPS))
    code = "-".join(groups)
    path = _path()
    fresh = path.with_name(f"{path.name}.{secrets.token_hex(4)}")
    with os.fdopen(
        os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="ascii"
    ) as file:
        file.write(_hashed(code))
    fresh.replace(path)
    return code


def fits(typed: str) -> bool:
    """Whether ``typed`` is the code, however it is spaced and in small letters or large."""
    try:
        kept = _path().read_text(encoding="ascii")
    except FileNotFoundError:
        return False
    return secrets.compare_digest(_hashed(typed), kept.strip())


@transaction.atomic
def open_with(code: str, **company: Any) -> Membership:
    """What `founding.open_company` makes of ``company``; the owner's role is returned.

    Raises WrongCode, Closed, or ValidationError as that does.
    """
    if not is_open():
        raise Closed
    if not fits(code):
        raise WrongCode
    try:
        cafe = open_company(**company)
        # Last, so that whatever is refused leaves the code good; and of two at once only one finds the file.
        _path().unlink()
    except (IntegrityError, FileNotFoundError) as quicker:
        raise Closed from quicker
    return cafe.company.memberships.select_related("user").get()


def _path() -> Path:
    return Path(settings.DATA_DIR) / "set-up-code"


def _hashed(code: str) -> str:
    letters = re.sub(r"[^0-9A-Z]", "", code.upper())
    return sha256(letters.encode()).hexdigest()
