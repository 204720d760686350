"""Published bands of strength and yield. They are conventions of the bodies named, not measures of taste.

Batali, Ristenpart and Guinard 2020, Sci. Rep. 10:16450, doi:10.1038/s41598-020-73341-4, on the chart these boxes
come from: it conflates description with preference, and it is unclear which consumers would call it ideal.
"""

from dataclasses import dataclass
from enum import StrEnum

from brewbar.words import gettext_noop


@dataclass(frozen=True, slots=True)
class PublishedBand:
    """body: who published it; document: in what, and whether it was read; tds_pct, ey_pct: closed intervals;
    dose_g_L and water_C: likewise, None where the body gives none that was read."""

    key: str
    body: str
    document: str
    tds_pct: tuple[float, float]
    ey_pct: tuple[float, float]
    dose_g_L: tuple[float, float] | None = None
    water_C: tuple[float, float] | None = None


_QUOTED = gettext_noop("as trade pages quote it; the document was not read")

PUBLISHED_BANDS = (
    # it gives 11.5 g/L to 13.5 g/L and calls that per cent: by mass the difference is below 0.5 % of it
    PublishedBand(
        key="scaa-2015",
        body="Specialty Coffee Association of America",
        document=gettext_noop("SCAA Standard, Golden Cup, version of 23 December 2015"),
        tds_pct=(1.15, 1.35),
        ey_pct=(18.0, 22.0),
        dose_g_L=(49.5, 60.5),
        water_C=(90.0, 96.0),
    ),
    PublishedBand("scae", "Speciality Coffee Association of Europe", _QUOTED, (1.20, 1.45), (18.0, 22.0)),
    PublishedBand("norway", "Norwegian Coffee Association", _QUOTED, (1.30, 1.55), (18.0, 22.0)),
)


class Strength(StrEnum):
    WEAK = "weak"
    IN = "in"
    STRONG = "strong"


class Extraction(StrEnum):
    UNDER = "under"
    IN = "in"
    OVER = "over"


def zone(band: PublishedBand, tds_pct: float, ey_pct: float) -> tuple[Strength, Extraction]:
    """Where a brew lies against a band; its edges belong to it. As typed: 1.35 is at the edge, not beyond it."""
    low, high = band.tds_pct
    strength = (
        Strength.WEAK
        if round(tds_pct, 9) < low
        else Strength.STRONG
        if round(tds_pct, 9) > high
        else Strength.IN
    )
    low, high = band.ey_pct
    extraction = (
        Extraction.UNDER
        if round(ey_pct, 9) < low
        else Extraction.OVER
        if round(ey_pct, 9) > high
        else Extraction.IN
    )
    return strength, extraction
