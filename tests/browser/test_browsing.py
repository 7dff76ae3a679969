"""The watch itself: what it must hear, and that it hears nothing where nothing is."""

import pytest
from browsing import Watch, axe_findings, drawn, sideways, tab_stops, visit

PAGE = """<!doctype html><html lang="en"><head><title>Page</title>
<meta name="viewport" content="width=device-width">
<meta http-equiv="content-security-policy" content="img-src 'none'"></head>
<body><main><h1>Page</h1><button>one</button><input aria-label="two">
<canvas width="60" height="40"></canvas></main></body></html>"""

TO_ELSEWHERE = {
    "http://127.0.0.1:9/f": "fetch('http://127.0.0.1:9/f').catch(() => 0)",
    "https://example.org/b": "navigator.sendBeacon('https://example.org/b', 'x')",
    "ws://example.org/": "new WebSocket('ws://example.org/')",
    "file:///etc/hostname": """document.body.insertAdjacentHTML('beforeend',
        '<iframe title="x" src="file:///etc/hostname"></iframe>')""",
    "https://example.org/w": "window.open('https://example.org/w')",
}
ERRORS = {
    "exception: thrown": "setTimeout(() => { throw Error('thrown'); }, 0)",
    "written": "console.error('written')",
    "content security policy: img-src": "new Image().src = 'https://example.org/i.png'",
    "past HTTP": "new RTCPeerConnection()",
}


@pytest.fixture
def page_file(tmp_path):
    path = tmp_path / "page.html"
    path.write_text(PAGE)
    return path.as_uri()


def test_a_quiet_page_is_quiet(browser, page_file):
    with visit(browser, page_file) as (page, watch):
        assert [stop["tag"] for stop in tab_stops(page)] == ["button", "input"]
        assert axe_findings(page) == []
        assert sideways(page) == []
        assert drawn(page.locator("canvas"))["inked"] == 0
    assert watch.fetched == [page_file]


def test_what_a_page_should_not_do_is_heard(browser, page_file):
    with visit(browser, page_file, quiet=False) as (page, watch):
        for script in (*TO_ELSEWHERE.values(), *ERRORS.values(), "alert('here')"):
            page.evaluate("() => { " + script + "; }")
        page.wait_for_timeout(500)
    assert set(watch.refused) == set(TO_ELSEWHERE)
    for error in ERRORS:
        assert any(error in told for told in watch.errors), (error, watch.errors)
    assert watch.dialogs == ["alert: here"]
    for heard, told in (("refused", "requests"), ("errors", "console"), ("dialogs", "dialogs")):
        with pytest.raises(AssertionError, match=told):
            Watch(**{heard: ["one"]}).assert_quiet()


def test_faults_of_a_page_are_found(browser, page_file):
    with visit(browser, page_file) as (page, _):
        page.evaluate("""() => {
          document.querySelector('input').removeAttribute('aria-label');
          document.querySelector('main').insertAdjacentHTML('beforeend',
            '<p id="wide" style="width: 3000px">wide</p>');
          document.querySelector('canvas').getContext('2d').fillRect(0, 0, 30, 40);
        }""")
        assert any("label" in it for it in axe_findings(page))
        assert any("P#wide" in it for it in sideways(page))
        assert drawn(page.locator("canvas"))["inked"] == pytest.approx(0.5)
