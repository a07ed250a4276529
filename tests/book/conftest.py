"""One Chromium for all browser tests of the book."""

import pytest
from browser import CHROMIUM, FLAGS


@pytest.fixture(scope="session")
def chromium():
    if not CHROMIUM.exists():
        pytest.skip("Chromium is not installed (apt-get install chromium)")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as tools:
        browser = tools.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        yield browser
        browser.close()
