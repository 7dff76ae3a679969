"""Pictures of report, page, sheet and card, to be looked at by people. Not a test.

    python tests/browser/shots.py FOLDER

Needs Chromium and, for the PDFs, `pdftoppm` (Debian: poppler-utils).
"""

import shutil
import subprocess
import sys
import tempfile
from contextlib import contextmanager
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))
from browsing import DESKTOP, FLAGS, PHONE, visit
from pages import served
from playwright.sync_api import sync_playwright

PAPER = {"width": 794, "height": 1123}  # A4 at 96 dots an inch
LONG_MS = 120_000
GREY = "document.documentElement.style.filter = 'grayscale(1)'"
SECTIONS = (
    "rp-answer",
    "rp-choose",
    "rp-map",
    "rp-grid",
    "rp-day",
    "rp-rose",
    "rp-stages",
    "rp-kit",
)


class Album:
    """Numbered pictures in a folder, each told on standard error."""

    def __init__(self, folder):
        self.folder, self.count = folder, 0

    def path(self, name, ending="png"):
        self.count += 1
        path = self.folder / f"{self.count:02d}-{name}.{ending}"
        sys.stderr.write(f"{path.name}\n")
        return path

    def screen(self, page, name, *, whole=False):
        page.wait_for_timeout(1_500)  # scrolling and the map take a moment
        page.screenshot(path=self.path(name), full_page=whole)


@contextmanager
def ready(browser, address, viewport, **how):
    with visit(browser, address, viewport=viewport, quiet=False, **how) as (page, watch):
        page.wait_for_selector("html[data-report=ready]", timeout=LONG_MS)
        yield page
    for said in (*watch.errors, *watch.refused, *watch.dialogs):
        sys.stderr.write(f"  said: {said}\n")


def shoot_report(browser, album, address):
    phone = {"viewport": PHONE, "has_touch": True, "is_mobile": True, "device_scale_factor": 2}
    with ready(browser, address, DESKTOP) as page:
        album.screen(page, "report-desktop-first-screen")
        album.screen(page, "report-desktop-whole", whole=True)
        for name in SECTIONS:
            page.locator(f"#{name}").scroll_into_view_if_needed()
            page.wait_for_timeout(300)
            page.locator(f"#{name}").screenshot(path=album.path(f"report-desktop-{name[3:]}"))
        page.click("#rp-by-verdict")
        page.check("#rp-show-drift")
        page.select_option("#rp-launch", "100")
        page.locator("#rp-map").screenshot(path=album.path("report-desktop-map-other-launch"))
        page.locator("#rp-day").screenshot(path=album.path("report-desktop-day-other-launch"))
    with ready(browser, address, DESKTOP) as page:
        page.evaluate(GREY)
        album.screen(page, "report-grey-first-screen")
        for name in ("rp-map", "rp-grid", "rp-day"):
            page.locator(f"#{name}").screenshot(path=album.path(f"report-grey-{name[3:]}"))
    with ready(browser, address, **phone) as page:
        album.screen(page, "report-phone-first-screen")
        for name in SECTIONS:
            page.evaluate(f"document.getElementById('{name}').scrollIntoView()")
            album.screen(page, f"report-phone-{name[3:]}")
    with ready(browser, address, PAPER) as page:
        page.emulate_media(media="print")
        page.pdf(path=(paper := album.path("report-paper", "pdf")), format="A4")
        shoot_pdf(album, paper, grey=True)
    with visit(browser, address, java_script_enabled=False) as (page, _):
        album.screen(page, "report-without-scripts", whole=True)


def shoot_page(browser, album, address, folder):
    with visit(browser, address, quiet=False) as (page, _):
        album.screen(page, "page-start", whole=True)
        page.click("#open-demo-button")
        page.wait_for_selector("#working")
        album.screen(page, "page-working")
        page.wait_for_selector("#controls", timeout=LONG_MS)
        trip = page.url
    with ready(browser, trip, DESKTOP, accept_downloads=True) as page:
        album.screen(page, "page-trip-first-screen")
        page.locator("#rp-controls").screenshot(path=album.path("page-controls"))
        page.fill("#limit_gust", "9")
        page.press("#limit_gust", "Tab")
        page.wait_for_timeout(400)
        page.locator("#rp-controls").screenshot(path=album.path("page-controls-busy"))
        page.wait_for_selector("#controls[data-busy=no]", timeout=LONG_MS)
        page.evaluate("window.scrollTo(0, 0)")
        album.screen(page, "page-trip-stricter")
        page.fill("#limit_gust", "plenty")
        page.press("#limit_gust", "Tab")
        page.wait_for_selector("#error:not([hidden])")
        page.locator("#rp-controls").screenshot(path=album.path("page-controls-refused"))
        for link in page.locator("#downloads a").all():
            with page.expect_download(timeout=LONG_MS) as coming:
                link.click()
            coming.value.save_as(folder / coming.value.suggested_filename)
    with ready(browser, trip, PHONE, is_mobile=True, has_touch=True) as page:
        album.screen(page, "page-phone-first-screen")
        page.evaluate("document.getElementById('controls').scrollIntoView()")
        album.screen(page, "page-phone-controls")
        page.evaluate(GREY)
        album.screen(page, "page-phone-controls-grey")
    with visit(browser, address, viewport=PHONE, is_mobile=True) as (page, _):
        album.screen(page, "page-phone-start", whole=True)


def shoot_pdf(album, pdf, *, grey=False):
    if not shutil.which("pdftoppm"):
        sys.stderr.write("no pdftoppm: PDFs are not turned into pictures\n")
        return
    how = ["-gray"] if grey else []
    start = album.folder / f"{pdf.stem}-page"
    subprocess.run(["pdftoppm", "-r", "110", "-png", *how, str(pdf), str(start)], check=True)


def main(folder):
    folder.mkdir(parents=True, exist_ok=True)
    album = Album(folder)
    got = folder / "files"
    got.mkdir(exist_ok=True)
    with (
        tempfile.TemporaryDirectory() as room,
        served(Path(room)) as address,
        sync_playwright() as driver,
    ):
        browser = driver.chromium.launch(executable_path=shutil.which("chromium"), args=[*FLAGS])
        shoot_page(browser, album, address, got)
        shoot_report(browser, album, (got / "report.html").resolve().as_uri())
        browser.close()
    for name in ("sheet.pdf", "card.pdf"):
        shutil.copy(got / name, paper := album.path(name.removesuffix(".pdf"), "pdf"))
        shoot_pdf(album, paper)


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    main(Path(sys.argv[1]))
