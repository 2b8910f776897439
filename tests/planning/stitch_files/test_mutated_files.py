"""Hundreds of stitch files spoiled in every way: each is read, told to be damaged, or refused in words."""

import re
from pathlib import Path

import pytest

from planning.stitch_files.formats import FORMATS
from tests.planning.mutations import WAYS, mutants
from tests.planning.outcomes import Outcome, far_off, outcomes, share_warned, table

COUNT, SEED = 600, 20_250_301
# For these the stitches are checked so closely that damage which matters is nearly always seen.
WATCHED = ("dst", "u01", "pes", "pec", "exp")
# EXP and SEW have neither counts nor an end. Cut, doubled or shortened between two records, such a file is one that
# a writer would have written for another design: every pair is a step or a whole command.
UNCOUNTED = {
    "exp": re.compile(rb"(?:[^\x80]{2}|\x80\x04[^\x80]{2}|\x80\x80\x07\0|\x80\x01\0\0)*", re.DOTALL),
    "sew": re.compile(rb".{7544}(?:[^\x80]{2}|\x80\x04[^\x80]{2}|\x80\x01\0\0)*", re.DOTALL),
}


def assert_all_is_well(found: list[Outcome], *, count: int) -> None:
    """Assert that every file was answered, in words, and that damage which matters is told."""
    assert sorted(each.mutant.name for each in found) == [each.name for each in mutants(count, seed=SEED)]
    for each in found:
        for words in each.words:
            assert words.endswith("."), (each.mutant.name, words)
            assert not any(sign in words for sign in ("Traceback", "Error", "None", "\n")), each.mutant.name
            assert "the reading program itself" not in words, each.mutant.name
            assert "computing to read" not in words, each.mutant.name
            assert "needs more than this computer" not in words, each.mutant.name
            assert "was not read within" not in words, each.mutant.name
        if each.outcome == "refused":
            assert each.words[0].startswith(each.mutant.name)
    # Of a few hundred files a format has too few that matter to tell a share.
    for extension in WATCHED if count <= COUNT else sorted(FORMATS):
        far = far_off(found, extension)
        assert far
        assert share_warned(far) >= 0.8, extension
    assert share_warned(far_off(found, "all")) >= 0.8
    for extension, as_written in UNCOUNTED.items():
        silent = [each for each in far_off(found, extension) if each.outcome != "warned"]
        for each in silent:
            assert each.mutant.kind in ("cut", "doubled", "removed"), each.mutant.name
            assert as_written.fullmatch(each.mutant.content), each.mutant.name


def test_spoiled_files_are_answered_in_words_and_damage_that_matters_is_told(tmp_path: Path) -> None:
    found = list(outcomes(COUNT, seed=SEED, folder=tmp_path))
    print(table(found))
    assert_all_is_well(found, count=COUNT)


def test_the_same_seed_spoils_the_same_files_in_all_formats_and_ways() -> None:
    once, again = list(mutants(COUNT, seed=SEED)), list(mutants(COUNT, seed=SEED))
    assert once == again
    assert once != list(mutants(COUNT, seed=SEED + 1))
    assert {each.original.extension for each in once} == set(FORMATS)
    assert {each.kind for each in once} == set(WAYS)


@pytest.mark.parametrize("way", sorted(set(WAYS)))
def test_each_way_of_spoiling_changes_most_files(way: str) -> None:
    spoiled = [each for each in mutants(COUNT, seed=SEED) if each.kind == way]
    assert sum(each.content != each.original.content for each in spoiled) > 0.8 * len(spoiled)
