import pytest

from calibration.statistics.uncertainty import BREW_TIME_U_S, Word, conformity


def test_the_three_words():
    # tolerance 0.10, u 0.02: the limit at 0.8416 u (the 80 % quantile) inside it is 1.4832, outside it 1.5168
    assert conformity(1.4831, 0.02, 1.40, 0.10).word is Word.INSIDE
    assert conformity(1.4833, 0.02, 1.40, 0.10).word is Word.TOO_CLOSE
    assert conformity(1.5167, 0.02, 1.40, 0.10).word is Word.TOO_CLOSE
    assert conformity(1.5169, 0.02, 1.40, 0.10).word is Word.OUTSIDE


@pytest.mark.parametrize(("value", "side"), [(1.60, "high"), (1.20, "low"), (1.51, "high"), (1.29, "low")])
def test_side(value, side):
    assert conformity(value, 0.02, 1.40, 0.10).side == side


def test_inside_has_no_side():
    assert conformity(1.42, 0.02, 1.40, 0.10).side == ""


def test_farther_is_never_better():
    order = [Word.INSIDE, Word.TOO_CLOSE, Word.OUTSIDE]
    verdicts = [conformity(1.40 + step / 1000, 0.02, 1.40, 0.10) for step in range(300)]
    assert [v.probability for v in verdicts] == sorted((v.probability for v in verdicts), reverse=True)
    words = [order.index(v.word) for v in verdicts]
    assert words == sorted(words)
    assert set(words) == {0, 1, 2}


def test_high_and_low_are_alike():
    for step in range(1, 200):
        high, low = (conformity(1.40 + sign * step / 1000, 0.02, 1.40, 0.10) for sign in (1, -1))
        assert high.word is low.word
        assert high.probability == pytest.approx(low.probability, abs=1e-9)


@pytest.mark.parametrize("tolerance", [0.01, 0.03, 0.04])
def test_a_tolerance_no_wider_than_U_is_never_inside(tolerance):
    words = {conformity(1.40 + step / 1000, 0.02, 1.40, tolerance).word for step in range(-200, 201)}
    assert words == {Word.TOO_CLOSE, Word.OUTSIDE}
    on_target = conformity(1.40, 0.02, 1.40, tolerance)
    assert on_target.word is Word.TOO_CLOSE
    assert "no wider than the uncertainty of the measurement, ±0.04" in on_target.reason


def test_too_fine_a_tolerance_does_not_put_the_target_itself_outside():
    # the chance within ±0.2 u is below 20 %, but nothing says that the value is off
    on_target = conformity(1.40, 0.05, 1.40, 0.01)
    assert on_target.probability < 0.20
    assert on_target.word is Word.TOO_CLOSE


def test_U_is_compared_without_float_noise():
    # 2 × 0.15 and 0.1 + 0.2 differ in the last bit
    assert conformity(20.0, 0.15, 20.0, 0.1 + 0.2).word is Word.TOO_CLOSE


@pytest.mark.parametrize(
    ("value", "word"),
    [
        (1.40, Word.INSIDE),
        (1.50, Word.INSIDE),
        (1.30, Word.INSIDE),
        (1.51, Word.OUTSIDE),
        (1.29, Word.OUTSIDE),
    ],
)
def test_without_uncertainty_it_is_one_or_the_other(value, word):
    verdict = conformity(value, 0.0, 1.40, 0.10)
    assert verdict.word is word
    assert verdict.probability == (1.0 if word is Word.INSIDE else 0.0)


def test_reasons_never_contradict_the_word():
    for step in range(300):
        verdict = conformity(1.40 + step / 1000, 0.02, 1.40, 0.10)
        if "about" in verdict.reason:
            figure = int(verdict.reason.split("about ")[1].split(" ")[0])
            assert {
                Word.INSIDE: figure >= 80,
                Word.TOO_CLOSE: 20 < figure < 80,
                Word.OUTSIDE: figure <= 20,
            }[verdict.word]


def test_brew_time():
    assert conformity(190, BREW_TIME_U_S, 185, 15).word is Word.INSIDE
    assert conformity(230, BREW_TIME_U_S, 185, 15).word is Word.OUTSIDE
    assert conformity(185, BREW_TIME_U_S, 185, 5).word is Word.TOO_CLOSE


@pytest.mark.parametrize(("u", "tolerance", "says"), [(0.02, 0.0, "above 0"), (-0.02, 0.1, "0 or more")])
def test_refuses_nonsense(u, tolerance, says):
    with pytest.raises(ValueError, match=says):
        conformity(1.4, u, 1.4, tolerance)
