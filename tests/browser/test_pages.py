"""The review in a real browser: opens from disk, asks for nothing, sorts, reflows, prints."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.browser
PAGES = ("index.html", "sites/QM-001.html", "sites/QM-005.html", "sites/QM-006.html")


@dataclass
class Opened:
    page: Any
    asked: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)


@pytest.fixture
def opened(browser: Any, pages: Path, request: pytest.FixtureRequest) -> Iterator[Opened]:
    """A page of the review, with every request and every complaint of the browser noted."""
    name, options = request.param if isinstance(request.param, tuple) else (request.param, {})
    context = browser.new_context(**{"viewport": {"width": 1280, "height": 900}, **options})
    page = context.new_page()
    result = Opened(page)
    page.on("request", lambda asked: result.asked.append(asked.url))
    page.on("console", lambda said: result.complaints.append(said.text))
    page.on("pageerror", lambda error: result.complaints.append(str(error)))
    page.goto((pages / name).as_uri())
    yield result
    context.close()


@pytest.mark.parametrize("opened", PAGES, indirect=True)
def test_opens_from_disk_and_asks_for_nothing(opened: Opened) -> None:
    opened.page.wait_for_load_state("networkidle")
    assert opened.asked == [opened.page.url] and opened.page.url.startswith("file://")
    assert opened.complaints == []


@pytest.mark.parametrize("opened", ["index.html"], indirect=True)
def test_policy_stops_what_a_name_might_smuggle_in(opened: Opened) -> None:
    """The policy itself works: a script put into the page does not run."""
    opened.page.evaluate(
        "const s = document.createElement('script'); s.textContent = 'window.smuggled = 1'; document.body.append(s)"
    )
    assert opened.page.evaluate("window.smuggled") is None
    assert any("Content Security Policy" in text for text in opened.complaints)


@pytest.mark.parametrize("opened", ["index.html"], indirect=True)
def test_sorting(opened: Opened) -> None:
    page = opened.page
    head = page.locator("#turnover thead th", has_text="Turnovers a day")
    button = head.locator("button")
    names = page.locator("#turnover tbody th")
    assert head.get_attribute("aria-sort") is None
    button.focus()
    page.keyboard.press("Enter")
    assert head.get_attribute("aria-sort") == "ascending"
    assert names.first.inner_text() == "Sallow Street Baths"
    assert names.last.inner_text().startswith("<script>")  # unknown stays last, whichever way
    button.click()
    assert head.get_attribute("aria-sort") == "descending"
    assert names.first.inner_text() == "Alder Yard"
    assert names.last.inner_text().startswith("<script>")
    page.locator("#turnover thead button", has_text="Site").click()
    assert head.get_attribute("aria-sort") is None
    assert page.locator("#turnover thead th[aria-sort]").count() == 1
    assert opened.complaints == []


@pytest.mark.parametrize("opened", [("index.html", {"java_script_enabled": False})], indirect=True)
def test_complete_without_scripts(opened: Opened) -> None:
    assert opened.page.locator("button").count() == 0
    assert opened.page.locator("#actions-now tbody tr").count() == 2
    assert opened.page.locator("svg.carpet").count() == 7
    opened.page.locator("summary", has_text="P-3 in words").click()
    assert opened.page.get_by_text("unexplained run 00:00 to 24:00 at 3,450 rpm").is_visible()


@pytest.mark.parametrize(
    "opened", [(name, {"viewport": {"width": 320, "height": 640}}) for name in PAGES], indirect=True
)
def test_reflow_at_320_px(opened: Opened) -> None:
    """WCAG 2.2, 1.4.10 (from memory): no scrolling in two directions; wide tables scroll inside their own region."""
    assert opened.page.evaluate("document.documentElement.scrollWidth") == 320
    wide = opened.page.evaluate(
        "[...document.querySelectorAll('main *, header *')]"
        ".filter(e => !e.closest('.scroller, svg, .out, caption.quiet, .actions thead'))"
        ".filter(e => e.getBoundingClientRect().right > 320.5).map(e => e.tagName + '.' + e.className)"
    )
    assert wide == []


@pytest.mark.parametrize("opened", PAGES, indirect=True)
def test_targets_are_large_enough(opened: Opened) -> None:
    """WCAG 2.2, 2.5.8 (from memory): 24 by 24 px; links inside text are excepted."""
    small = opened.page.evaluate(
        "[...document.querySelectorAll('button, summary, nav a')].map(e => [e.textContent, e.getBoundingClientRect()])"
        ".filter(([, r]) => r.height && (r.height < 23.9 || r.width < 24))"
        ".map(([t, r]) => t + ' ' + r.width + ' ' + r.height)"
    )
    assert small == []


@pytest.mark.parametrize("opened", PAGES, indirect=True)
def test_text_contrast(opened: Opened) -> None:
    """WCAG 2.2, 1.4.3 (from memory): 4.5 to 1, computed for every piece of text from the colours the browser uses."""
    weak = opened.page.evaluate(CONTRAST)
    assert weak == []


CONTRAST = """() => {
  const parse = c => (c.match(/[\\d.]+/g) || []).map(Number);
  const light = ([r, g, b]) => [r, g, b].map(v => v / 255)
    .map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
    .reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
  const ratio = (a, b) => {
    const [x, y] = [light(a), light(b)].sort((p, q) => q - p);
    return (x + 0.05) / (y + 0.05);
  };
  const ground = e => {
    for (; e; e = e.parentElement) {
      const c = parse(getComputedStyle(e).backgroundColor);
      if (c.length === 3 || c[3] === 1) return c;
    }
    return [255, 255, 255];
  };
  const weak = [];
  for (const e of document.querySelectorAll('body *')) {
    if (e.closest('svg, script, .skip')) continue;
    if (![...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim())) continue;
    const r = ratio(parse(getComputedStyle(e).color), ground(e));
    if (!(r >= 4.5)) weak.push(e.tagName + '.' + e.className + ' ' + r);
  }
  for (const e of document.querySelectorAll('svg.carpet text')) {
    const under = e.classList.contains('pale') ? ['--s4', '--s5']
      : e.classList.contains('deep') ? ['--s1', '--s2', '--s3', '--paper'] : ['--paper'];
    for (const name of under) {
      const hex = getComputedStyle(document.documentElement).getPropertyValue(name).trim();
      const back = [1, 3, 5].map(i => parseInt(hex.slice(i, i + 2), 16));
      const r = ratio(parse(getComputedStyle(e).fill), back);
      if (!(r >= 4.5)) weak.push('text.' + e.getAttribute('class') + ' on ' + name + ' ' + r);
    }
  }
  return [...new Set(weak)];
}"""


@pytest.mark.parametrize("opened", ["index.html"], indirect=True)
def test_keyboard_reaches_the_content(opened: Opened) -> None:
    page = opened.page
    page.keyboard.press("Tab")
    skip = page.locator(".skip")
    assert skip.evaluate("e => e === document.activeElement && e.getBoundingClientRect().left >= 0")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"
    page.keyboard.press("Tab")
    outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
    assert outline == "solid"  # focus can be seen


@pytest.mark.parametrize("opened", [("index.html", {"forced_colors": "active"})], indirect=True)
def test_carpet_survives_forced_colours(opened: Opened) -> None:
    fills = opened.page.evaluate(
        "['s1', 's5'].map(c => { const e = document.querySelector('.legend .' + c); return getComputedStyle(e).fill; })"
    )
    paper = opened.page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert all(fill != paper for fill in fills)


@pytest.mark.parametrize("opened", PAGES, indirect=True)
def test_prints(opened: Opened, tmp_path: Path) -> None:
    target = tmp_path / "page.pdf"
    opened.page.pdf(path=str(target), prefer_css_page_size=True, print_background=True)
    assert target.read_bytes().startswith(b"%PDF-") and target.stat().st_size > 20_000
    opened.page.emulate_media(media="print")
    assert opened.page.locator(".skip").is_hidden()
    words = opened.page.locator("details p").first
    if words.count():
        assert words.bounding_box()["height"] > 0  # the words of a closed part are printed
