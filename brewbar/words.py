"""The words of what is pure: said in plain English, or through a catalogue once one is connected. Pure: no Django.

The site connects Django's gettext as it starts, so that one catalogue holds all words. Write
``from brewbar.words import gettext as _``; the names are those that makemessages looks for.
"""

from __future__ import annotations

from typing import Protocol


class Catalogue(Protocol):
    def gettext(self, message: str) -> str: ...
    def ngettext(self, singular: str, plural: str, number: float) -> str: ...
    def pgettext(self, context: str, message: str) -> str: ...


class AsWritten:
    """English as it stands in the source."""

    def gettext(self, message: str) -> str:
        return message

    def ngettext(self, singular: str, plural: str, number: float) -> str:
        return singular if number == 1 else plural

    def pgettext(self, context: str, message: str) -> str:
        return message


_catalogue: Catalogue = AsWritten()


def connect(catalogue: Catalogue) -> None:
    """From now on say everything through ``catalogue``, such as the module django.utils.translation."""
    global _catalogue
    _catalogue = catalogue


def gettext(message: str) -> str:
    return str(_catalogue.gettext(message))


def ngettext(singular: str, plural: str, number: float) -> str:
    """``plural`` unless the language says otherwise of ``number``."""
    return str(_catalogue.ngettext(singular, plural, number))


def pgettext(context: str, message: str) -> str:
    """For a word that another language writes differently in another ``context``."""
    return str(_catalogue.pgettext(context, message))


def gettext_noop(message: str) -> str:
    """Marks a constant for the catalogue; it is said by `gettext` where it is used."""
    return message
