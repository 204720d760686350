"""A café's own grind note and own targets for a recipe that all share: set, put in place of another, taken back."""

from __future__ import annotations
