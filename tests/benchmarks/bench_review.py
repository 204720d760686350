"""How long a plan's review with its curves takes. Run: python tests/benchmarks/bench_review.py

The target is 5 ms for a full review with curves at steps of 1 s. Times are the best of many, since a machine that
does other things too is only ever slower; the ratio to a bare loop tells machines apart.
"""

import sys
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from recipes.brewing.bed import Brewer
from recipes.brewing.drawdown import ObservedBrew, fit_conductance
from recipes.brewing.expectations import expect
from recipes.brewing.foresight import foresee, inflows_of
from recipes.brewing.plan import Kettle, Pattern, Pour, PourPlan, review
from recipes.brewing.stream import Observation, fit_n
from recipes.brewing.water import boiling_point_C

TARGET_MS = 5.0
ROUNDS = 200

PLAN = PourPlan(
    15,
    250,
    93,
    False,
    (
        Pour(0, 40, Pattern.CIRCLE, 4, 80),
        Pour(45, 110, Pattern.CIRCLE, 5, 80),
        Pour(75, 180, Pattern.CIRCLE, 5, 80),
        Pour(105, 250, Pattern.CENTRE, 5, 80),
    ),
    brew_time_s=185,
    brew_time_tolerance_s=15,
)
POINTS = [Observation(flow, 93, height) for flow, height in ((3, 70), (4, 95), (5, 118))]
CENSORED = [*POINTS, Observation(8, 93, 200, broken=False)]
KETTLE = Kettle("Long Neck", 2, 8, 900, 6, fit_n(POINTS))
BREWS = [
    ObservedBrew(inflows_of(PLAN, boiling_point_C(0)), 15, time_s) for time_s in (178, 185, 188, 182, 192)
]
FITTED = fit_conductance(BREWS, Brewer())


def best_ms(call: Callable[[], object], rounds: int = ROUNDS) -> float:
    times = []
    for _round in range(rounds):
        begun = time.perf_counter()
        call()
        times.append(time.perf_counter() - begun)
    return 1e3 * min(times)


def bare_loop() -> float:
    """As many steps as a brew has seconds, three times over, with nothing but a sum in them."""
    total = 0.0
    for step in range(3 * 185):
        total += step * 0.5
    return total


def full_review() -> object:
    return review(PLAN, KETTLE), foresee(PLAN, KETTLE)


def main() -> None:
    loop = best_ms(bare_loop)
    rows = [
        ("findings alone", best_ms(lambda: review(PLAN, KETTLE))),
        ("full review with curves", best_ms(full_review)),
        (
            "the same with a brew time",
            best_ms(lambda: (review(PLAN, KETTLE), foresee(PLAN, KETTLE, bed=FITTED))),
        ),
        ("two plans side by side", best_ms(lambda: expect(foresee(PLAN), foresee(PLAN, KETTLE)))),
        ("a kettle's fit, kept", best_ms(lambda: fit_n(CENSORED))),
        ("a bed's fit from 5 brews", best_ms(lambda: fit_conductance(BREWS, Brewer()), 20)),
    ]
    print(f"{'bare loop of 555 steps':<28}{loop:8.3f} ms")
    for name, took in rows:
        print(f"{name:<28}{took:8.3f} ms{took / loop:8.0f} × the bare loop")
    full = rows[1][1]
    print(f"target {TARGET_MS:g} ms: {'kept' if full < TARGET_MS else 'missed'} ({full:.2f} ms)")


if __name__ == "__main__":
    main()
