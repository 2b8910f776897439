"""Every marked text is translated, surely, with the fields it has; what is read is made of what was written."""

import pytest

from fixtures import catalogues

PAIRS = [(app, language) for app in catalogues.APPS for language in catalogues.LANGUAGES]


@pytest.mark.parametrize(("app", "language"), PAIRS)
def test_a_language_is_complete(app: str, language: str) -> None:
    assert catalogues.problems(app, language) == []


def test_a_text_has_one_translation_wherever_it_stands() -> None:
    """Catalogues of all applications are one when they are read: the first that has a text would say it for all."""
    for language in catalogues.LANGUAGES:
        said: dict[tuple[object, object], object] = {}
        for app in catalogues.APPS:
            for message in catalogues.translated(app, language):
                if message.id:
                    key = (message.context, message.id)
                    assert said.setdefault(key, message.string) == message.string, key


def test_what_is_missing_unsure_or_has_other_fields_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    catalogue = catalogues.Catalog(locale="de")
    catalogue.add("Plan a batch")
    catalogue.add("Needle", "Nadel", flags=["fuzzy"])
    catalogue.add("{sure} of {total}", "{sure} von {alle}")
    catalogue.add("Shelf", "Regal")
    monkeypatch.setattr(catalogues, "translated", lambda app, language: catalogue)
    found = {each.partition(":")[0] for each in catalogues.problems("workshop", "de")}
    assert {"not sure", "not translated", "other fields"} <= found
    assert not any("Shelf" in each for each in catalogues.problems("workshop", "de"))


def test_marked_texts_are_found_in_templates_and_modules() -> None:
    texts = {text for _path, _line, text, _context in catalogues.marked("workshop")}
    assert "Handbook" in texts
    assert any(isinstance(text, tuple) for text in texts)
