"""Files dropped on a page as from a desktop."""

import base64

from playwright.sync_api import Page

DROP = """files => {
  const data = new DataTransfer();
  for (const [name, content] of files)
    data.items.add(new File([Uint8Array.from(atob(content), c => c.charCodeAt(0))], name));
  return data;
}"""


def drop(page: Page, files: list[tuple[str, bytes]]) -> None:
    """Drop files, each with its name, on the page."""
    encoded = [[name, base64.b64encode(content).decode()] for name, content in files]
    data = page.evaluate_handle(DROP, encoded)
    page.locator(".drop").dispatch_event("drop", {"dataTransfer": data})
