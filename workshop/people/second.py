"""The second factor: codes of an app (RFC 6238), passkeys (WebAuthn) and recovery codes, each taken once.

pyotp and py_webauthn do the reckoning; what is theirs is imported when it is first used.
"""

import base64
import secrets
from datetime import datetime, timedelta
from typing import Any

from django.contrib.auth.models import User
from django.db import transaction
from django.utils.translation import gettext as _

from inventory.acting import held
from inventory.compute.errors import WorkshopError
from inventory.compute.later import later
from workshop.models import Passkey, RecoveryCode, Role, SecondFactor, SignInRule, WrongSecond
from workshop.people.members import end_all_sign_ins, hashed, role_of

TOTP, random_base32 = later("pyotp", "TOTP", "random_base32")
STEP_S = 30
RECOVERY_CODES = 10
MOST_WRONG, WITHIN = 8, timedelta(minutes=15)
NEVER_KEPT = timedelta(days=30)
MOST_PASSKEYS = 20


class NotThatCode(WorkshopError):
    """The code is wrong, was taken before, or too many were wrong."""


def new_secret() -> str:
    """Return a new secret for an app, 160 bits of it."""
    return str(random_base32())


def address_of(secret: str, *, user: User, workshop: str) -> str:
    """Return what the QR code holds that an app reads."""
    return str(
        TOTP(secret).provisioning_uri(name=user.get_username(), issuer_name=workshop or "Enough Thread")
    )


@transaction.atomic
def keep_app(user: User, secret: str, *, code: str, at: datetime) -> list[str]:
    """Return the recovery codes of ``user``, whose app shows ``code`` now: from now on it is asked for.

    Raises NotThatCode where the app does not show what it should.
    """
    step = _step_of(secret, code, at=at, after=0)
    if step is None:
        raise NotThatCode(
            _("The app shows another code. See that its clock is right, and type the code it shows now.")
        )
    SecondFactor.objects.update_or_create(
        user=user, defaults={"secret": secret, "last_step": step, "made_at": at}
    )
    return new_recovery_codes(user)


@transaction.atomic
def new_recovery_codes(user: User) -> list[str]:
    """Return ten new recovery codes, shown this once; those before are void."""
    RecoveryCode.objects.filter(user=user).delete()
    # 80 bits each: enough for a plain hash.
    codes = [base64.b32encode(secrets.token_bytes(10)).decode().lower() for _each in range(RECOVERY_CODES)]
    RecoveryCode.objects.bulk_create(RecoveryCode(user=user, code_sha256=hashed(code)) for code in codes)
    return ["-".join(code[part : part + 4] for part in range(0, 16, 4)) for code in codes]


def has_second(user: User) -> bool:
    """Return whether more than a password is asked of ``user``."""
    return SecondFactor.objects.filter(user=user).exists() or Passkey.objects.filter(user=user).exists()


def must_set_up(user: User) -> bool:
    """Return whether ``user`` has to set a second factor up before anything else."""
    return SignInRule.current().owners_need_second and role_of(user) == Role.OWNER and not has_second(user)


def take_code(user: User, typed: str, *, at: datetime) -> str:
    """Return how ``typed`` lets ``user`` in: *app* or *recovery*. Raises NotThatCode; eight wrong ones shut it a while.

    A wrong one is counted in a transaction of its own, so that the refusal does not take the count back.
    """
    with transaction.atomic():
        held(
            User.objects.filter(pk=user.pk)
        ).first()  # of two at once, the second sees what the first used up
        if WrongSecond.objects.filter(user=user, at__gt=at - WITHIN).count() >= MOST_WRONG:
            raise NotThatCode(_("The code was wrong too often. Wait a quarter of an hour."))
        code = "".join(sign for sign in typed.casefold() if sign.isalnum())
        way = _by_app(user, code, at=at) or _by_recovery(user, code, at=at)
        if way:
            return way
        WrongSecond.objects.filter(at__lt=at - NEVER_KEPT).delete()
        WrongSecond.objects.create(user=user, at=at)
    raise NotThatCode(_("That code is not right, or was used already. Type the one the app shows now."))


def _by_app(user: User, code: str, *, at: datetime) -> str:
    app = SecondFactor.objects.filter(user=user).first()
    step = None if app is None else _step_of(app.secret, code, at=at, after=app.last_step)
    if app is None or step is None:
        return ""
    app.last_step = step
    app.save(update_fields=["last_step"])
    return "app"


def _step_of(secret: str, code: str, *, at: datetime, after: int) -> int | None:
    """Return the half minute whose code this is, of the last, this and the next one, if it is later than ``after``."""
    now = int(at.timestamp()) // STEP_S
    for step in (now - 1, now, now + 1):
        if step > after and TOTP(secret).verify(code, for_time=step * STEP_S):
            return step
    return None


def _by_recovery(user: User, code: str, *, at: datetime) -> str:
    good = RecoveryCode.objects.filter(user=user, code_sha256=hashed(code), used_at__isnull=True)
    return "recovery" if good.update(used_at=at) else ""


@transaction.atomic
def take_second_away(user: User) -> None:
    """Ask ``user`` for the password alone from now on: app, passkeys and recovery codes are void."""
    for kind in (SecondFactor, Passkey, RecoveryCode, WrongSecond):
        kind._default_manager.filter(user=user).delete()


@transaction.atomic
def require_of_owners(required: bool, *, at: datetime) -> list[User]:
    """Return the owners who are signed out because they have no second factor, now that one is asked of them."""
    SignInRule.objects.update_or_create(pk=1, defaults={"owners_need_second": required})
    if not required:
        return []
    lacking = [user for user in User.objects.filter(is_active=True) if must_set_up(user)]
    for user in lacking:
        end_all_sign_ins(user, at=at)
    return lacking


def _unpadded(value: bytes) -> str:
    return base64.urlsafe_b64encode(value).decode().rstrip("=")


def _padded(value: str) -> bytes:
    return base64.urlsafe_b64decode(value + "=" * (-len(value) % 4))


def keep_passkey(user: User, verified: Any, *, name: str, at: datetime) -> list[str]:
    """Return new recovery codes where ``user`` had no second factor before, else none; the passkey is kept."""
    if Passkey.objects.filter(user=user).count() >= MOST_PASSKEYS:
        raise WorkshopError(
            _("{most} passkeys are the most. Take one away first.").format(most=MOST_PASSKEYS)
        )
    first = not has_second(user)
    Passkey.objects.create(
        user=user,
        name=name.strip()[:60] or "passkey",
        credential=_unpadded(verified.credential_id),
        public_key=_unpadded(verified.credential_public_key),
        sign_count=verified.sign_count,
        made_at=at,
    )
    return new_recovery_codes(user) if first else []


def public_key_of(passkey: Passkey) -> bytes:
    """Return the public key as the library takes it."""
    return _padded(passkey.public_key)


def credential_of(passkey: Passkey) -> bytes:
    """Return the number of the credential as the library takes it."""
    return _padded(passkey.credential)
