"""A person on a way through the pages, whose acts, page loads and fields are counted."""

from collections.abc import Callable
from dataclasses import dataclass

import pytest
from playwright.sync_api import Browser, Error, Locator, Page

MOST_STEPS_OF_TAB = 80


@dataclass(frozen=True)
class Way:
    """How somebody goes through the pages."""

    name: str
    width: int
    by_keyboard: bool = False
    javascript: bool = True


FOUR_WAYS = pytest.mark.parametrize(
    "way",
    [
        Way("at the desk", 1280),
        Way("on a phone", 360),
        Way("by keyboard alone", 1280, by_keyboard=True),
        Way("on a phone without JavaScript", 360, javascript=False),
    ],
    ids=lambda way: way.name.replace(" ", "-"),
)


@dataclass
class Walker:
    """Whoever walks: by pointer, or ``by_keyboard`` alone. A press, a tap or a field that is typed is one act.

    What an act changed in place is looked at before the next one: the focus must not have fallen to the page.
    """

    page: Page
    by_keyboard: bool = False
    javascript: bool = True
    acts: int = 0
    loads: int = 0
    fields: int = 0

    def __post_init__(self) -> None:
        self.page.on("domcontentloaded", lambda _: self._loaded())

    def _loaded(self) -> None:
        self.loads += 1

    def press(self, at: Locator) -> None:
        """Press a button, follow a link, or tick what ``at`` is."""
        self._act(at)
        if not self.by_keyboard:
            # What is drawn over a radio button is part of its label, and takes the pointer for it.
            at.click(force=at.get_attribute("type") == "radio")
            return
        self._reach(at)
        is_radio = at.get_attribute("type") == "radio"
        self.page.keyboard.press("Space" if is_radio else "Enter")

    def send(self, button: Locator) -> None:
        """Send the form that was typed into last: by Enter where there is a keyboard, by its ``button`` elsewhere."""
        if self.by_keyboard:
            self._act()
            self.page.keyboard.press("Enter")
        else:
            self.press(button)

    def choose(self, at: Locator, called: str) -> None:
        """Choose what is ``called`` so from a list."""
        self._act(at)
        self.fields += 1
        if self.by_keyboard:
            self._reach(at)
            self.page.keyboard.type(called)
        else:
            at.focus()  # as a tap does
            at.select_option(label=called)

    def type(self, at: Locator, text: str) -> None:
        self._act(at)
        self.fields += 1
        if self.by_keyboard:
            self._reach(at)
            self.page.keyboard.press("Control+a")
            self.page.keyboard.type(text)
        else:
            at.fill(text)

    def choose_file(self, at: Locator, path: str) -> None:
        """Choose a file; what the system's own window asks is one act."""
        self._act(at)
        self.fields += 1
        if self.by_keyboard:
            self._reach(at)
        else:
            at.focus()  # as a tap does
        at.set_input_files(path)

    def _act(self, at: Locator | None = None) -> None:
        if at is not None:
            at.wait_for(state="attached")
        self.keeps_the_focus()
        self.acts += 1
        if self.javascript:
            self._ask("number => { window.acted = number; }", self.acts)

    def keeps_the_focus(self) -> None:
        """See that what the last act changed in place did not take the focus away.

        A page that was loaded since has not seen that act: its focus is its own.
        """
        if not self.javascript or not self.acts:
            return
        fell = self._ask(
            "number => window.acted === number && document.activeElement === document.body", self.acts
        )
        assert not fell, f"after act {self.acts} the focus fell to the page"

    def _ask(self, question: str, given: int) -> object:
        """Return what the page says, or the next one where it was about to go."""
        try:
            return self.page.evaluate(question, given)
        except Error as problem:
            if "context was destroyed" not in str(problem):
                raise
        self.page.wait_for_load_state()
        return self.page.evaluate(question, given)

    def _reach(self, wanted: Locator) -> None:
        """Go on by Tab, and within a group by the arrow keys, until ``wanted`` has the focus."""
        passed = []
        for _ in range(MOST_STEPS_OF_TAB):
            if self._has_focus(wanted):
                return
            passed.append(self.page.evaluate("document.activeElement.outerHTML.slice(0, 60)"))
            self.page.keyboard.press("Tab")
            if self._in_group_of(wanted):
                for _ in range(12):
                    if self._has_focus(wanted):
                        return
                    self.page.keyboard.press("ArrowRight")
        raise AssertionError(f"{wanted} is not reached by Tab, which passed {passed}")

    def _has_focus(self, wanted: Locator) -> bool:
        return bool(wanted.evaluate("each => each === document.activeElement"))

    def _in_group_of(self, wanted: Locator) -> bool:
        return bool(
            wanted.evaluate(
                "each => each.type === 'radio' && document.activeElement.type === 'radio'"
                " && document.activeElement.name === each.name && document.activeElement.form === each.form"
            )
        )

    def told(self) -> str:
        return f"{self.acts} acts, {self.loads} page loads, {self.fields} fields"


def walking(visit: Callable[..., Page], way: Way) -> Walker:
    """Return somebody who goes this way, on a page of their own."""
    page = visit(width=way.width, javascript=way.javascript)
    return Walker(page, by_keyboard=way.by_keyboard, javascript=way.javascript)


def visiting(chromium: Browser, url: str, *, width: int, javascript: bool = True) -> Page:
    """Return a fresh visit on a screen so wide, with scripts or without."""
    context = chromium.new_context(
        base_url=url,
        viewport={"width": width, "height": 900 if width > 500 else 780},
        has_touch=width < 500,
        java_script_enabled=javascript,
    )
    page = context.new_page()
    page.set_default_timeout(60_000)
    return page
