"""Pages without what only whoever reads their templates needs."""

import re

from django import template
from django.utils.safestring import SafeString, mark_safe

register = template.Library()

# What is written in these stands as it was written.
_AS_WRITTEN = re.compile(r"(<(pre|textarea)\b.*?</\2>)", re.DOTALL)
_INDENTS = re.compile(r"(?<=>)\s*\n\s*|\s*\n\s*(?=<)")


@register.simple_block_tag
def without_indents(content: str) -> SafeString:
    """Return what is enclosed with every break of lines beside a tag as one, without the spaces about it.

    A page shows the same: an eighth of a long one is what its templates are indented with.

    >>> _lean("<ul>\\n  <li>\\n    a b\\n  </li>\\n</ul><pre>a\\n  b</pre>")
    '<ul>\\n<li>\\na b\\n</li>\\n</ul><pre>a\\n  b</pre>'
    """
    return mark_safe(_lean(content))


def _lean(content: str) -> str:
    # The split gives what lies between, what stands as written, and its tag, in turn.
    parts = _AS_WRITTEN.split(content)
    parts[::3] = [_INDENTS.sub("\n", between) for between in parts[::3]]
    del parts[2::3]
    return "".join(parts)
