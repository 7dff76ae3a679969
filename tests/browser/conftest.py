"""A real browser for the tests of report and page: the system's Chromium, driven by playwright.

Without Chromium these tests are skipped; with ROUTEPLAN_BROWSER=required, as continuous
integration sets it, a missing browser is a failure instead.
"""

import os
import shutil

import pytest
from browsing import FLAGS


@pytest.fixture(scope="session")
def chromium():
    """Path of the system's Chromium."""
    wanted = os.environ.get("ROUTEPLAN_BROWSER", "")
    if wanted not in {"", "required"}:
        pytest.fail(f"ROUTEPLAN_BROWSER is {wanted!r}; it may be 'required' or unset")
    path = shutil.which("chromium")
    if path:
        return path
    reason = "no chromium on the PATH (Debian and Ubuntu: apt-get install chromium)"
    if wanted == "required":
        pytest.fail(f"ROUTEPLAN_BROWSER=required, but there is {reason}")
    pytest.skip(reason)


# Not one browser for the whole session: while playwright's synchronous interface is open, an
# event loop counts as running in this thread, and tests of other modules that start one fail.
@pytest.fixture(scope="module")
def browser(chromium):
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium, args=FLAGS)
        yield browser
        browser.close()
