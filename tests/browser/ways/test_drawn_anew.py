"""A sheet that is drawn anew keeps every element that is still on it, whatever comes and goes around it."""

from pathlib import Path

import pytest
from playwright.sync_api import Browser

MORPH = Path(__file__).resolve().parents[3] / "planning/static/planning/morph.js"
KEPT = """([before, after]) => {
  const [old, fresh] = [before, after].map((html) => {
    const box = document.createElement("div");
    box.innerHTML = html;
    return box;
  });
  const sheet = old.querySelector("details");
  sheet.open = true;
  morph(old, fresh);
  return [old.querySelector("details") === sheet && sheet.open, old.textContent.replace(/\\s+/g, " ").trim()];
}"""
BEFORE = """
  <p data-key="noted">noted</p>
  <ul><li>refused</li></ul>
  <details data-key="something"><summary>what</summary></details>
  <div>waits</div>
"""


@pytest.mark.parametrize(
    "after",
    [
        BEFORE.replace("<ul>", "<fieldset>a test</fieldset>\n  <ul>"),
        BEFORE.replace("<ul>", "<div>a change</div>\n  <ul>"),
        BEFORE.replace("<ul><li>refused</li></ul>", ""),
        BEFORE.replace('<p data-key="noted">noted</p>', '<p>due</p> <p data-key="noted">more</p>'),
        BEFORE.replace("<div>waits</div>", "<details><summary>soon</summary></details>"),
    ],
)
def test_what_is_open_stays_open_when_something_comes_before_it(chromium: Browser, after: str) -> None:
    page = chromium.new_page()
    page.add_script_tag(path=MORPH)
    is_kept, text = page.evaluate(KEPT, [BEFORE, after])
    shown = page.evaluate(
        "html => { document.body.innerHTML = html; return document.body.textContent; }", after
    )
    page.close()
    assert is_kept
    assert text == " ".join(shown.split())
