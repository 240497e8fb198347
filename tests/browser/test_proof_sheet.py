"""The proof sheet in a real browser: Chromium, driven through WebDriver (W3C Recommendation, 2018)."""

from __future__ import annotations

import base64
import json
import os
import shutil
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2
import pytest
import shapely
from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from carvegen import geometry
from carvegen.colour import Ink, overprinted, screen
from carvegen.writers.proof_sheet import Place, Plate, ProofSheet, proof_sheet_html

PAPER = (251, 250, 246)
SKY, KEY = Ink(colour=(169, 191, 203), opacity=0.2), Ink(colour=(31, 43, 61), opacity=0.7)
_QUIET = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update", "--window-size=1200,900",
)  # fmt: skip


def _sheet() -> ProofSheet:
    snow = shapely.box(10, 10, 20, 20)
    return ProofSheet(
        title="ferry landing <&> lamp",
        summary="120 × 80 mm, print view.",
        width_mm=120,
        height_mm=80,
        paper=PAPER,
        plates=[
            Plate(name="sky", ink=SKY, land=geometry.rings(geometry.parts(shapely.box(0, 0, 120, 80) - snow))),
            Plate(name="key", ink=KEY, land=geometry.rings(geometry.parts(shapely.box(60, 0, 120, 40)))),
        ],
        places=[
            Place(at=(30, 50), to=(30.5, 50), severity="breaks", title="land-width 0.50 of 0.70 mm", words="Widen it."),
            Place(at=(100, 20), severity="risk", title="clearing", words="Cut deeper."),
            Place(at=None, severity="risk", title="wall", words="Lean the tool."),
        ],
        files={"print.png": "look at this first"},
        cautions=["Cut away from yourself."],
        questions=["laser: may it be burned?"],
    )


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    if not (shutil.which("chromium") and shutil.which("chromedriver")) and "CARVEGEN_BROWSER" not in os.environ:
        pytest.skip("no Chromium here: apt-get install chromium chromium-driver")
    options = webdriver.ChromeOptions()
    for flag in (*_QUIET, f"--user-data-dir={tmp_path_factory.mktemp('browser')}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(shutil.which("chromedriver")))
    yield driver
    driver.quit()


@pytest.fixture
def page(browser: Any, tmp_path: Path) -> Any:
    path = tmp_path / "proof.html"
    path.write_text(proof_sheet_html(_sheet()), encoding="utf-8")
    for kind in ("performance", "browser"):
        browser.get_log(kind)
    browser.get(path.as_uri())
    _until(lambda: browser.execute_script("return document.body.dataset.ready") == "yes")
    return browser


def _until(true: Any, seconds: float = 10) -> None:
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "the page is not ready"
        time.sleep(0.02)


def _pixel(page: Any, x_mm: float, y_mm: float) -> list[int]:
    """The colour of the canvas at a place in print view."""
    script = (
        "const c = document.getElementById('print'); const s = c.width / 120;"
        "const at = [arguments[0] * s, c.height - arguments[1] * s];"
        "return [...c.getContext('2d').getImageData(...at, 1, 1).data].slice(0, 3)"
    )
    found: list[int] = page.execute_script(script, x_mm, y_mm)
    return found


def _printed(*inks: Ink) -> list[int]:
    light = overprinted(PAPER, [(ink, np.ones(1)) for ink in inks])
    return np.round(screen(light)).astype(int).ravel().tolist()


def test_each_block_can_be_taken_away_and_the_rest_keeps_its_colour(page: Any) -> None:
    assert _pixel(page, 30, 60) == _printed(SKY)
    assert _pixel(page, 90, 20) == _printed(SKY, KEY)
    assert _pixel(page, 15, 15) == list(PAPER)
    sky, key = page.find_elements(By.CSS_SELECTOR, "#layers input")
    sky.click()
    assert _pixel(page, 30, 60) == list(PAPER)
    assert _pixel(page, 90, 20) == _printed(KEY)
    key.click()
    assert _pixel(page, 90, 20) == list(PAPER)


def test_nine_blocks_of_which_the_ninth_prints_nothing_show_no_more_than_they_print(
    browser: Any, tmp_path: Path
) -> None:
    """The picture has room for nine bits a pixel, though none of the last is set."""
    plates = [*_sheet().plates] + [
        Plate(name=f"b{k}", ink=KEY, land=geometry.rings(geometry.empty())) for k in range(7)
    ]
    path = tmp_path / "proof.html"
    path.write_text(proof_sheet_html(replace(_sheet(), plates=plates)), encoding="utf-8")
    browser.get(path.as_uri())
    _until(lambda: browser.execute_script("return document.body.dataset.ready") == "yes")
    assert _pixel(browser, 30, 60) == _printed(SKY)
    assert _pixel(browser, 90, 20) == _printed(SKY, KEY)


def test_a_place_in_the_list_comes_to_the_middle_of_the_picture(page: Any) -> None:
    for button in page.find_elements(By.CSS_SELECTOR, "[data-place]")[:2]:
        button.click()
        ring = page.find_element(By.ID, f"ring-{button.get_attribute('data-place')}").rect
        table = page.find_element(By.ID, "table").rect
        assert ring["x"] + ring["width"] / 2 == pytest.approx(table["x"] + table["width"] / 2, abs=15)
        assert ring["y"] + ring["height"] / 2 == pytest.approx(table["y"] + table["height"] / 2, abs=15)
        assert button.get_attribute("aria-current") == "true"
        assert ring["width"] > 20, "enlarged, so that the place can be seen"


def test_a_place_of_the_whole_block_shows_the_whole_print(page: Any) -> None:
    page.find_elements(By.CSS_SELECTOR, "[data-place]")[2].click()
    sheet, table = page.find_element(By.ID, "sheet").rect, page.find_element(By.ID, "table").rect
    assert sheet["width"] <= table["width"]
    assert sheet["height"] <= table["height"]


def test_rings_can_be_hidden(page: Any) -> None:
    box = page.find_element(By.CSS_SELECTOR, "[data-shows=rings]")
    assert page.find_element(By.ID, "rings").is_displayed()
    box.click()
    assert not page.find_element(By.ID, "rings").is_displayed()


def test_many_rings_are_not_shown_at_first_but_the_one_that_is_gone_to_is(browser: Any, tmp_path: Path) -> None:
    place = Place(at=(30, 50), severity="risk", title="clearing", words="Cut deeper.")
    path = tmp_path / "proof.html"
    path.write_text(proof_sheet_html(replace(_sheet(), places=[place] * 61)), encoding="utf-8")
    browser.get(path.as_uri())
    _until(lambda: browser.execute_script("return document.body.dataset.ready") == "yes")
    ring = browser.find_element(By.ID, "ring-7")
    assert not ring.is_displayed()
    browser.find_elements(By.CSS_SELECTOR, "[data-place]")[6].click()
    assert ring.is_displayed()


def test_the_keyboard_moves_and_sizes_the_print(page: Any) -> None:
    table = page.find_element(By.ID, "table")
    table.send_keys("1")
    assert page.find_element(By.ID, "scale").text == "100 % of true size"
    assert page.find_element(By.ID, "sheet").rect["width"] == pytest.approx(120 * 96 / 25.4, abs=0.5)
    table.send_keys("+", "+", "+", "+")
    before = page.execute_script("return document.getElementById('table').scrollLeft")
    table.send_keys(Keys.ARROW_RIGHT)
    _until(lambda: page.execute_script("return document.getElementById('table').scrollLeft") > before)
    table.send_keys("0")
    assert page.find_element(By.ID, "sheet").rect["width"] <= table.rect["width"]


def test_everything_that_can_be_used_has_a_name_and_is_reached_by_tab(page: Any) -> None:
    usable = page.find_elements(By.CSS_SELECTOR, "button, input, #table, canvas")
    assert len(usable) == 4 + 3 + 3 + 2
    assert [it.accessible_name for it in usable if not it.accessible_name.strip()] == []
    reached = set()
    for _ in range(20):
        page.switch_to.active_element.send_keys(Keys.TAB)
        reached.add(page.switch_to.active_element.accessible_name)
    assert {it.accessible_name for it in usable if it.tag_name != "canvas"} <= reached


def test_no_error_is_logged_and_no_request_leaves_the_page(page: Any) -> None:
    assert page.get_log("browser") == []
    sent = [json.loads(entry["message"])["message"] for entry in page.get_log("performance")]
    asked = [its["params"]["request"]["url"] for its in sent if its["method"] == "Network.requestWillBeSent"]
    assert asked, "the log holds at least the page itself"
    assert {url.split(":")[0] for url in asked} <= {"file", "data"}


def test_words_from_outside_stay_words(page: Any) -> None:
    assert page.find_element(By.TAG_NAME, "h1").text == "ferry landing <&> lamp"


def test_it_prints_at_true_size(page: Any) -> None:
    pdf = base64.b64decode(
        page.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True, "printBackground": True})["data"]
    )
    px_per_mm = 10.0
    first = pypdfium2.PdfDocument(pdf)[0].render(scale=px_per_mm * 25.4 / 72).to_numpy()[..., :3].astype(int)
    dark = np.abs(first - np.array(_printed(SKY, KEY))[::-1]).max(axis=-1) < 12
    rows, columns = np.flatnonzero(dark.sum(axis=1) > 300), np.flatnonzero(dark.sum(axis=0) > 200)
    assert (columns[-1] - columns[0] + 1) / px_per_mm == pytest.approx(60, abs=0.3)
    assert (rows[-1] - rows[0] + 1) / px_per_mm == pytest.approx(40, abs=0.3)
    bar = np.abs(first - 0x2A).max(axis=-1) < 6
    across = bar[rows[-1] + 20 :].sum(axis=1).max()
    assert across / px_per_mm == pytest.approx(100, abs=0.3)
