"""The forms of the site itself: signing in, the first account, preferences, a new password."""

from typing import Any

from django import forms
from django.conf import settings
from django.contrib.auth.forms import AuthenticationForm, BaseUserCreationForm, PasswordChangeForm
from django.contrib.auth.models import User
from django.utils.translation import gettext_lazy as _

from workshop.models import Preference


class SignInForm(AuthenticationForm):
    """A name and a password."""

    error_messages = {
        "invalid_login": (
            _(
                "This name and password do not belong together. Check the spelling of both; "
                "capitals and small letters count."
            )
        ),
        "inactive": _(
            "This account is switched off. Ask the person who looks after the workshop's accounts."
        ),
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = _("Name")
        self.fields["username"].error_messages["required"] = _("Name: type the name of your account.")
        self.fields["password"].error_messages["required"] = _("Password: type your password.")


class FirstAccountForm(BaseUserCreationForm):
    """The name and the password of the person who opens the workshop."""

    error_messages = {"password_mismatch": _("The two passwords differ. Type the same one in both places.")}

    class Meta:
        model = User
        fields = ["username"]
        labels = {"username": _("Your name")}
        help_texts = {
            "username": _("It is shown beside what you book. Letters, digits and @ . + - _, no spaces.")
        }
        error_messages = {
            "username": {"required": _("Your name: type the name you want to sign in with.")},
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        name_passwords(self, first="password1", second="password2")


class PreferenceForm(forms.ModelForm):
    """Language, units and look of one person."""

    language = forms.ChoiceField(
        label=_("Language"),
        required=False,
        choices=lambda: [("", _("as the browser asks")), *settings.LANGUAGES],
        widget=forms.RadioSelect,
    )

    class Meta:
        model = Preference
        fields = ["language", "length_unit", "weight_unit", "size_unit", "theme"]
        widgets = dict.fromkeys(fields, forms.RadioSelect)


class ChangePasswordForm(PasswordChangeForm):
    """The old password and, twice, the new one."""

    error_messages = {
        "password_mismatch": _("The two new passwords differ. Type the same one in both places."),
        "password_incorrect": _("The old password is not right. Type the one you signed in with."),
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["old_password"].error_messages["required"] = _("Old password: type the one you use now.")
        name_passwords(self, first="new_password1", second="new_password2")


def name_passwords(form: forms.BaseForm, *, first: str, second: str) -> None:
    is_first_one = first == "password1"
    form.fields[first].label = _("Password") if is_first_one else _("New password")
    form.fields[first].error_messages["required"] = (
        _("Password: type one of at least {least} characters.")
        if is_first_one
        else _("New password: type one of at least {least} characters.")
    ).format(least=settings.LEAST_PASSWORD)
    form.fields[second].label = _("Password, once more") if is_first_one else _("New password, once more")
    form.fields[second].help_text = ""
    form.fields[second].error_messages["required"] = (
        _("Password, once more: type it a second time.")
        if is_first_one
        else _("New password, once more: type it a second time.")
    )
