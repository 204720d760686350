"""Errors of people and of days the slow way: one big covariance of all brews, conditioned again for every error."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from calibration.statistics.following import FEWEST_EARLIER, LOOSE, UNKNOWN, WIDE
from calibration.statistics.spreads import Spreads


@dataclass
class Case:
    """Brews row by row; days are whole numbers."""

    values: list[float]
    people: list[str]
    days: list[int]
    spreads: Spreads
    versions: list[str] | None = None
    steps: list[int] = field(default_factory=list)
    moves: list[int] = field(default_factory=list)
    leaves: dict[str, int] = field(default_factory=dict)
    restarts: dict[str, int] = field(default_factory=dict)

    @property
    def arguments(self):
        names = ("versions", "steps", "moves", "leaves", "restarts")
        return {name: getattr(self, name) for name in names}

    def is_away(self, row: int) -> bool:
        person, day = self.people[row], self.days[row]
        left, back = self.leaves.get(person), self.restarts.get(person)
        if left is None or day < left:
            return False
        return back is None or back <= left or day < back

    def era(self, row: int) -> tuple[str, bool]:
        """Whose baseline, and whether the one after a restart."""
        person = self.people[row]
        return person, self.days[row] >= self.restarts.get(person, 10**9)

    def covariance(self, steps: list[int], loose: float = 1.0) -> np.ndarray:
        """Of all brews; the wander and what it steps by on ``steps`` begin on the first day."""
        s = self.spreads
        own, brew, day, wander = ((sd or 0.0) ** 2 for sd in (s.staff_day, s.brew, s.day, s.wander))
        wide = WIDE**2 * (own + brew + day)
        brewed = sorted(set(self.days))
        jumps = sorted({next((d for d in brewed if d >= step), None) for step in steps} - {None})
        same_day, same_person = same(self.days), same(self.people)
        first = np.minimum.outer(self.days, self.days)
        C = (
            wander * (first - brewed[0])
            + wide * np.searchsorted(jumps, first, side="right")
            + loose**2 * day * same_day
        )
        C += wide * same([self.era(row) for row in range(len(self.days))])
        C += wide * same(self.versions or [""] * len(self.days))
        return C + own * (same_day & same_person) + brew * np.eye(len(self.days))


def same(labels: list) -> np.ndarray:
    return np.array([[one == other for other in labels] for one in labels])


def common(error: np.ndarray, covariance: np.ndarray) -> tuple[float, float]:
    """By least squares, with its standard error."""
    ones = np.ones(len(error))
    weights = np.linalg.solve(covariance, ones)
    return float(weights @ error / weights.sum()), float(weights.sum() ** -0.5)


def given(C: np.ndarray, y: np.ndarray, what: list[int], known: list[int]) -> tuple[float, float]:
    """What rows ``what`` have in common above what rows ``known`` foretell."""
    if not known:
        return common(y[what], C[np.ix_(what, what)])
    pull = np.linalg.solve(C[np.ix_(known, known)], C[np.ix_(known, what)])
    return common(y[what] - pull.T @ y[known], C[np.ix_(what, what)] - C[np.ix_(what, known)] @ pull)


def share_of_day(C: np.ndarray, what: list[int], known: list[int], today: list[int]) -> float:
    """How much of an effect that all brews of the day share is left in what rows ``what`` have in common."""
    pull = np.linalg.solve(C[np.ix_(known, known)], C[np.ix_(known, what)])
    weights = np.linalg.solve(C[np.ix_(what, what)] - C[np.ix_(what, known)] @ pull, np.ones(len(what)))
    weights /= weights.sum()
    return 1 - float((pull @ weights)[[row in today for row in known]].sum())


def errors(case: Case) -> tuple[dict, dict]:
    """{(person, day): (error, se)} and {day: (error, se)}."""
    y = np.array(case.values) - case.values[0]
    s = case.spreads
    cut = UNKNOWN * sum((sd or 0.0) ** 2 for sd in (s.staff_day, s.brew, s.day)) ** 0.5
    rows = range(len(y))
    here = [row for row in rows if not case.is_away(row)]
    stepped, plain = case.covariance([*case.steps, *case.moves], LOOSE), case.covariance(case.moves)
    people, days = {}, {}
    for day in sorted(set(case.days)):
        before = [row for row in here if case.days[row] < day]
        today = [row for row in here if case.days[row] == day]
        for person in {case.people[row] for row in rows if case.days[row] == day}:
            own = [row for row in rows if case.days[row] == day and case.people[row] == person]
            others = [row for row in today if case.people[row] != person]
            learned = [row for row in before if case.era(row) == case.era(own[0])]
            if others and len(learned) >= FEWEST_EARLIER:
                error, se = given(stepped, y, own, before + others)
                left = share_of_day(stepped, own, before + others, others) * (s.day or 0.0)
                se = (se**2 - (LOOSE**2 - 1) * left**2) ** 0.5
                people |= {(person, day): (error, se)} if se < cut else {}
        versions = case.versions or [""] * len(y)
        seen = {versions[row] for row in before}
        known = [row for row in today if versions[row] in seen]
        if known:
            found = given(plain, y, known, before)
            days |= {day: found} if found[1] < cut else {}
    return people, days
