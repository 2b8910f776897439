"""Changes that come again and again are marks on paper."""

from planning.run.sheet import MARKS, SheetRow, marked_notes, marks_of


def test_what_stands_at_several_pieces_has_a_mark_and_what_stands_once_has_none():
    notes = [["Bobbin."], ["Spool.", "Bobbin."], [], ["Needle.", "Bobbin."], ["Needle."]]
    assert marks_of(notes) == {"Bobbin.": "a", "Needle.": "b"}


def test_more_notes_than_letters_have_marks_of_two():
    notes = [[f"Spool {number}."] * 2 for number in range(len(MARKS) + 2)]
    marks = list(marks_of(notes).values())
    assert marks[-2:] == ["aa", "ab"]
    assert len(set(marks)) == len(marks)


def test_the_legend_says_every_mark():
    rows = [SheetRow(at, f"piece {at}", False, False, ["Bobbin."]) for at in (1, 2)]
    assert marked_notes(rows) == {"a": "Bobbin."}
