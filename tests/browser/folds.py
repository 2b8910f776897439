"""What waits behind a line on a page, opened as a person would who wants to see all of it."""

from playwright.sync_api import Page


def unfold(page: Page) -> None:
    """Open every fold of a page."""
    page.locator("main").wait_for()
    page.evaluate("document.querySelectorAll('details.fold').forEach(each => { each.open = true })")
