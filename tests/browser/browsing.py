"""What the browser tests share: a watched visit, and questions asked of a page."""

from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

# Root may not use the sandbox; the rest keeps Chromium from calling home by itself.
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    # No name is looked up; loopback is given as an address, so nothing needs one.
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
)
DESKTOP = {"width": 1280, "height": 900}
PHONE = {"width": 360, "height": 740}
INSIDE = ("data", "blob", "about")  # schemes that fetch nothing

# Playwright has no events for these: the page says them on the console, where they are errors.
_TELL = """
document.addEventListener('securitypolicyviolation', event => {
  console.error('content security policy: ' + event.violatedDirective + ' refused '
    + (event.blockedURI || 'inline') + ' ' + event.sourceFile + ':' + event.lineNumber);
});
window.RTCPeerConnection = class {
  constructor() { console.error('a connection past HTTP was opened'); }
};
"""


@dataclass
class Watch:
    """What happened during a visit that should not have."""

    fetched: list[str] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    dialogs: list[str] = field(default_factory=list)

    def attach(self, page):
        page.on("console", self._console)
        page.on("pageerror", lambda error: self.errors.append(f"exception: {error}"))
        page.on("dialog", self._dialog)
        page.on("websocket", lambda socket: self.refused.append(socket.url))

    def _console(self, message):
        if message.type in {"error", "warning"}:
            self.errors.append(f"{message.type}: {message.text} {message.location}")

    def _dialog(self, dialog):
        self.dialogs.append(f"{dialog.type}: {dialog.message}")
        dialog.dismiss()

    def assert_quiet(self):
        assert self.refused == [], "requests to elsewhere"
        assert self.errors == [], "errors or warnings in the browser's console"
        assert self.dialogs == [], "dialogs"


@contextmanager
def visit(browser, url, *, viewport=DESKTOP, quiet=True, **context):
    """Open an address watched: gives page and watch; at the end all must have been quiet.

    Only the address itself may be fetched when it is a file, and only its host when it is not;
    anything else is refused and reported.
    """
    there = urlsplit(url)

    def decide(route):
        asked = urlsplit(route.request.url)
        own = (
            route.request.url.split("#")[0] == url
            if there.scheme == "file"
            else (asked[:2] == there[:2])
        )
        if own or asked.scheme in INSIDE:
            watch.fetched.append(route.request.url)
            route.continue_()
        else:
            watch.refused.append(route.request.url)
            route.abort()

    watch = Watch()
    opened = browser.new_context(viewport=viewport, service_workers="block", **context)
    try:
        opened.route("**/*", decide)
        opened.add_init_script(_TELL)
        opened.on("page", watch.attach)
        page = opened.new_page()
        page.goto(url)
        yield page, watch
        if quiet:
            watch.assert_quiet()
    finally:
        opened.close()


# --- what is drawn ------------------------------------------------------------------------

_DRAWN = """canvas => {
  const {width, height} = canvas;
  if (!width || !height) return {colours: 0, inked: 0};
  const copy = new OffscreenCanvas(width, height).getContext('2d', {willReadFrequently: true});
  copy.drawImage(canvas, 0, 0);
  const data = copy.getImageData(0, 0, width, height).data;
  const counts = new Map();
  for (let i = 0; i < data.length; i += 4) {
    const key = (data[i] << 24 | data[i + 1] << 16 | data[i + 2] << 8 | data[i + 3]) >>> 0;
    counts.set(key, (counts.get(key) || 0) + 1);
  }
  const ground = Math.max(...counts.values());
  let sum = 0;
  for (let i = 0; i < data.length; i += 1) sum = (sum * 31 + data[i]) >>> 0;
  return {colours: counts.size, inked: 1 - ground / (width * height), sum};
}"""


def drawn(canvas):
    """Colours on a canvas, share of it that is not ground, and a checksum of its pixels."""
    return canvas.evaluate(_DRAWN)


def is_grey(picture):
    """Whether every pixel of a PNG is a grey, nearly."""
    import io

    import numpy as np
    from matplotlib.image import imread

    rgb = imread(io.BytesIO(picture))[..., :3]
    return bool(np.ptp(rgb, axis=-1).max() < 0.02)


# --- layout, keyboard, accessibility --------------------------------------------------------


def sideways(page):
    """Elements that stick out to the right of the page, when it scrolls sideways."""
    return page.evaluate(
        """() => {
          const wide = document.documentElement.clientWidth;
          if (document.documentElement.scrollWidth <= wide) return [];
          const out = [...document.querySelectorAll('body *')]
            .filter(it => it.getBoundingClientRect().right > wide + 1)
            .map(it => it.tagName + '#' + it.id + '.' + it.className);
          return [`page is ${document.documentElement.scrollWidth} wide`, ...out.slice(0, 10)];
        }"""
    )


_FOCUSED = """() => {
  let it = document.activeElement;
  while (it && it.shadowRoot && it.shadowRoot.activeElement) it = it.shadowRoot.activeElement;
  if (!it || it === document.body) return null;
  const box = it.getBoundingClientRect();
  const style = getComputedStyle(it);
  return {tag: it.tagName.toLowerCase(), id: it.id, name: it.getAttribute('name') || '',
    text: (it.getAttribute('aria-label') || it.textContent || '').trim().slice(0, 60),
    seen: box.width > 0 && box.height > 0,
    marked: style.outlineStyle !== 'none' || style.boxShadow !== 'none'};
}"""


def tab_stops(page, limit=200):
    """What the tab key reaches from the top of the page, until it leaves the page or repeats."""
    page.evaluate("() => { window.scrollTo(0, 0); document.activeElement?.blur?.(); }")
    stops = []
    for _ in range(limit):
        page.keyboard.press("Tab")
        stop = page.evaluate(_FOCUSED)
        if stop is None or (stops and stop == stops[0]):
            break
        stops.append(stop)
    return stops


def axe_findings(page, *, impacts=("serious", "critical"), without=()):
    """Findings of axe-core on what is shown now, one line each with the elements meant.

    `without` names rules that are left out.
    """
    import axe_playwright_python

    script = Path(axe_playwright_python.__file__).with_name("axe.min.js")
    page.evaluate(script.read_text(encoding="utf-8"))
    found = page.evaluate(
        """without => axe.run(document, {
          resultTypes: ['violations'],
          rules: Object.fromEntries(without.map(name => [name, {enabled: false}])),
        })""",
        without,
    )
    assert found["passes"], "axe-core judged nothing"
    return [
        f"{it['impact']} {it['id']}: {it['help']}: "
        + "; ".join(f"{n['target']} {n['html'][:120]}" for n in it["nodes"][:4])
        for it in found["violations"]
        if it["impact"] in impacts
    ]
