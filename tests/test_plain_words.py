"""The first layer of pages speaks the trade's plain words; the table of them stands in DEVELOPERS.md."""

import ast
import re
from pathlib import Path

HOUSE = Path(__file__).resolve().parents[1]
TEMPLATES = sorted(
    path
    for app in ("workshop", "inventory", "planning")
    for path in (HOUSE / app / "templates").rglob("*.html")
)
# What is not called so where anybody reads it first, and why it may stand where it does.
NOT_WORDS = re.compile(
    r"ΔE|\bgrades?\b|κ|probabilit|±|\bunknown\b|\boff[ -]colour\b|\bput-ups?\b|\btares?\b|anopia|\ballocated\b"
    r"|\btolerance\b|\bCroston\b|\b(?:slight|noticeable|clear|large) difference\b",
    re.IGNORECASE,
)
# Pages that explain the sums, and those where somebody measures with a meter or sets a machine up to them.
SUMS = {
    "help.html", "_help_colour.html", "_help_run.html", "_help_words.html",
    "strip.html", "strip_threads.html", "learned.html", "setup.html",
    "setup_record.html", "catalogue_record.html", "range_readings.html",
    "shade_colour.html", "json_keys.html",
}  # fmt: skip
# What stands behind "How was this found?", and two folds of a plan that are drawn or reckoned from the numbers.
BEHIND_A_LINE = {"_plan_found_colours.html", "_plan_pictures.html", "_instead.html"}
# Modules whose sentences stand on the first layer.
SENTENCES = (
    "planning/plan/banner.py",
    "planning/views/plan/shown.py",
    "planning/views/plan/ways.py",
    "planning/first_hour/so_far.py",
    "planning/first_hour/forms.py",
    "planning/first_hour/setting.py",
    "planning/day/agenda.py",
    "workshop/finding/everything.py",
    "inventory/compute/colour/seen.py",
)


def first_layer(template: str) -> str:
    """Return the words of a template that stand open: no tags, nothing that only programs read, nothing folded."""
    template = re.sub(r"""\{% translate (["'])(.*?)\1.*?%\}""", r"\2", template)
    words = re.sub(
        r"\{% comment %\}.*?\{% endcomment %\}|\{%.*?%\}|\{\{.*?\}\}|\{#.*?#\}", "", template, flags=re.DOTALL
    )
    words = re.sub(r"<summary", "\n<summary", words)
    folded = re.sub(r"(<details.*?<summary.*?</summary>).*?</details>", r"\1", words, flags=re.DOTALL)
    return re.sub(r'\b(?!alt|title|placeholder|aria-label|data-label)[\w-]+="[^"]*"', "", folded)


def sentences(path: Path) -> list[str]:
    """Return the texts of a module that people may read: those with a space in them that are no docstrings."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    told = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    return [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant)
        and isinstance(node.value, str)
        and id(node) not in told
        and " " in node.value.strip()
        and node.value not in ("off colour",)
    ]


def test_no_page_begins_with_a_word_of_the_sums() -> None:
    found = {
        path.name: sorted(set(NOT_WORDS.findall(first_layer(path.read_text(encoding="utf-8")))))
        for path in TEMPLATES
        if path.name not in SUMS | BEHIND_A_LINE
    }
    assert {name: words for name, words in found.items() if words} == {}


def test_no_sentence_of_the_first_layer_has_a_word_of_the_sums() -> None:
    found = {name: [text for text in sentences(HOUSE / name) if NOT_WORDS.search(text)] for name in SENTENCES}
    assert {name: texts for name, texts in found.items() if texts} == {}


def test_the_table_of_plain_words_names_every_word_that_is_looked_for() -> None:
    table = (HOUSE / "DEVELOPERS.md").read_text(encoding="utf-8").partition("## Plain words")[2]
    for word in (
        "ΔE",
        "grade",
        "κ",
        "probability",
        "±",
        "unknown",
        "off colour",
        "put-up",
        "tare",
        "protanopia",
        "clear difference",
    ):
        assert f"| {word}" in table or f", {word}" in table, word
        assert NOT_WORDS.search(word), word


def test_the_search_finds_words_and_passes_over_what_is_folded() -> None:
    assert NOT_WORDS.findall(first_layer("<p>The tare is unknown</p>")) == ["tare", "unknown"]
    assert NOT_WORDS.findall(first_layer("<details><summary>How?</summary><p>ΔE</p></details>")) == []
    assert NOT_WORDS.findall(first_layer('<p class="verdict-unknown">{{ unknown }} upgrade</p>')) == []
