"""What every test may ask for. Marks are set here from the fixtures that a test uses, so no author has to."""

import copy
import os
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.contrib.auth.hashers import Argon2PasswordHasher
from django.db import transaction
from django.test import Client, TransactionTestCase
from playwright.sync_api import Browser, ConsoleMessage, Page, Response, sync_playwright

from brewbar import testing

BROWSER_FIXTURES = {"browser", "open_page", "page", "wide_page"}
DATABASE_FIXTURES = {"db", "transactional_db", "live_server", "live", "kept_rows"}
AXE_RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
BROWSER_ARGUMENTS = [
    "--no-sandbox",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

# The same algorithm at its least cost: a third of a second for each password would add up to minutes.
Argon2PasswordHasher.time_cost, Argon2PasswordHasher.memory_cost, Argon2PasswordHasher.parallelism = 1, 8, 1


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        fixtures = set(getattr(item, "fixturenames", ()))
        case = getattr(item, "cls", None)
        if fixtures & BROWSER_FIXTURES:
            item.add_marker("browser")
        if (
            fixtures & DATABASE_FIXTURES
            or item.get_closest_marker("django_db")
            or (case is not None and issubclass(case, TransactionTestCase))
        ):
            item.add_marker("db")


@pytest.fixture(scope="module")
def kept_rows(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    """Rows that a fixture of a module makes once for all its tests. What each test changes is undone after it."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield
        transaction.set_rollback(True)


FRESH_S = 300
"""A barista may correct a reading of the world for ten minutes, however slow the machine is."""


@pytest.fixture(scope="module")
def kept_world(kept_rows: None) -> tuple[Any, float]:
    from tests.world import World

    return World.build(), time.monotonic()


@pytest.fixture
def world(kept_world: tuple[Any, float], db: None) -> Any:
    """A `tests.world.World`: its rows are the module's, its objects the test's own."""
    built, at = kept_world
    return copy.deepcopy(built) if time.monotonic() - at < FRESH_S else type(built).build()


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    program = testing.find_browser()
    if program is None:
        (pytest.fail if os.environ.get("CI") == "true" else pytest.skip)("no Chromium on this machine")
    # Playwright's loop runs in this thread, where Django would otherwise refuse every query of a fixture.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=BROWSER_ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture
def open_page(browser: Browser) -> Iterator[Callable[..., Page]]:
    """Opens a page of the width asked for; whatever goes wrong inside it fails the test."""
    contexts = []
    wrong: list[str] = []

    def open_page(width: int = 390, height: int = 844, **options: Any) -> Page:
        options = {"locale": "en-GB", "reduced_motion": "reduce"} | options
        context = browser.new_context(viewport={"width": width, "height": height}, **options)
        context.set_default_timeout(30_000)
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda message: wrong.extend(_said(message)))
        page.on("pageerror", lambda error: wrong.append(f"uncaught: {error}"))
        page.on("response", lambda response: wrong.extend(_answered(response)))
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert not wrong, "\n".join(wrong)


def _said(message: ConsoleMessage) -> list[str]:
    # Chromium notes every 4xx here; a form that is refused with 422 is meant, see _answered for the rest.
    if message.type != "error" or message.text.startswith("Failed to load resource"):
        return []
    return [f"console: {message.text}"]


def _answered(response: Response) -> list[str]:
    asset = response.request.resource_type in ("script", "stylesheet", "image", "font", "manifest")
    if response.status >= 500 or (asset and response.status >= 400):
        return [f"{response.status} for {response.url}"]
    return []


@pytest.fixture
def page(open_page: Callable[..., Page]) -> Page:
    """A page as wide as a phone held upright."""
    return open_page(390, 844, has_touch=True, is_mobile=True)


@pytest.fixture
def wide_page(open_page: Callable[..., Page]) -> Page:
    return open_page(1280, 800)


@pytest.fixture
def live(live_server: Any, settings: Any) -> str:
    """The address of a running server, which is also where codes and links lead."""
    settings.BASE_URL = live_server.url
    return str(live_server.url)


@pytest.fixture
def sign_in() -> Callable[[Page, str, Any], None]:
    """Signs a user in without the form: ``sign_in(page, live, user)``."""

    def sign_in(page: Page, address: str, user: Any) -> None:
        client = Client()
        client.force_login(user)
        name = settings.SESSION_COOKIE_NAME
        page.context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": address}])

    return sign_in


@pytest.fixture(scope="session")
def axe() -> Callable[[Page], None]:
    """Fails with every finding of axe on a page, told by rule, reason and place."""
    script = Axe()

    def check(page: Page) -> None:
        options = {"runOnly": AXE_RULES, "resultTypes": ["violations"]}
        findings = script.run(page, options=options).response["violations"]
        told = [
            f"{finding['id']}: {finding['help']}\n    "
            + "\n    ".join(node["html"][:200] for node in finding["nodes"])
            for finding in findings
        ]
        assert not told, "\n".join([page.url, *told])

    return check
