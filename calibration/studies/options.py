"""The kinds of study: what each is asked with, and what it answers. Imports none of them."""

from __future__ import annotations

from argparse import ArgumentParser, ArgumentTypeError
from collections.abc import Callable
from dataclasses import dataclass

from calibration.studies.columns import number

FILES = """\
Of the file:
  Columns are parted by comma, semicolon or tab and named in the first row; lines starting with # are
  comments. Text is UTF-8. Decimals take a point; a comma too, unless commas part the columns. Rows are
  numbered as a spreadsheet numbers them. - in place of a file reads it from standard input.

Ends with status 2, and says why, if file or options do not serve for the study. Numbers in JSON that
cannot be told are null; notes go to standard error where the keys have no place for them.
"""


@dataclass(frozen=True, slots=True)
class Kind:
    """name: as it is typed; does: in a sentence; keys: of its JSON; arguments: adds its options to a parser."""

    name: str
    does: str
    keys: str
    arguments: Callable[[ArgumentParser], None]
    reads_file: bool = True


def any_number(typed: str) -> float:
    try:
        return number(typed)
    except ValueError as error:
        raise ArgumentTypeError(f"{error}.") from error


def above_0(typed: str) -> float:
    value = any_number(typed)
    if value <= 0:
        raise ArgumentTypeError(f"expected a number above 0, not {typed}.")
    return value


def between(low: float, high: float) -> Callable[[str], float]:
    """A number between two that can still be reckoned with."""

    def reads(typed: str) -> float:
        value = any_number(typed)
        if not low <= value <= high:
            raise ArgumentTypeError(f"expected a number from {low:g} to {high:g}, not {typed}.")
        return value

    return reads


def numbers_of_rules(typed: str) -> tuple[int, ...]:
    try:
        return tuple(int(one) for one in typed.split(","))
    except ValueError as error:
        raise ArgumentTypeError(f"expected numbers of rules such as 1,2,3,4, not {typed}.") from error


def p_or_never(typed: str) -> float | None:
    return None if typed.strip().lower() == "never" else between(0, 1)(typed)


def _whole(typed: str) -> int:
    try:
        value = int(typed)
    except ValueError:
        value = 0
    if value < 1:
        raise ArgumentTypeError(f"expected a whole number from 1, not {typed}.")
    return value


def _value(parser: ArgumentParser, what: str = "the readings") -> None:
    parser.add_argument("--value", required=True, metavar="COLUMN", help=what)


def _variance(parser: ArgumentParser) -> None:
    _value(parser, "the readings, a brew each")
    parser.add_argument(
        "--terms",
        required=True,
        metavar="TERMS",
        help="what may make them differ, such as staff,day,staff:day",
    )
    parser.add_argument(
        "--fixed",
        metavar="COLUMNS",
        help="allowed for beside: a column of numbers is a slope, words are compared with the first of them",
    )
    parser.add_argument("--ml", action="store_true", help="maximum likelihood, in place of restricted")


def _gauge(parser: ArgumentParser) -> None:
    _value(parser)
    parser.add_argument("--part", required=True, metavar="COLUMN", help="what was measured: a brew, a sample")
    parser.add_argument("--operator", required=True, metavar="COLUMN", help="who or what measured it")
    parser.add_argument(
        "--pool-above",
        type=p_or_never,
        default=0.25,
        metavar="P",
        help="the interaction joins the repeats when its p is above this: 0.25 if not given; never for never",
    )


def _precision(parser: ArgumentParser) -> None:
    _value(parser)
    parser.add_argument("--lab", required=True, metavar="COLUMN", help="laboratory, refractometer or person")
    parser.add_argument("--level", metavar="COLUMN", help="what was measured; all is one level without")


def _chart(parser: ArgumentParser) -> None:
    _value(parser, "the readings, in the order of time")
    parser.add_argument("--kind", required=True, choices=("imr", "xbar-r", "xbar-s", "ewma", "cusum"))
    parser.add_argument("--group", metavar="COLUMN", help="xbar: which readings belong together")
    parser.add_argument("--target", type=any_number, metavar="X", help="the centre; the mean if not given")
    parser.add_argument(
        "--sigma",
        type=above_0,
        metavar="S",
        help="standard deviation of one reading; from the readings' own scatter if not given",
    )
    parser.add_argument(
        "--lambda",
        dest="lambda_",
        metavar="L",
        type=between(0.001, 1),
        help="ewma: weight of the latest reading, 0.2",
    )
    parser.add_argument(
        "--width",
        metavar="W",
        type=between(0.001, 20),
        help="limits, in standard deviations: 3; of an ewma 2.962",
    )
    parser.add_argument(
        "--outer", metavar="W", type=between(0.001, 20), help="ewma: a limit for single readings, in --sigma"
    )
    parser.add_argument("--k", type=between(0, 20), help="cusum: allowance, in --sigma: 0.5")
    parser.add_argument("--h", type=between(0.001, 100), help="cusum: decision limit, in --sigma: 4")
    parser.add_argument(
        "--steady", action="store_true", help="ewma: limits of the long run from the first reading on"
    )
    parser.add_argument(
        "--rules", type=numbers_of_rules, metavar="1,2,3,4", help="imr, xbar: Western Electric's rules beside"
    )
    parser.add_argument(
        "--nelson", type=numbers_of_rules, metavar="1,...,8", help="imr, xbar: Nelson's tests beside"
    )
    parser.add_argument(
        "--baseline", type=_whole, metavar="N", help="limits from the first N readings or groups alone"
    )
    parser.add_argument(
        "--printed", action="store_true", help="constants with as many decimals as handbooks print"
    )


def _scores(parser: ArgumentParser) -> None:
    _value(parser, "the results")
    parser.add_argument(
        "--assigned",
        type=any_number,
        metavar="X",
        help="what they should be; their own robust mean if not given",
    )
    parser.add_argument(
        "--u",
        action="append",
        default=[],
        metavar="NUMBER|COLUMN",
        help="standard uncertainty: a number is that of --assigned, a column those of the results; may be given twice",
    )
    parser.add_argument(
        "--sigma",
        metavar="NUMBER|COLUMN",
        help="standard deviation to judge by; the results' own robust one if not given",
    )
    parser.add_argument(
        "--k", metavar="NUMBER|COLUMN", default="2", help="coverage factor of the results, for En: 2"
    )
    parser.add_argument(
        "--exact-constants", action="store_true", help="1.482602 and 1.133393 for the printed 1.483 and 1.134"
    )


def _agreement(parser: ArgumentParser) -> None:
    parser.add_argument(
        "--a",
        required=True,
        metavar="COLUMNS",
        help="readings of one instrument; several columns are repeats",
    )
    parser.add_argument("--b", required=True, metavar="COLUMNS", help="of the other, on the same brews")
    parser.add_argument(
        "--multiplier", metavar="M", type=above_0, default=1.96, help="limits, in standard deviations: 1.96"
    )
    parser.add_argument("--ratio", action="store_true", help="a over b in place of a less b")


def _anova(parser: ArgumentParser) -> None:
    _value(parser)
    parser.add_argument("--factors", required=True, metavar="A[,B]", help="one column or two")
    parser.add_argument(
        "--type",
        type=int,
        choices=(1, 2, 3),
        default=2,
        help="sums of squares: 1 in the order given, 2 each after the other (usual), 3 every cell with equal weight",
    )


def _runlength(parser: ArgumentParser) -> None:
    parser.add_argument("--kind", required=True, choices=("cusum", "ewma", "rules"))
    parser.add_argument("--k", type=between(0, 20), help="cusum: allowance: 0.5")
    parser.add_argument("--h", type=between(0.001, 100), help="cusum: decision limit: 4")
    parser.add_argument(
        "--lambda",
        dest="lambda_",
        metavar="L",
        type=between(0.001, 1),
        help="ewma: weight of the latest reading: 0.2",
    )
    parser.add_argument(
        "--width", metavar="W", type=between(0.001, 20), help="ewma: width of the limits: 2.962"
    )
    parser.add_argument(
        "--rules",
        type=numbers_of_rules,
        metavar="1,2,3,4",
        help="rules: Western Electric's by number, all four",
    )
    parser.add_argument(
        "--shift", metavar="D", type=between(-20, 20), default=0.0, help="how far the mean has moved: 0"
    )


KINDS = (
    Kind(
        "variance",
        "How much of the spread is staff, day or both together, by restricted likelihood.",
        """\
n, mean, se            readings; mean (intercept, with --fixed) and its standard error
criterion              -2 log restricted likelihood, with --ml -2 log likelihood
components { TERM, residual { variance, sd, sd_low, sd_high, share, share_low, share_high } }
                       limits hold 95 %, from the profile of the criterion; terms that cannot be
                       told apart share one name, such as staff:day + residual
fixed { LEVEL { estimate, se } }
                       with --fixed: a slope by its column's name, words by themselves, as
                       column=word where two columns share one
notes [ ]              what could not be told, and why
""",
        _variance,
    ),
    Kind(
        "gauge",
        "What parts, operators and the gauge itself add to what is measured.",
        """\
mean_squares { part, operator, interaction, error }
f { part, operator, interaction, part_over_interaction, operator_over_interaction }
                       the first three over the mean square of error, as AIAG's table prints
                       them; the last two test parts and operators as a random sample. Null where
                       parts were measured unequally often, but for the interaction: components
                       are then by restricted likelihood
components { part, operator, interaction, residual }
                       variances; an interaction that was pooled is 0
interaction_pooled
grr_contribution_pct, grr_variation_pct
                       repeats and operators together: of the variance, of the standard deviation
distinct_categories    how many groups of parts the gauge can tell apart: 1.41 times the standard
                       deviation of parts over that of repeats and operators
""",
        _gauge,
    ),
    Kind(
        "precision",
        "Repeatability and reproducibility, and who stands out (ISO 5725-2).",
        """\
levels { LEVEL { mean, s_r, s_R, s_L, r, R, h [ ], k [ ] } }
                       s_R^2 = s_r^2 + s_L^2; r and R: 2.8 of them; h and k: Mandel's, one a
                       laboratory in the order of the file, null for one without a result there
""",
        _precision,
    ),
    Kind(
        "chart",
        "A control chart of readings in the order of time, and what it signals.",
        """\
centre, low, high      low and high are a number, or one a point; for a cusum, of its sums
points [ ]             what is drawn: readings, means of groups, moving averages
within { centre, low, high }
                       imr and xbar: of the moving range, range or standard deviation
high_side [ ], low_side [ ]
                       cusum: its sums, both from 0 up
signals [{ index, rule }]
                       index: of the point, from 1; rule: beyond (the limits), outer, within (the
                       spread's own limits), high or low (a cusum's side), or such as
                       western-electric 2, nelson 3
""",
        _chart,
    ),
    Kind(
        "scores",
        "How far results lie from what they should be, and does it matter (ISO 13528).",
        """\
robust_mean, robust_sd, iterations
                       Algorithm A, until nothing moves
u_assigned             standard uncertainty of the assigned value
scores [{ z, z_prime, zeta, En, verdict }]
                       one a result; verdict: acceptable, warning (beyond 2), action (from 3 on)
                       or unknown, by z, or by z_prime where u_assigned is above 0.3 sigma
""",
        _scores,
    ),
    Kind(
        "agreement",
        "Two instruments on the same brews: bias and limits of agreement (Bland and Altman).",
        """\
bias, sd, low, high    of a less b; with --ratio of a over b, sd of its logarithm
bias_interval, low_interval, high_interval { low, high }
                       95 %
slope, slope_interval  of the difference on the mean of both: bias that grows with the reading
""",
        _agreement,
    ),
    Kind(
        "anova",
        "Analysis of variance with one factor or two.",
        """\
terms { TERM { ss, df, ms, f, p } }
                       the factors, and their interaction as a:b where cells have a second value
residual { ss, df, ms, sd }
""",
        _anova,
    ),
    Kind(
        "runlength",
        "How many readings pass on average before a chart signals. Reads no file.",
        """\
arl                    from a chart that starts at its centre, both sides watched, limits of the
                       long run, all in standard deviations of a reading; null from a million
                       millions on
""",
        _runlength,
        reads_file=False,
    ),
)
