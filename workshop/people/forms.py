"""Forms of people: joining, a new password, roles, stations, PINs, tokens."""

from typing import Any

from django import forms
from django.contrib.auth.forms import SetPasswordForm
from django.contrib.auth.models import User
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from planning.models import Machine
from workshop.forms import FirstAccountForm, name_passwords
from workshop.models import Role, Station
from workshop.people.rights import RIGHTS_OF, Right, in_words
from workshop.people.stations import LONGEST_PIN, SHORTEST_PIN
from workshop.people.tokens import LONGEST_DAYS, RIGHTS, USUAL_DAYS


class JoinForm(FirstAccountForm):
    """The name and the password of somebody who follows a link."""


class NewPasswordForm(SetPasswordForm):
    """A new password, twice, from whoever followed a link for it."""

    error_messages = {"password_mismatch": _("The two passwords differ. Type the same one in both places.")}

    def __init__(self, user: User, *args: Any, **kwargs: Any) -> None:
        super().__init__(user, *args, **kwargs)
        name_passwords(self, first="new_password1", second="new_password2")


class ForgottenForm(forms.Form):
    """Where a link to a new password is to be sent."""

    email = forms.EmailField(label=_("Your mail address"), max_length=254)


class MailForm(forms.Form):
    """Where a person is written to, and the password that says it is them."""

    email = forms.EmailField(
        label=_("Mail address"), max_length=254, required=False, help_text=_("Blank: none is kept.")
    )
    password = forms.CharField(
        label=_("Your password"),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    def __init__(self, user: User, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.user = user

    def clean_password(self) -> str:
        """Return the password. Raises ValidationError for another one."""
        if not self.user.check_password(self.cleaned_data["password"]):
            raise forms.ValidationError(_("That is not your password."))
        return str(self.cleaned_data["password"])


class InviteForm(forms.Form):
    """Whom a link is for, and what they will be."""

    what = forms.CharField(
        label=_("For whom"),
        max_length=150,
        help_text=_("Only for you, to tell the links apart: “Saturday help”."),
    )
    role = forms.ChoiceField(
        label=_("As"),
        choices=lambda: [(role, f"{role.label}: {in_words(RIGHTS_OF[role])}") for role in Role],
        widget=forms.RadioSelect, initial=Role.STITCHER,
    )  # fmt: skip


class RoleForm(forms.Form):
    """What a member is here for."""

    role = forms.ChoiceField(label=_("Part in the workshop"), choices=Role.choices)


class StationForm(forms.Form):
    """A tablet at a machine."""

    name = forms.CharField(label=_("Name of the tablet"), max_length=60)
    machine = forms.ModelChoiceField(Machine.objects.all(), label=_("It stands at"), empty_label=None)


class PinForm(forms.Form):
    """The digits by which a person chooses themselves at a station."""

    pin = forms.CharField(
        label=_("PIN"), max_length=LONGEST_PIN, required=False, strip=True,
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        help_text=format_lazy(
            _("{shortest} to {longest} digits. It works at the workshop's tablets alone. Leave it empty to have none."),
            shortest=SHORTEST_PIN, longest=LONGEST_PIN,
        ),
    )  # fmt: skip


class TokenForm(forms.Form):
    """Which program is let in, for whom, how far and for how long."""

    name = forms.CharField(
        label=_("Which program has it"), max_length=60, help_text=_("Such as: scale at the wall.")
    )
    user = forms.ModelChoiceField(
        User.objects.filter(is_active=True).order_by("username"), label=_("It speaks for"), empty_label=None
    )
    right = forms.ChoiceField(
        label=_("It may"), widget=forms.RadioSelect, initial=int(Right.SEE),
        choices=lambda: [(int(right), in_words(right)) for right in RIGHTS],
        help_text=_("Each includes those before it; never more than the person may."),
    )  # fmt: skip
    station = forms.ModelChoiceField(
        Station.objects.filter(ended_at__isnull=True), label=_("At the station"), required=False,
        empty_label=_("none: everywhere"), help_text=_("It then reaches the runs of that machine alone."),
    )  # fmt: skip
    days = forms.IntegerField(
        label=_("It lasts, days"), min_value=1, max_value=LONGEST_DAYS, initial=USUAL_DAYS
    )


class CodeForm(forms.Form):
    """A code of the app, or a recovery code."""

    code = forms.CharField(
        label=_("Code"), max_length=40, strip=True,
        widget=forms.TextInput(attrs={"autocomplete": "one-time-code", "inputmode": "text", "spellcheck": "false"}),
        error_messages={"required": _("Code: type the one that the app shows.")},
    )  # fmt: skip


class PasswordForm(forms.Form):
    """The password once more, before something that whoever finds a device open must not do."""

    password = forms.CharField(
        label=_("Your password"), strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )  # fmt: skip

    def __init__(self, user: User, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.user = user

    def clean_password(self) -> str:
        password: str = self.cleaned_data["password"]
        if not self.user.check_password(password):
            raise forms.ValidationError(_("The password is not right."))
        return password
