"""Chromium, driven through WebDriver (W3C Recommendation, 2018): started, and asked when a page's picture stands."""

from __future__ import annotations

import shutil
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from selenium import webdriver
from selenium.webdriver.common.actions.action_builder import ActionBuilder
from selenium.webdriver.common.actions.pointer_input import PointerInput

_QUIET = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update", "--window-size=1200,900",
    "--disable-software-rasterizer", "--disable-extensions", "--disable-default-apps", "--disable-breakpad",
    "--disable-component-extensions-with-background-pages", "--no-pings", "--disable-domain-reliability",
    "--disable-features=Translate,MediaRouter,OptimizationHints,BackForwardCache,GlobalMediaControls",
)  # fmt: skip


def chromium(profile: Path) -> Any:
    """A browser that keeps what it must in `profile`, and asks for nothing."""
    options = webdriver.ChromeOptions()
    for flag in (*_QUIET, f"--user-data-dir={profile}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    options.add_experimental_option("perfLoggingPrefs", {"enableNetwork": True, "enablePage": False})
    return webdriver.Chrome(options=options, service=webdriver.ChromeService(shutil.which("chromedriver")))


def until(true: Any, seconds: float = 120) -> None:
    """Wait for a state of the page, asked often at first and then less; a machine that is slow has time."""
    end, pause = time.monotonic() + seconds, 0.04
    while not true():
        assert time.monotonic() < end, "the page is not ready"
        time.sleep(pause)
        pause = min(1.5 * pause, 0.25)


def shown_ms(browser: Any, page: Path) -> float:
    """How long after it was asked for a page's picture stood on the screen, by the page's own mark."""
    browser.get(page.as_uri())
    asked = "return performance.getEntriesByName('shown').map((mark) => mark.startTime)"
    until(lambda: browser.execute_script(asked))
    return float(browser.execute_script(asked)[0])


def drawn(browser: Any, pixels: Sequence[tuple[float, float]], *, kind: str = "mouse", pressure: float = 0.5) -> None:
    """A hand touches the window at the first place, goes along the others and lifts; "mouse", "pen" or "touch"."""
    pointer = PointerInput(kind, f"the {kind}")
    hand = ActionBuilder(browser, mouse=pointer, duration=4)
    (x, y), *rest = [(round(x), round(y)) for x, y in pixels]
    hand.pointer_action.move_to_location(x, y)
    hand.pointer_action.pointer_down(button=0, pressure=pressure)
    for x, y in rest:
        hand.pointer_action.move_to_location(x, y, pressure=pressure)
    hand.pointer_action.pointer_up(button=0)
    hand.perform()
