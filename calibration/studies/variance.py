"""Components of variance. See `calibration.statistics.variance`."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from calibration.statistics.variance import FEWEST_REPEATED, Component, VarianceFit, fit
from calibration.studies.answer import Answer, figure, listed, name, share, span, table
from calibration.studies.columns import picked
from calibration.studies.sheet import Sheet


def study(sheet: Sheet, given: Mapping[str, Any]) -> Answer:
    with picked(sheet, 2, "A study of variance") as columns:
        y = columns.numbers(given["value"])
        terms = [":".join(part.strip() for part in term.split(":")) for term in columns.names(given["terms"])]
        factors = {part: columns.labels(part) for term in terms for part in term.split(":")}
        named = columns.names(given["fixed"]) if given["fixed"] is not None else []
        fixed = {column: columns.numbers_or_labels(column) for column in named}
    # cells that a file has are asked for: they are joined only where nothing tells them apart
    found = fit(y, factors, terms, fixed, given["ml"], predictions=False, merge_below=0.0)
    notes = [*found.notes, *_thin(terms, factors)]
    keys: dict[str, Any] = {
        "n": found.n,
        "mean": found.mean,
        "se": found.se,
        "criterion": found.criterion,
        "components": {part.name: _component(part) for part in found.components.values()},
        "notes": notes,
    }
    if fixed:
        keys["fixed"] = _fixed(found)
    return Answer(keys, _table(found), _sentences(found), notes)


def _component(part: Component) -> dict[str, float | None]:
    return {
        "variance": part.variance,
        "sd": part.sd,
        "sd_low": part.sd_low,
        "sd_high": part.sd_high,
        "share": part.share,
        "share_low": part.share_low,
        "share_high": part.share_high,
    }


def _fixed(found: VarianceFit) -> dict[str, dict[str, float | None]]:
    said = Counter(effect.level or effect.column for effect in found.fixed)
    effects = {}
    for effect in found.fixed:
        plain = effect.level or effect.column
        told = plain if said[plain] == 1 or effect.level is None else f"{effect.column}={effect.level}"
        effects[told] = {"estimate": effect.estimate, "se": effect.se}
    return effects


def _thin(terms: Sequence[str], factors: Mapping[str, Sequence[str]]) -> Iterator[str]:
    """Interactions of everything that few second readings tell from the residual."""
    for term in terms:
        parts = term.split(":")
        if len(parts) < 2 or set(parts) != set(factors):
            continue
        cells = Counter(zip(*(factors[part] for part in parts), strict=True))
        repeated = sum(count > 1 for count in cells.values())
        if 0 < repeated < FEWEST_REPEATED * len(cells):
            yield (
                f"Only {share(repeated / len(cells))} of the cells of {term} have a second reading: what is {term} and "
                "what is residual is hardly told apart, so take the two together."
            )


def _table(found: VarianceFit) -> list[str]:
    rows = [
        (
            name(part.name),
            figure(part.variance),
            figure(part.sd),
            span(part.sd_low, part.sd_high),
            share(part.share),
            span(part.share_low, part.share_high, 100),
        )
        for part in found.components.values()
    ]
    lines = table(("component", "variance", "SD", "95 % limits", "share", "95 % limits, %"), rows)
    if found.fixed:
        effects = [
            (name(told), figure(one["estimate"]), figure(one["se"])) for told, one in _fixed(found).items()
        ]
        lines += ["", *table(("fixed", "estimate", "SE"), effects)]
    return lines


def _sentences(found: VarianceFit) -> list[str]:
    what = "an intercept" if found.fixed else "a mean"
    mean = "" if found.mean is None else f" with {what} of {figure(found.mean)}"
    if found.se is not None:
        mean += f" (standard error {figure(found.se, 3)})"
    told = [part for part in found.components.values() if part.share is not None]
    if not told:
        return [f"{found.n} readings{mean}.", "Nothing can be said of what makes them differ."]
    largest = max(told, key=lambda part: part.share or 0.0)
    most = f"{name(largest.name)}, {share(largest.share)}"
    first = f"{found.n} readings{mean}: the largest part of their spread is {most}."
    unsure = [name(part.name) for part in told if part.sd_low == 0]
    if unsure:
        return [first, f"The limits of {listed(unsure)} reach down to 0: there may be no such spread at all."]
    return [first, "An SD is in the unit of the readings; no component's limits reach down to 0."]
