"""Who has an answer already is told so, in few bytes.

Fielding, Nottingham, Reschke 2022, HTTP Semantics, RFC 9110, doi:10.17487/RFC9110: strong validators 8.8.1 and 8.8.3,
If-None-Match 13.1.2, If-Match 13.1.1, 304 in 15.4.5, 412 in 15.5.13.
"""

from brewbar.crew.models import Role
from tests import factories as make
from tests.api.bar import V1

BOARD = f"{V1}/board/"


def test_what_has_not_changed_is_304_without_a_body(bar):
    program = bar.program()
    first = program.get(BOARD)
    assert first["ETag"].startswith('"')  # strong: no W/
    again = program.get(BOARD, headers={"If-None-Match": first["ETag"]})
    assert (again.status_code, again.content, again["ETag"]) == (304, b"", first["ETag"])
    among = program.get(BOARD, headers={"If-None-Match": f'"other", W/{first["ETag"]}'})
    assert among.status_code == 304  # compared weakly, 13.1.2
    assert program.get(BOARD, headers={"If-None-Match": "*"}).status_code == 304
    assert "Authorization" in first["Vary"]
    assert first["Cache-Control"] == "private, no-cache"


def test_lists_and_results_have_tags_as_well(bar):
    make.reading(bar.slot, bar.head)
    program = bar.program(Role.HEAD)
    for path in ("readings", "recipes", "instrument-checks", "equipment", "results/days", "results/report"):
        first = program.get(f"{V1}/{path}/")
        again = program.get(f"{V1}/{path}/", headers={"If-None-Match": first["ETag"]})
        assert (path, first.status_code, again.status_code) == (path, 200, 304)
    first = program.get(f"{V1}/readings/")
    make.reading(bar.slot, bar.head)
    assert program.get(f"{V1}/readings/", headers={"If-None-Match": first["ETag"]}).status_code == 200


def test_what_has_changed_is_sent_anew_with_another_tag(bar):
    program = bar.program()
    first = program.get(BOARD)
    make.live_slot(bar.cafe)
    second = program.get(BOARD, headers={"If-None-Match": first["ETag"]})
    assert second.status_code == 200
    assert second["ETag"] != first["ETag"]
    assert len(second.json()["slots"]) == 2


def test_if_match_that_does_not_hold_is_412(bar):
    answer = bar.program().get(BOARD, headers={"If-Match": '"other"'})
    assert answer.status_code == 412
    assert answer["Content-Type"] == "application/problem+json"


def test_head_has_the_tag_and_no_body(bar):
    program = bar.program(Role.HEAD)
    answer = program.head(BOARD)
    assert (answer.status_code, answer.content) == (200, b"")
    assert answer["ETag"] == program.get(BOARD)["ETag"]


def test_a_refusal_has_no_tag(bar):
    assert "ETag" not in bar.program().get(f"{V1}/recipes/987654321/")
