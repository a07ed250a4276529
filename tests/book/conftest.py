"""One Chromium for all browser tests of the book."""

import pytest
from browser import CHROMIUM, FLAGS, opened


@pytest.fixture(scope="session")
def chromium():
    if not CHROMIUM.exists():
        pytest.skip("Chromium is not installed (apt-get install chromium)")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as tools:
        browser = tools.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def page(chromium, address):
    """The book of the module's ``address`` at 1440 x 900; nothing may go wrong behind its face."""
    context, book, watcher = opened(chromium, address)
    yield book
    context.close()
    assert watcher.wrong == []
