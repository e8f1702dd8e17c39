"""A browser for the tests of pages, started once in each process that needs it."""

from collections.abc import Iterator

import pytest

from tests.helpers.browser import Browser, a_browser


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    with a_browser(tmp_path_factory.mktemp("browser")) as one:
        yield one
