"""Every text that people read is marked for translation: in templates and scripts as they are written, and on pages."""

import json
import re
from pathlib import Path

import pytest

from fixtures.catalogues import write_marks
from tests.own_database import HOUSE, own_database, run_in

APPS = ("workshop", "inventory", "planning")
# Folders of templates, scripts, and routes of pages whose texts are still to be marked; each list only gets shorter.
TEMPLATES_TO_MARK: tuple[str, ...] = ("inventory/templates/", "planning/templates/")
SCRIPTS_TO_MARK: frozenset[str] = frozenset({"marking.js", "pocket.js"})
PAGES_TO_MARK: frozenset[str] = frozenset(
    {
        "act", "acts", "buying", "catalogue", "catalogue_add", "catalogue_list", "catalogue_record",
        "confirm_delete_job", "cut_sheet", "cut_together", "design", "design_appliques",
        "design_colour_list", "design_colours", "design_colours_copy", "design_colours_take_back",
        "design_delete", "design_describe", "design_import", "designs", "edit_job", "equivalents", "files",
        "finish_job", "first_colours", "first_hour", "first_machine", "gap_map", "help", "item", "job",
        "job_hoopings", "job_report", "jobs", "json_keys", "keep_job", "labels", "learned", "looking_back",
        "material", "measure_first", "names_job", "order", "orders", "own", "own_list", "plan_sheet",
        "pocket", "quote", "range_readings", "receive", "receive_first", "remembered_colours", "run_sheet",
        "running_out", "same_again", "scan", "setup", "setup_add", "setup_record", "setup_rules",
        "shade_acts", "shade_colour", "shade_equivalents", "shelf", "shelf_list", "stocktake",
        "stocktake_report", "stocktakes", "strip", "strip_threads", "take_back", "today", "what_if_first",
    }
)  # fmt: skip
# Routes of pages whose drawings have a decimal comma.
SHAPES_TO_MEND: frozenset[str] = frozenset({"gap_map"})
# Templates that hold no sentences: a shell's commands, for programs.
FOR_A_SHELL = {"workshop/templates/workshop/_curl_weighs.html"}

BLOCKS = re.compile(
    r"\{% comment %\}.*?\{% endcomment %\}|\{#.*?#\}|\{% blocktranslate.*?\{% endblocktranslate %\}"
    r"|<(script|style|code|kbd|pre)\b.*?</\1>",
    re.DOTALL,
)
TAG = re.compile(
    r"\{%\s*(?P<name>\w+)(?P<rest>(?:\"[^\"]*\"|'[^']*'|[^%]|%(?!\}))*)%\}|\{\{(?P<shown>.*?)\}\}", re.DOTALL
)
# Words in quotes within a tag or a variable that no _() takes: arguments of an include, defaults.
IN_QUOTES = re.compile(r"""(?<!_\()(?<!\w)"(?P<words>[^"{}]*)\"""")
READ = re.compile(
    r"""\b(?:title|aria-label|placeholder|alt|aria-description|data-label|data-once|hx-confirm|label|data-say[\w-]*)"""
    r"""="(?P<words>[^"]*)\""""
)
WORDS = re.compile(r"[A-Za-z]{2,}")
SENTENCE = re.compile(r"[A-Za-z]{2,} [a-z]{2,}")
OURS = re.compile(r"(?:· )?Enough Thread")
LOGIC = {
    "if",
    "elif",
    "load",
    "extends",
    "url",
    "static",
    "icon",
    "for",
    "block",
    "translate",
    "comment",
    "now",
}


def unmarked_in(written: str) -> list[str]:
    """Return what a template says outside of marks: text, attributes that are read, words handed on to others.

    >>> unmarked_in('<p title="A word">{% translate "Marked" %} not <b>marked</b></p>')
    ['A word', 'not', 'marked']
    >>> unmarked_in('{{ at|default:"not yet" }}{{ n }} row{{ n|pluralize }}')
    ['not yet', '|pluralize', 'row']
    """
    text, found = BLOCKS.sub("", written), []
    for tag in TAG.finditer(text):
        if tag["shown"] is not None or tag["name"] not in LOGIC:
            said = tag["shown"] if tag["shown"] is not None else tag["rest"]
            found += [each["words"] for each in IN_QUOTES.finditer(said) if SENTENCE.search(each["words"])]
        if "|pluralize" in tag.group():
            found.append("|pluralize")
    text = TAG.sub("", text)
    found += [each["words"] for each in READ.finditer(text) if WORDS.search(each["words"])]
    text = OURS.sub("", re.sub(r"&\w+;", " ", re.sub(r"<[^>]*>", "\n", text)))
    return found + [line.strip() for line in text.split("\n") if WORDS.search(line)]


def templates() -> list[Path]:
    return [
        path
        for app in APPS
        for path in sorted((HOUSE / app / "templates").rglob("*"))
        if path.suffix in {".html", ".txt"}
    ]


def test_no_template_says_what_is_not_marked() -> None:
    found = {}
    for path in templates():
        name = path.relative_to(HOUSE).as_posix()
        if not name.startswith(TEMPLATES_TO_MARK) and name not in FOR_A_SHELL:
            said = unmarked_in(path.read_text(encoding="utf-8"))
            found |= {name: said} if said else {}
    assert found == {}


def sentences_in(script: str) -> list[str]:
    """Return what a script says in words of its own, but for what it tells whoever mends it.

    >>> sentences_in('x.textContent = "Nothing was lost."; // "A remark"')
    ['Nothing was lost.']
    >>> sentences_in('console.warn("Nothing is kept", y); fetch("/a", {method: "POST"}); b = "Close"')
    ['Close']
    """
    bare = re.sub(r"(?m)(?:^|\s)//.*$", "", re.sub(r"console\.warn\([^;]*;", "", script))
    literals = re.findall(r'"((?:[^"\\\n]|\\.)*)"|`((?:[^`\\]|\\.)*)`', bare)
    said = ["".join(each) for each in literals]
    return [
        each for each in said if re.match(r"[A-Z][a-z]+(?:[ .,:;?!]|$)", re.sub(r"<[^>]*>", "", each).strip())
    ]


def test_no_script_says_what_does_not_stand_on_its_page() -> None:
    scripts = [path for app in APPS for path in sorted((HOUSE / app).rglob("*.js"))]
    assert len(scripts) > 5
    found = {path.name: sentences_in(path.read_text(encoding="utf-8")) for path in scripts}
    assert {name: said for name, said in found.items() if said and name not in SCRIPTS_TO_MARK} == {}


@pytest.mark.thorough
@pytest.mark.django_db(transaction=True)
def test_no_page_says_what_is_not_marked_and_each_is_the_same_in_every_language(tmp_path: Path) -> None:
    """In a process of its own, on a workshop of its own: catalogues are read once."""
    write_marks(tmp_path / "marks")
    with own_database(tmp_path) as environment:
        answer = run_in(
            environment, "-m", "tests.workshop.languages.every_page", str(tmp_path / "marks"), timeout_s=900
        )
    looked = json.loads(answer)
    assert looked["pages"] > 80
    assert {route: said for route, said in looked["unmarked"].items() if route not in PAGES_TO_MARK} == {}
    assert {route: each for route, each in looked["shapes"].items() if route not in SHAPES_TO_MEND} == {}
