"""A person on a way through the pages, whose acts, page loads and fields are counted."""

from dataclasses import dataclass, field

from playwright.sync_api import Browser, Locator, Page

MOST_STEPS_OF_TAB = 80


@dataclass
class Walker:
    """Whoever walks: by pointer, or ``by_keyboard`` alone. A press, a tap or a field that is typed is one act."""

    page: Page
    by_keyboard: bool = False
    acts: int = 0
    loads: int = 0
    fields: int = 0
    said: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.page.on("domcontentloaded", lambda _: self._loaded())

    def _loaded(self) -> None:
        self.loads += 1

    def press(self, at: Locator) -> None:
        """Press a button, follow a link, or tick what ``at`` is."""
        self.acts += 1
        if not self.by_keyboard:
            # What is drawn over a radio button is part of its label, and takes the pointer for it.
            at.click(force=at.get_attribute("type") == "radio")
            return
        self._reach(at)
        is_radio = at.get_attribute("type") == "radio"
        self.page.keyboard.press("Space" if is_radio else "Enter")

    def type(self, at: Locator, text: str) -> None:
        self.acts += 1
        self.fields += 1
        if self.by_keyboard:
            self._reach(at)
            self.page.keyboard.press("Control+a")
            self.page.keyboard.type(text)
        else:
            at.fill(text)

    def choose_file(self, at: Locator, path: str) -> None:
        """Choose a file; what the system's own window asks is one act."""
        self.acts += 1
        self.fields += 1
        if self.by_keyboard:
            self._reach(at)
        at.set_input_files(path)

    def _reach(self, wanted: Locator) -> None:
        """Go on by Tab, and within a group by the arrow keys, until ``wanted`` has the focus."""
        for _ in range(MOST_STEPS_OF_TAB):
            if self._has_focus(wanted):
                return
            self.page.keyboard.press("Tab")
            if self._in_group_of(wanted):
                for _ in range(12):
                    if self._has_focus(wanted):
                        return
                    self.page.keyboard.press("ArrowRight")
        raise AssertionError(f"{wanted} is not reached by Tab")

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
