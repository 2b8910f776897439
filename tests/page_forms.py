"""The forms of a page as a browser would send them."""

from html.parser import HTMLParser

NOT_SENT = {"submit", "button", "file"}
TICKED = {"checkbox", "radio"}


class Forms(HTMLParser):
    """The forms of a page: where each goes, and what it would send as it stands."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str]]] = []
        self._choosing = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.found.append((given.get("action", "").partition("#")[0], {}))
        if not self.found:
            return
        fields, name = self.found[-1][1], given.get("name", "")
        kind = given.get("type")
        if tag == "input" and name and kind not in NOT_SENT and (kind not in TICKED or "checked" in given):
            fields[name] = given.get("value", "on" if kind in TICKED else "")
        elif tag == "textarea" and name:
            fields[name] = ""
        elif tag == "select":
            self._choosing = "" if "multiple" in given else name
        elif tag == "option" and self._choosing and ("selected" in given or self._choosing not in fields):
            fields[self._choosing] = given.get("value", "")

    def handle_endtag(self, tag: str) -> None:
        if tag == "select":
            self._choosing = ""

    def to(self, address: str, **wanted: str) -> dict[str, str] | None:
        """Return the fields of the first form that goes to ``address`` and holds what is ``wanted``."""
        for action, fields in self.found:
            if action == address and all(fields.get(name) == value for name, value in wanted.items()):
                return fields
        return None
