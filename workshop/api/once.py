"""A request of a program is carried out once: sent again under its key it is answered as it was, and does nothing."""

import hashlib
import re
from collections.abc import Callable
from datetime import datetime, timedelta
from functools import wraps
from typing import Any

from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from pydantic import BaseModel

from inventory.acting import tried_again
from inventory.compute.errors import WorkshopError
from workshop.models import KeptAnswer

HEADER = "Idempotency-Key"
# What a header can carry and a person can read; a UUID is 36 of them.
KEY = re.compile(r"[!-~]{1,64}")
KEPT = timedelta(days=30)


class KeyMissing(WorkshopError):
    """A request that changes something has no key."""

    def __init__(self) -> None:
        super().__init__(
            f"Send a header {HEADER} of 1 to 64 letters, figures and signs, another one for each thing that is done. "
            "Send the same one again where you do not know whether it arrived."
        )


class KeyOfAnotherRequest(WorkshopError):
    """The key came before, with another request."""

    def __init__(self, key: str) -> None:
        super().__init__(
            f"The key {key} was sent before with another request. Take a new key for a new request."
        )


class DoneOnce:
    """What a request does it with: its person, its moment, and the key of its act."""

    def __init__(self, by: User, at: datetime, key: str) -> None:
        self.by, self.at, self.key = by, at, key

    @property
    def as_asked(self) -> dict[str, Any]:
        """Key, moment and person as the verbs take them."""
        return {"key": self.key, "at": self.at, "by": self.by}


def once(status: int = 200) -> Callable[[Callable[..., BaseModel]], Callable[..., HttpResponse]]:
    """Make an operation answer each key once; it finds its ``DoneOnce`` as ``request.done``.

    What it did and what it answered are written in one transaction, so that neither is there without the other. A
    refusal is not kept: nothing was done, and the same request may be sent again when the reason is gone.
    """

    def carried_out_once(operation: Callable[..., BaseModel]) -> Callable[..., HttpResponse]:
        @wraps(operation)
        def answered(request: HttpRequest, **given: Any) -> HttpResponse:
            key = request.headers.get(HEADER, "")
            if not KEY.fullmatch(key):
                raise KeyMissing
            user: User = request.user  # type: ignore[assignment]
            asked, at = _fingerprint(request), timezone.now()
            # The verbs keep keys of their own, of limited length and shared with the pages: ours never meet theirs.
            act = f"api-{hashlib.sha256(f'{user.pk} {key}'.encode()).hexdigest()[:30]}"
            request.done = DoneOnce(user, at, act)  # type: ignore[attr-defined]

            def whole() -> tuple[KeptAnswer, bool]:
                kept, is_new = KeptAnswer.objects.get_or_create(
                    user=user, key=key, defaults={"request_sha256": asked, "at": at, "status": status}
                )
                if is_new:
                    kept.body = operation(request, **given).model_dump_json()
                    kept.save(update_fields=["body"])
                    KeptAnswer.objects.filter(at__lt=at - KEPT).delete()
                elif kept.request_sha256 != asked:
                    raise KeyOfAnotherRequest(key)
                return kept, is_new

            kept, is_new = tried_again(whole)
            answer = HttpResponse(
                kept.body, status=kept.status, content_type="application/json; charset=utf-8"
            )
            if not is_new:
                answer["Idempotent-Replayed"] = "true"
            return answer

        return answered

    return carried_out_once


def _fingerprint(request: HttpRequest) -> str:
    said = b"\n".join([(request.method or "").encode(), request.get_full_path().encode(), request.body])
    return hashlib.sha256(said).hexdigest()
