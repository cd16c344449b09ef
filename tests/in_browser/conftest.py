# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""A real browser without a window, driven from Python."""

import os
import shutil
from pathlib import Path

import pytest

SCREENSHOTS = Path(__file__).resolve().parents[2] / "screenshots"


def find_program(variable, *names):
    named = os.environ.get(variable)
    return named or next((path for name in names if (path := shutil.which(name))), None)


@pytest.fixture(scope="module")
def browser():
    webdriver = pytest.importorskip("selenium.webdriver", reason="Selenium drives the browser")
    chromium = find_program("FETTLE_CHROMIUM", "chromium", "chromium-browser", "google-chrome")
    driver = find_program("FETTLE_CHROMEDRIVER", "chromedriver")
    if chromium is None or driver is None:
        pytest.skip("no Chromium here: tools/install_browser.sh installs Debian's")
    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    for word in ("--headless=new", "--no-sandbox", "--disable-gpu", "--window-size=1280,1400"):
        options.add_argument(word)
    options.add_argument("--force-device-scale-factor=1")
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    started = webdriver.Chrome(options=options, service=webdriver.ChromeService(driver))
    yield started
    started.quit()


@pytest.fixture
def screenshot(browser):
    """Keep a picture of the window, for people to look at."""

    def take(name):
        SCREENSHOTS.mkdir(exist_ok=True)
        path = SCREENSHOTS / f"{name}.png"
        browser.save_screenshot(str(path))
        return path

    return take
