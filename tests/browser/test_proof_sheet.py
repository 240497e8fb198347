"""The proof sheet in a real browser: Chromium, driven through WebDriver (W3C Recommendation, 2018)."""

from __future__ import annotations

import base64
import io
import json
import os
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2
import pytest
import shapely
from PIL import Image
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

import tests.bench.working_size as bench
from carvegen import geometry
from carvegen.base.colour import Ink, mixed, overprinted, screen
from carvegen.base.finding_groups import grouped
from carvegen.base.findings import Finding, Severity
from carvegen.checks import checked
from carvegen.writers.block.width_map import land_widths
from carvegen.writers.proof.proof_cards import Card, card
from carvegen.writers.proof.proof_pages import block_sheet
from carvegen.writers.proof.proof_sheet import Impression, ProofSheet, proof_sheet_html
from tests.browser.driving import chromium, shown_ms, until
from tests.cases import block, box, setup
from tests.strategies import takes_long

PAPER = (251, 250, 246)
SKY, KEY = Ink(colour=(169, 191, 203), opacity=0.2), Ink(colour=(31, 43, 61), opacity=0.7)


def _finding(**other: Any) -> Finding:
    usual = {
        "rule": "land-width", "severity": Severity.RISK, "at": (30.0, 50.0), "measured": 0.5, "limit": 0.7,
        "unit": "mm", "why": "it breaks <off>", "remedy": "widen it",
    }  # fmt: skip
    return Finding(**(usual | other))


def _cards(*findings: Finding) -> list[Card]:
    return [card(group) for group in grouped(findings)]


def _many() -> list[Card]:
    """61 tips in three spots, the worst of them the last."""
    tips = [_finding(measured=0.4, at=(10.0 + 40 * (k % 3), 20.0 + k % 7)) for k in range(60)]
    return _cards(*tips, _finding(measured=0.1, at=(91.0, 20.0)))


def _sheet() -> ProofSheet:
    snow = shapely.box(10, 10, 20, 20)
    return ProofSheet(
        title="ferry landing <&> lamp",
        summary="120 × 80 mm, print view.",
        width_mm=120,
        height_mm=80,
        paper=PAPER,
        plates=[
            Impression(name="sky", ink=SKY, land=geometry.rings(geometry.parts(shapely.box(0, 0, 120, 80) - snow))),
            Impression(name="key", ink=KEY, land=geometry.rings(geometry.parts(shapely.box(60, 0, 120, 40)))),
        ],
        cards=_cards(
            _finding(to=(30.5, 50.0), severity=Severity.BREAKS),
            _finding(rule="clearing", at=(119.0, 1.0), remedy="cut deeper"),
            _finding(rule="wall", at=None, remedy="lean the tool"),
        ),
        files={"print.png": "look at this first"},
        cautions=["Cut away from yourself."],
        questions=["laser: may it be burned?"],
    )


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    if not (shutil.which("chromium") and shutil.which("chromedriver")) and "CARVEGEN_BROWSER" not in os.environ:
        pytest.skip("no Chromium here: apt-get install chromium chromium-driver")
    driver = chromium(tmp_path_factory.mktemp("browser"))
    yield driver
    driver.quit()


@pytest.fixture
def page(browser: Any, tmp_path: Path) -> Any:
    return _opened(browser, tmp_path, _sheet())


def _opened(browser: Any, folder: Path, sheet: ProofSheet) -> Any:
    path = folder / "proof.html"
    path.write_text(proof_sheet_html(sheet), encoding="utf-8")
    for kind in ("performance", "browser"):
        browser.get_log(kind)
    browser.get(path.as_uri())
    until(lambda: browser.execute_script("return document.body.dataset.ready") == "yes")
    return browser


def _pixel(page: Any, x_mm: float, y_mm: float) -> list[int]:
    """The colour of the canvas at a place in print view."""
    script = (
        "const c = document.getElementById('print'); const s = c.width / 120;"
        "const at = [arguments[0] * s, c.height - arguments[1] * s];"
        "return [...c.getContext('2d').getImageData(...at, 1, 1).data].slice(0, 3)"
    )
    result: list[int] = page.execute_script(script, x_mm, y_mm)
    return result


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


def test_what_the_carver_decides_is_pale_with_its_own_block_and_goes_with_it(browser: Any, tmp_path: Path) -> None:
    """So far towards the paper as in print.png: six tenths, as a screen shows the colours."""
    sky, key = _sheet().plates
    open_ = geometry.rings(geometry.parts(shapely.box(80, 10, 120, 60)))  # the key block stands on its lower part
    _opened(browser, tmp_path, replace(_sheet(), plates=[sky, replace(key, to_decide=open_)]))
    pale = replace(KEY, colour=mixed(KEY.colour, PAPER, 0.6))
    assert _pixel(browser, 70, 20) == _printed(SKY, KEY)
    assert _pixel(browser, 90, 20) == _printed(SKY, pale)
    assert _pixel(browser, 90, 50) == _printed(SKY)
    sky_box, key_box = browser.find_elements(By.CSS_SELECTOR, "#layers input")
    sky_box.click()
    assert _pixel(browser, 90, 20) == _printed(pale)
    key_box.click()
    assert _pixel(browser, 90, 20) == list(PAPER)


def test_sixteen_blocks_leave_no_room_for_pale_and_lose_nothing(browser: Any, tmp_path: Path) -> None:
    sky, key = _sheet().plates
    open_ = geometry.rings(geometry.parts(shapely.box(80, 10, 120, 60)))
    rest = [Impression(name=f"b{k}", ink=KEY, land=geometry.rings(geometry.empty())) for k in range(14)]
    _opened(browser, tmp_path, replace(_sheet(), plates=[sky, replace(key, to_decide=open_), *rest]))
    assert _pixel(browser, 90, 20) == _printed(SKY, KEY)


def test_what_was_cut_already_lies_over_the_paper_and_can_be_hidden(browser: Any, tmp_path: Path) -> None:
    before = geometry.rings(geometry.parts(shapely.box(10, 10, 20, 20)))
    _opened(browser, tmp_path, replace(_sheet(), cut_before=before))
    veil = browser.find_element(By.ID, "cut-before")
    assert veil.is_displayed()
    browser.find_element(By.CSS_SELECTOR, "[data-shows=cut-before]").click()
    assert not veil.is_displayed()


def test_nine_blocks_of_which_the_ninth_prints_nothing_show_no_more_than_they_print(
    browser: Any, tmp_path: Path
) -> None:
    """The picture has room for nine bits a pixel, though none of the last is set."""
    plates = [*_sheet().plates] + [
        Impression(name=f"b{k}", ink=KEY, land=geometry.rings(geometry.empty())) for k in range(7)
    ]
    _opened(browser, tmp_path, replace(_sheet(), plates=plates))
    assert _pixel(browser, 30, 60) == _printed(SKY)
    assert _pixel(browser, 90, 20) == _printed(SKY, KEY)


def test_a_place_in_the_list_comes_to_the_middle_of_the_picture(page: Any) -> None:
    for button in page.find_elements(By.CSS_SELECTOR, "[data-place]")[:2]:
        button.click()
        ring = page.find_element(By.CSS_SELECTOR, f"#ring-{button.get_attribute('data-place')} circle").rect
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
    page = _opened(browser, tmp_path, replace(_sheet(), cards=_many()))
    assert page.find_elements(By.CSS_SELECTOR, "#rings g") == []
    page.find_element(By.CSS_SELECTOR, "[data-place='61']").click()
    assert [node.get_attribute("id") for node in page.find_elements(By.CSS_SELECTOR, "#rings g")] == ["ring-61"]
    assert page.find_element(By.ID, "ring-61").is_displayed()
    page.find_element(By.CSS_SELECTOR, "[data-shows=rings]").click()
    assert len(page.find_elements(By.CSS_SELECTOR, "#rings g")) == 61
    assert page.find_element(By.ID, "ring-7").text == "7"


def test_a_place_of_the_kinds_behind_the_fold_opens_all_folds_round_it(browser: Any, tmp_path: Path) -> None:
    cards = [*_cards(_finding(measured=0.5, at=(5.0, 5.0)))] * 4 + _many()
    page = _opened(browser, tmp_path, replace(_sheet(), cards=cards))
    place = page.find_element(By.CSS_SELECTOR, ".rest .spots [data-place='7']")
    assert not place.is_displayed()
    page.execute_script("goTo(arguments[0])", place)
    assert place.is_displayed()


def test_findings_of_one_kind_share_a_card_and_each_place_is_a_button_with_its_number(
    browser: Any, tmp_path: Path
) -> None:
    page = _opened(browser, tmp_path, replace(_sheet(), cards=_many()))
    (only,) = page.find_elements(By.CSS_SELECTOR, ".card")
    assert only.find_element(By.TAG_NAME, "h3").text == "a risk:\nLand width, at worst 0.1 mm, limit 0.7 mm"
    shown = [node for node in only.find_elements(By.CSS_SELECTOR, "[data-place]") if node.is_displayed()]
    assert [each.text for each in shown] == ["Place 61: 0.1 mm, limit 0.7 mm; x 91.0, y 20.0 mm"]
    only.find_element(By.TAG_NAME, "summary").send_keys(Keys.ENTER)
    places = only.find_elements(By.CSS_SELECTOR, "[data-place]")
    assert sorted(int(item.get_attribute("data-place")) for item in places) == list(range(1, 62))
    assert all(place.is_displayed() for place in places)
    assert [one.text for one in only.find_elements(By.CSS_SELECTOR, ".near")] == [
        "x 91, y 20",
        "x 10, y 20",
        "x 50, y 21",
    ]


def test_the_places_can_be_walked_through(browser: Any, tmp_path: Path) -> None:
    page = _opened(browser, tmp_path, replace(_sheet(), cards=_many()))
    walked = page.execute_script(
        "return Array.from({length: 62}, () => { document.getElementById('next').click();"
        " const now = document.querySelector('[aria-current]'), said = document.getElementById('said').textContent;"
        " return [Number(now.dataset.place), now.checkVisibility(), said]; })"
    )
    seen = [number for number, _, _ in walked]
    for number, visible, said in walked:
        assert visible, "its fold is opened"
        assert f"Place {number}:" in said
    assert sorted(seen[:61]) == list(range(1, 62))
    assert seen[61] == seen[0] == 61
    page.find_element(By.ID, "before").click()
    assert page.find_element(By.CSS_SELECTOR, "[aria-current]").get_attribute("data-place") == str(seen[60])


def test_what_is_kept_clear_is_a_layer_that_can_be_taken_off(browser: Any, tmp_path: Path) -> None:
    kept = geometry.rings(geometry.parts(shapely.box(30, 40, 60, 70)))
    page = _opened(browser, tmp_path, replace(_sheet(), kept=kept))
    layer = page.find_element(By.ID, "kept")
    assert layer.is_displayed()
    inside, outside = _seen(page, 45, 55), _seen(page, 25, 55)
    light = [ink + (paper - ink) * 0.16 for ink, paper in zip(_printed(SKY), PAPER, strict=True)]
    assert inside == pytest.approx(light, abs=2), "as much lighter as in proof.png"
    assert outside == pytest.approx(_printed(SKY), abs=1)
    page.find_element(By.CSS_SELECTOR, "[data-shows=kept]").click()
    assert not layer.is_displayed()
    assert _seen(page, 45, 55) == outside


def _seen(page: Any, x_mm: float, y_mm: float) -> list[int]:
    """The colour on the screen at a place in print view."""
    sheet = page.find_element(By.ID, "sheet").rect
    picture = Image.open(io.BytesIO(page.get_screenshot_as_png())).convert("RGB")
    scale = sheet["width"] / 120
    colour = picture.getpixel((round(sheet["x"] + x_mm * scale), round(sheet["y"] + sheet["height"] - y_mm * scale)))
    return [int(part) for part in np.array(colour)]


def test_the_width_map_is_clear_where_nothing_is_told_and_has_a_key(browser: Any, tmp_path: Path) -> None:
    setup_ = setup("linoleum", "laser-fine")
    job = setup_.on(block(box(5, 5, 10, 20), box(15.5, 5, 10, 20)))
    widths = land_widths(job.block, job.limits.land_mm)
    page = _opened(browser, tmp_path, block_sheet([job], {"laser": checked(job)}, {}, [], widths=widths))
    assert page.find_element(By.CSS_SELECTOR, ".key li").text == "below the minimum (0.73 mm)"
    alpha = page.execute_script(
        "const image = document.getElementById('land-width'), pen = new OffscreenCanvas(240, 180).getContext('2d');"
        "return image.decode().then(() => { pen.drawImage(image, 0, 0, 240, 180);"
        "  return [[91, 90], [200, 90]].map((at) => [...pen.getImageData(...at, 1, 1).data]); })"
    )
    assert alpha[0][3] == 255
    assert alpha[0][:3] == pytest.approx([0x8C, 0x1C, 0x2F], abs=2), "the neck of 0.5 mm is below 0.7"
    assert alpha[1][3] == 0


def test_no_page_is_wider_than_a_small_screen(browser: Any, tmp_path: Path) -> None:
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride", {"width": 390, "height": 800, "deviceScaleFactor": 1, "mobile": True}
    )
    try:
        page = _opened(browser, tmp_path, replace(_sheet(), cards=[*_many(), *_sheet().cards]))
        assert page.execute_script("return document.documentElement.scrollWidth") <= 390
        sheet, table = page.find_element(By.ID, "sheet").rect, page.find_element(By.ID, "table").rect
        assert sheet["height"] >= table["height"] / 2, "no empty table round a small print"
        page.find_element(By.ID, "next").click()
        assert 0 <= page.execute_script("return document.getElementById('table').getBoundingClientRect().top") <= 500
    finally:
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def test_the_keyboard_moves_and_sizes_the_print(page: Any) -> None:
    table = page.find_element(By.ID, "table")
    table.send_keys("1")
    assert page.find_element(By.ID, "scale").text == "100 % of true size"
    assert page.find_element(By.ID, "sheet").rect["width"] == pytest.approx(120 * 96 / 25.4, abs=0.5)
    table.send_keys("+", "+", "+", "+")
    before = page.execute_script("return document.getElementById('table').scrollLeft")
    table.send_keys(Keys.ARROW_RIGHT)
    until(lambda: page.execute_script("return document.getElementById('table').scrollLeft") > before)
    table.send_keys("0")
    assert page.find_element(By.ID, "sheet").rect["width"] <= table.rect["width"]


def test_everything_that_can_be_used_has_a_name_and_is_reached_by_tab(page: Any) -> None:
    usable = page.find_elements(By.CSS_SELECTOR, "button, input, summary, #table, canvas")
    assert len(usable) == 4 + 2 + 3 + 3 + 2
    assert [it.accessible_name for it in usable if not it.accessible_name.strip()] == []
    reached = set()
    for _ in range(20):
        page.switch_to.active_element.send_keys(Keys.TAB)
        reached.add(page.switch_to.active_element.accessible_name)
    assert {it.accessible_name for it in usable if it.tag_name != "canvas"} <= reached


def test_no_error_is_logged_and_no_request_leaves_the_page(page: Any) -> None:
    assert page.get_log("browser") == []
    sent = [json.loads(entry["message"])["message"] for entry in page.get_log("performance")]
    asked = [each["params"]["request"]["url"] for each in sent if each["method"] == "Network.requestWillBeSent"]
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


@takes_long  # python -m tests.bench.proof_page measures the whole
def test_a_page_grows_so_little_with_its_flakes_that_the_working_size_stays_under_3_mb(
    browser: Any, tmp_path: Path
) -> None:
    """A fiftieth of 50,000 flakes on 300 × 200 mm, as dense: 3 MB are 60 bytes a flake.

    The picture grows with the face and with the outlines' length, both of them with the flakes; what is the same
    for every page counts once only. `python -m tests.bench.proof_page` measures the whole.
    """
    setup_ = bench.setup()
    job = setup_.on(bench.block_of(bench.flakes(setup_, share=0.02), share=0.02))
    assert len(job.block.cuts) >= 950
    widths = land_widths(job.block, job.limits.land_mm)
    sheet = block_sheet([job], {"hand": checked(job)}, {}, [], widths=widths)
    path = tmp_path / "proof.html"
    path.write_text(proof_sheet_html(sheet), encoding="utf-8")
    bare = len(proof_sheet_html(replace(sheet, plates=[], width_map=None, cards=())).encode())
    assert (path.stat().st_size - bare) * bench.FLAKES / len(job.block.cuts) + bare < 3_000_000
    assert any(shown_ms(browser, path) < 1000 for _ in range(3))


@takes_long  # python -m tests.bench proof_page measures it
def test_thousands_of_findings_keep_the_page_small_and_quick(browser: Any, tmp_path: Path) -> None:
    """5,000 on a face of 300 × 200 mm; those that the list leaves out still have their rings."""
    rng = np.random.Generator(np.random.PCG64(1))
    result = [
        _finding(measured=0.1 + k / 1e5, at=(x, y)) for k, (x, y) in enumerate(rng.random((5000, 2)) * (300, 200))
    ]
    path = tmp_path / "proof.html"
    path.write_text(proof_sheet_html(replace(_sheet(), cards=_cards(*result))), encoding="utf-8")
    assert path.stat().st_size < 1_000_000
    assert any(shown_ms(browser, path) < 1000 for _ in range(3))
    assert browser.find_element(By.ID, "places-title").text == "Places to look at (5000)"
    assert "2000 more: see report.json" in browser.find_element(By.CSS_SELECTOR, ".card").get_attribute("textContent")
