"""Pictures of the README: the report of a sample lot and of the sample swales, as a browser shows them.

Needs the packages of the test extra and Debian's chromium; pictures/ holds what it made.
"""

import tempfile
from datetime import date
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

from pipelines.deliverables.lot.written import lot_files
from pipelines.deliverables.swale.handover import write_swales
from pipelines.lot import screen_lot
from pipelines.swale import check_swale

HERE = Path(__file__).parent
PICTURES = HERE / "pictures"
CHROMIUM = "/usr/bin/chromium"
QUIET = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
         "--disable-background-networking", "--disable-component-update", "--disable-sync"]  # fmt: skip
MADE_ON = date(2025, 5, 1)
LOT, SWALES = "lot_01.toml", "swale.toml"


def main() -> None:
    """Screen the lot, check the swales, and take both pictures."""
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as scratch, sync_playwright() as playwright:
        lot, swales = Path(scratch) / "lot.html", Path(scratch) / "swales"
        lot_files(screen_lot(HERE / LOT), made_on=MADE_ON)["report.html"](lot)
        write_swales(check_swale(HERE / SWALES), swales, made_on=MADE_ON)
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        take(browser, lot, "#map .mapping", PICTURES / "lot_report.jpg", height=860)
        take(browser, swales / "report.html", "#profile-swale-2", PICTURES / "swale_report.jpg", height=900)
        browser.close()


def take(browser: Browser, page_file: Path, part: str, picture: Path, *, height: int) -> None:
    """Take a picture of one part of a page."""
    page = browser.new_page(viewport={"width": 1200, "height": height})
    page.goto(page_file.as_uri())
    # what sticks to the window's top would lie over the part
    page.evaluate("document.querySelector('nav').style.position = 'static'")
    page.locator(part).screenshot(path=picture, type="jpeg", quality=72)
    page.close()


if __name__ == "__main__":
    main()
