"""Passkeys made and used: what the browser is asked, and what it answers verified by py_webauthn."""

import base64
import hashlib
import json
from datetime import datetime
from typing import Any

from django.conf import settings
from django.contrib.auth.models import User
from django.http import HttpRequest
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.later import later
from workshop.models import Passkey
from workshop.people.second import credential_of, keep_passkey, public_key_of

ask_registration, ask_sign_in, as_json, verify_registration, verify_sign_in = later(
    "webauthn",
    "generate_registration_options",
    "generate_authentication_options",
    "options_to_json",
    "verify_registration_response",
    "verify_authentication_response",
)
Selection, Verification, Resident, Descriptor = later(
    "webauthn.helpers.structs",
    "AuthenticatorSelectionCriteria",
    "UserVerificationRequirement",
    "ResidentKeyRequirement",
    "PublicKeyCredentialDescriptor",
)
CHALLENGE = "passkey_challenge"


class NotThatPasskey(WorkshopError):
    """The browser's answer does not fit what it was asked, or nobody here has this passkey."""


def registration_options(request: HttpRequest, user: User) -> dict[str, Any]:
    """Return what the browser is asked to make a passkey with; the challenge waits in the session."""
    known = [Descriptor(id=credential_of(each)) for each in Passkey.objects.filter(user=user)]
    options = ask_registration(
        rp_id=_host(request),
        rp_name="Enough Thread",
        user_name=user.get_username(),
        user_id=hashlib.sha256(f"person {user.pk}".encode()).digest(),
        authenticator_selection=Selection(
            resident_key=Resident.REQUIRED, user_verification=Verification.REQUIRED
        ),
        exclude_credentials=known,
    )
    return _asked(request, options)


def sign_in_options(request: HttpRequest) -> dict[str, Any]:
    """Return what the browser is asked to sign in with: any passkey of this site, its holder verified by the device."""
    return _asked(request, ask_sign_in(rp_id=_host(request), user_verification=Verification.REQUIRED))


def make_passkey(request: HttpRequest, user: User, answer: Any, *, name: str, at: datetime) -> list[str]:
    """Return the recovery codes to show where it is the first, from the browser's answer. Raises NotThatPasskey."""
    if not isinstance(answer, dict):
        raise NotThatPasskey(_("What was sent is no passkey."))
    try:
        verified = verify_registration(
            credential=answer,
            expected_challenge=_challenge(request),
            expected_rp_id=_host(request),
            expected_origin=_origin(request),
            require_user_verification=True,
        )
    except _unsound() as problem:
        raise NotThatPasskey(_("The passkey was not made: {problem}").format(problem=problem)) from None
    return keep_passkey(user, verified, name=name, at=at)


def person_of(request: HttpRequest, answer: Any, *, at: datetime) -> User:
    """Return who signs in with the browser's answer. Raises NotThatPasskey."""
    asked = str(answer.get("id", "")) if isinstance(answer, dict) else ""
    passkey = Passkey.objects.filter(credential=asked, user__is_active=True).select_related("user").first()
    challenge = _challenge(request)
    if passkey is None:
        raise NotThatPasskey(_("Nobody here has this passkey. Sign in with name and password."))
    try:
        verified = verify_sign_in(
            credential=answer,
            expected_challenge=challenge,
            expected_rp_id=_host(request),
            expected_origin=_origin(request),
            credential_public_key=public_key_of(passkey),
            credential_current_sign_count=passkey.sign_count,
            require_user_verification=True,
        )
    except _unsound() as problem:
        raise NotThatPasskey(_("The passkey was not taken: {problem}").format(problem=problem)) from None
    passkey.sign_count, passkey.used_at = verified.new_sign_count, at
    passkey.save(update_fields=["sign_count", "used_at"])
    return passkey.user


def _asked(request: HttpRequest, options: Any) -> dict[str, Any]:
    request.session[CHALLENGE] = base64.b64encode(options.challenge).decode()
    found: dict[str, Any] = json.loads(as_json(options))
    return found


def _challenge(request: HttpRequest) -> bytes:
    """Return the challenge that the browser was given, once."""
    kept = request.session.pop(CHALLENGE, "")
    if not kept:
        raise NotThatPasskey(_("That took too long, or was answered already. Try again."))
    return base64.b64decode(kept)


def _host(request: HttpRequest) -> str:
    """Return the name that passkeys of this site are bound to: the host people reach, without its port."""
    if settings.BASE_URL:
        return str(settings.BASE_URL.host)
    host = request.get_host()
    return host.rsplit(":", 1)[0] if not host.endswith("]") else host


def _origin(request: HttpRequest) -> str:
    return settings.BASE_URL.origin if settings.BASE_URL else f"{request.scheme}://{request.get_host()}"


def _unsound() -> tuple[type[Exception], ...]:
    from webauthn.helpers.exceptions import WebAuthnException

    return (WebAuthnException, ValueError, KeyError, TypeError)
