import pytest

from tests.api.bar import Bar


@pytest.fixture
def bar(db) -> Bar:
    return Bar.build()
