"""Sentences with a number say one thing as one: those that name things by their number are counted."""

import re
from pathlib import Path

import pytest
from babel.messages.pofile import read_po

from planning.compute.certainty.learned import InsideBand
from planning.facts.learning import kept_in_words

HOUSE = Path(__file__).resolve().parents[3]
THINGS = (
    "pieces|spools|rows|jobs|colours|blocks|threads|stitches|files|designs|names|bobbins|rolls|strips|packs|"
    "hoopings|needles|changes|orders|offcuts|shades|ranges|labels|days|weeks|hours|minutes|entries|things|items|"
    "weigh-backs|readings|copies|tags|parts|movements|cells|stops|lines|lists|tables|photographs|records|trims"
)
COUNTED = re.compile(rf"(?:\{{(\w+)\}}|%\((\w+)\)[sd]) (?:more |other |bad |full |new )?(?:{THINGS})\b")
# Numbers that a sentence has as the most or the least there may be.
LIMITS = {
    "most",
    "longest",
    "least",
    "fewest",
    "limit",
    "seconds",
    "most_rows",
    "most_lines",
    "most_tags",
    "bytes",
}
# What is refused for its number, whatever that is.
REFUSED = re.compile(r"cannot be|; give|too many|or more\b|; list one|give \w+ for each", re.IGNORECASE)
# Where a number of things is never one, or a sentence for one stands beside it.
NEVER_ONE = {
    "file_sentences.py": "stitches of a whole file, or of one that is damaged; the sentence for one stands beside",
    "suppliers.py": "the first pack has no step of its own",
    "landing.py": "beyond the most that a list may have",
    "workbooks.py": "a workbook has a dozen parts at least",
    "unpacking.py": "beyond the most that is unpacked",
    "pocket.html": "the sentence for one stands beside",
    "_run_words.html": "the sentence for one stands beside",
    "_house_words.html": "several files, where one is taken",
    "counts.py": "beyond what is plausible",
    "_design_stitch_outs.html": "a density",
    "_worked.html": "a density",
    "recipes.py": "a density",
    "design_import_run.html": "the heading of one file stands beside",
    "setup_record.html": "stitches of a needle's life",
    "setup.py": "stitches of a needle's life",
    "run_sheet.html": "stitches of a needle's life",
    "_buying_part.html": "lines beyond those that are shown",
    "_buying_need_row.html": "jobs beyond five",
    "_jobs_rows.html": "jobs of several pages",
    "_design_formats.html": "two files or more",
    "_plan_time_and_cost.html": "said where several lie in a hooping",
    "_run_next.html": "said where a stitch stands for several",
    "_today_running.html": "said where a stitch stands for several",
    "cut_sheet.html": "together one is missing at least, and apart more",
    "strip.html": "stitches of a strip",
    "strip_threads.html": "stitches of a strip",
    "strip_threads.py": "stitches of a strip",
    "test_strip.py": "stitches of a strip",
    "gap_map.html": "colours of the catalogue",
    "gap_map.py": "suggestions beside others",
    "_stitched_with.html": "a speed",
    "sheet.py": "a speed",
    "hooping.py": "parts of what is split",
    "_design_colours.html": "three blocks or threads and more",
    "_design_alike.html": "stitches of a design",
    "design_appliques.py": "stitches of a part",
    "signatures.py": "stitches of a design",
    "reorder_words.py": "a quarter of a year of weeks",
    "buying.py": "weeks of a history",
    "running_out.html": "weeks of a drawing",
    "sentences.py": "the sentence for one stands beside",
    "stabilizer.py": "the sentence for one stands beside, or what is missing of several",
    "learning.py": "the sentence for one stands beside",
    "lists.py": "the sentence for one stands beside",
    "naming.py": "two designs or more",
    "_jobs_calendar.html": "hours of a working day",
    "copies.py": "a grid of several",
    "sound.py": "what a doctor finds is said in figures",
    "finish.py": "fewer minutes than a batch takes",
    "pictures.py": "stitches of a design, or colours of several blocks",
    "setting.py": "the name of one needle stands beside",
    "bobbins_counted.py": "what was typed is quoted",
    "basket.py": "the sentence for one stands beside",
    "demo.py": "the demo's own numbers",
    "__init__.py": "a shelf with stock of its own",
    "offline.py": "two days or more: below stand hours",
    "move_database.py": "rows of a whole database",
    "locked_out.html": "minutes of the settings",
    "reset_mail.txt": "hours of the settings",
}


def sentences_with_a_number() -> list[tuple[str, str]]:
    """Return the marked sentences that name things by a number and have no form for one, with where they stand."""
    found = []
    for app in ("inventory", "planning", "workshop"):
        with (HOUSE / app / "locale" / "de" / "LC_MESSAGES" / "django.po").open("rb") as written:
            catalogue = read_po(written)
        for message in catalogue:
            if not isinstance(message.id, str) or not message.id or REFUSED.search(message.id):
                continue
            if {one or other for one, other in COUNTED.findall(message.id)} - LIMITS:
                found += [(Path(place).name, message.id) for place, _line in message.locations]
    return found


def test_a_sentence_that_counts_things_has_a_form_for_one() -> None:
    assert [each for each in sentences_with_a_number() if each[0] not in NEVER_ONE] == []


def test_what_is_excused_is_still_there() -> None:
    assert set(NEVER_ONE) - {where for where, _text in sentences_with_a_number()} == set()


@pytest.mark.parametrize(
    ("of", "inside", "said"),
    [
        (1, 1, "The one weigh-back so far fell inside the 95 % band."),
        (1, 0, "The one weigh-back so far fell outside the 95 % band."),
        (12, 11, "Of the last 12 weigh-backs, 11 fell inside the 95 % band."),
    ],
)
def test_one_weigh_back_is_told_as_one(of: int, inside: int, said: str) -> None:
    assert kept_in_words(InsideBand(of, inside)).startswith(said)


# What counts with words that are alike for one and for several.
ALIKE = {"%(spare)s spare", "%(n)s to mend."}


def test_the_form_for_one_is_another_than_the_form_for_several() -> None:
    alike = []
    for app in ("inventory", "planning", "workshop"):
        with (HOUSE / app / "locale" / "de" / "LC_MESSAGES" / "django.po").open("rb") as written:
            for message in read_po(written):
                if isinstance(message.id, list | tuple) and message.id[0] == message.id[1]:
                    alike.append(message.id[0])
    assert set(alike) <= ALIKE, sorted(set(alike) - ALIKE)
