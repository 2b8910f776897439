"""What a page says, however its template breaks the lines."""

from typing import Any


def page_text(response: Any) -> str:
    """Return the markup of a page with every run of white space as one space, as a browser reads it."""
    return " ".join(response.content.decode().split())
