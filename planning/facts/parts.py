"""Long forms in parts: the first is what everybody fills in, each other waits behind a line that says what is in it."""

from dataclasses import dataclass

from django import forms
from django.utils.functional import Promise

# A part that waits: its title, what is in it, and its fields.
Later = tuple[str | Promise, str | Promise, tuple[str, ...]]


@dataclass(frozen=True)
class FormPart:
    """Fields of a form that stand together; those with a title wait behind a line that says what is in them."""

    title: str | Promise
    says: str | Promise
    fields: list[forms.BoundField]

    @property
    def is_wrong(self) -> bool:
        return any(field.errors for field in self.fields)


def in_parts(form: forms.BaseForm, parts: tuple[Later, ...]) -> list[FormPart]:
    """Return the fields of a form in their parts: first those that no part names."""
    later = {name for _title, _says, names in parts for name in names}
    first = FormPart("", "", [form[name] for name in form.fields if name not in later])
    return [first, *(FormPart(title, says, [form[name] for name in names]) for title, says, names in parts)]
