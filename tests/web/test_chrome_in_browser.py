"""The frame of every page, in a browser: under a thumb, by keyboard, without a network, in the dark."""

import pytest

from brewbar.crew.models import Role
from tests import factories as make


@pytest.fixture
def head(live):
    return make.person(Role.HEAD)


@pytest.mark.parametrize("width", [320, 1280])
def test_nothing_to_find_in_the_dark(open_page, live, sign_in, head, axe, width):
    page = open_page(width, color_scheme="dark")
    sign_in(page, live, head)
    for path in ("/board/", "/no/such/page/", "/password/"):
        page.goto(live + path)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        axe(page)


def test_the_bar_lies_under_the_thumb(page, live, sign_in, head):
    sign_in(page, live, head)
    page.goto(f"{live}/board/")
    targets = page.locator(".site-nav > ul > li:visible")
    boxes = [targets.nth(n).bounding_box() for n in range(targets.count())]
    assert len(boxes) == 4
    assert all(box["height"] >= 48 and box["width"] >= 48 for box in boxes)
    assert all(box["y"] + box["height"] == pytest.approx(844, abs=1) for box in boxes)


def test_more_opens_folds_by_escape_and_leads_on(page, live, sign_in, head):
    sign_in(page, live, head)
    page.goto(f"{live}/board/")
    more = page.locator(".nav-more summary")
    more.click()
    coffees = page.locator(".nav-more a", has_text="Coffees")
    assert coffees.is_visible()
    page.keyboard.press("Escape")
    assert not coffees.is_visible()
    assert more.evaluate("element => element === document.activeElement")
    more.click()
    coffees.click()
    page.wait_for_url(f"{live}/coffees/")


def test_the_first_tab_leads_past_the_navigation(wide_page, live, sign_in, head):
    sign_in(wide_page, live, head)
    wide_page.goto(f"{live}/board/")
    wide_page.keyboard.press("Tab")
    wide_page.keyboard.press("Enter")
    assert wide_page.evaluate("document.activeElement.id") == "main"


def test_figures_are_of_one_width_in_the_served_font(page, live):
    page.goto(f"{live}/sign-in/")
    page.evaluate("document.fonts.ready")
    widths = page.evaluate(
        """() => ["1111111111", "8888888888", "0147258369"].map((text) => {
            const word = document.createElement("span");
            word.textContent = text;
            word.className = "nowrap";
            document.querySelector("main p").append(word);
            return word.getBoundingClientRect().width;
        })"""
    )
    assert max(widths) - min(widths) < 0.1
    loaded = page.evaluate("[...document.fonts].filter((f) => f.status === 'loaded').map((f) => f.family)")
    assert any("Source Sans" in family for family in loaded)


def test_places_are_switched_and_signed_out_without_javascript(open_page, live, sign_in):
    first = make.cafe(name="First")
    make.cafe(company=first.company, name="Second")
    owner = make.person(Role.OWNER, company=first.company)
    page = open_page(390, java_script_enabled=False)
    sign_in(page, live, owner)
    page.goto(f"{live}/board/")
    page.locator(".place > summary").click()
    page.get_by_label("Where you are").select_option(label="Second · owner")
    page.get_by_role("button", name="Go there").click()
    assert page.locator(".place-cafe").inner_text() == "Second"
    page.locator(".place > summary").click()
    page.get_by_role("button", name="Sign out").click()
    page.goto(f"{live}/board/")
    assert "/sign-in/" in page.url


@pytest.fixture
def failing_page(browser):
    """A page that may write to the console what htmx notes of each failure."""
    context = browser.new_context()
    yield context.new_page()
    context.close()


def test_a_failed_htmx_request_says_so_and_the_next_good_one_takes_it_back(failing_page, live, sign_in, head):
    page = failing_page
    sign_in(page, live, head)
    page.goto(f"{live}/password/")
    said = page.locator("#messages .notice")

    def ask(path: str) -> None:
        page.evaluate("path => { htmx.ajax('GET', path, {swap: 'none'}).catch(() => null) }", path)

    ask("/no/such/page/")
    page.get_by_text("nothing was changed").wait_for()
    page.context.set_offline(True)
    ask("/health/live")
    page.get_by_text("check the network").wait_for()
    page.context.set_offline(False)
    ask("/health/live")
    said.wait_for(state="detached")


def test_htmx_sends_the_token_and_a_redirect_moves_the_page(page, live, sign_in, head):
    sign_in(page, live, head)
    page.goto(f"{live}/password/")
    with page.expect_request("**/sign-out/") as sent:
        page.evaluate("htmx.ajax('POST', '/sign-out/', '#messages')")
    assert sent.value.headers["x-csrftoken"]
    page.wait_for_url("**/sign-in/**")
