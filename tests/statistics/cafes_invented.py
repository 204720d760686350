"""Cafés made up from known effects: who brewed which batch when, added up."""

import numpy as np

from calibration.statistics.sums import Sums

SPREADS = (0.03, 0.02, 0.015, 0.025)  # staff, day, person on a day, brew


def company(rng, crews, days, effects, sds=SPREADS, lots=3, u=0.0, fill=0.6, staff=None):
    """Café of each row, the sums, and people's effects. crews: of each café, its people."""
    people = max(max(crew) for crew in crews) + 1
    staff = rng.normal(0, sds[0], people) if staff is None else staff
    strong = rng.normal(0, 0.05, lots)
    rows = []
    for cafe, crew in enumerate(crews):
        off = effects[cafe] + rng.normal(0, u)
        for day in range(days):
            of_day = rng.normal(0, sds[1])
            # a café opens a batch some days after another
            lot = min(lots - 1, (day + 3 * cafe % 5) * lots // days)
            for who in sorted(crew):
                if rng.random() < fill:
                    n = rng.integers(1, 3)
                    middle = 1.4 + off + staff[who] + of_day + strong[lot] + rng.normal(0, sds[2])
                    value = middle + rng.normal(0, sds[3], n)
                    rows.append((cafe, who, day, lot, n, value.sum(), (value**2).sum()))
    cafe, who, day, lot, n, total, squares = np.array(rows).T
    return cafe.astype(int), Sums.of(who, day, n, total, squares, lot=lot), staff


def crews_effect(cafe, sums, staff):
    """What the first two crews differ by because of who is in them, weighted as their shared batches were brewed."""
    whole, mix = 0.0, np.zeros(2)
    for lot in np.unique(sums.lot):
        rows = [(cafe == place) & (sums.lot == lot) for place in (0, 1)]
        n = [sums.n[row].sum() for row in rows]
        if min(n) > 0:
            weight = n[0] * n[1] / (n[0] + n[1])
            whole += weight
            mix += [weight * np.average(staff[sums.who[row]], weights=sums.n[row]) for row in rows]
    return float(mix[0] - mix[1]) / whole


def pair_held(rng, crews, days, u, times, found_by):
    """How often the intervals of two crews, and of anyone, hold."""
    held = np.zeros(2)
    for _ in range(times):
        effects = rng.normal(0, 0.02, 2)
        cafe, sums, staff = company(rng, crews, days, effects, u=u)
        pair = found_by(cafe, sums, {0: u, 1: u}).pairs[0]
        true = effects[0] - effects[1]
        crew = true + crews_effect(cafe, sums, staff)
        held += [
            pair.crews.low <= crew <= pair.crews.high,
            pair.anyone.low <= true <= pair.anyone.high,
        ]
    return held / times


def many_held(rng, cafes, people, spread, times, found_by, days=20, u=0.01):
    """How often the limits of cafés' effects hold, and how often one is called different."""
    held, seen = 0, 0
    for _ in range(times):
        effects = rng.normal(0, spread, cafes)
        crews = [range(people * place, people * (place + 1)) for place in range(cafes)]
        cafe, sums, _staff = company(rng, crews, days, effects, u=u)
        for one in found_by(cafe, sums, dict.fromkeys(range(cafes), u)).effects:
            true = effects[one.cafe] - effects.mean()
            held += one.interval.low <= true <= one.interval.high
            seen += one.is_seen
    return held / times / cafes, seen / times / cafes
