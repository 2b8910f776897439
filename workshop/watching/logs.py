"""Log lines that say of which request, person and station they are; as JSON where the environment asks for it."""

import json
import logging
from collections.abc import Mapping
from contextvars import ContextVar
from datetime import UTC, datetime
from typing import Any

from django.http import HttpRequest
from django.utils.functional import SimpleLazyObject

# The request that this thread answers.
answering: ContextVar[HttpRequest | None] = ContextVar("answering", default=None)
# What a log record has of itself; the rest was given with it.
_OWN = frozenset(vars(logging.makeLogRecord({}))) | {
    "message",
    "asctime",
    "request",
    "server_time",
    "status_code",
}


def person_of_request(request: HttpRequest) -> Any:
    """Return whose request it is as far as that is known, without asking the database for it; None for nobody.

    No model is imported: this is loaded before any can be.
    """
    user = vars(request).get("user")
    found = getattr(request, "_cached_user", None) if type(user) is SimpleLazyObject else user
    return found if getattr(found, "is_authenticated", False) else None


def about_request(request: HttpRequest) -> Mapping[str, str | None]:
    """Return request id, person, station and token of a request."""
    person = person_of_request(request)
    token = getattr(request, "token", None)
    return {
        "request": getattr(request, "id", None),
        "person": person.get_username() if person else None,
        "station": getattr(person, "at_station", None) if person else None,
        "token": token.name if token else None,
    }


class OfRequest(logging.Filter):
    """Gives each record what is known of the request that is answered meanwhile, and takes secrets of links out."""

    def filter(self, record: logging.LogRecord) -> bool:
        request = answering.get()
        record.of_request = about_request(request) if request is not None else {}
        _hide_secret(record, request if request is not None else getattr(record, "request", None))
        return True


def _hide_secret(record: logging.LogRecord, request: Any) -> None:
    """Take the secret out of the address that a line names: a link that was refused once may still let somebody in."""
    match = getattr(request, "resolver_match", None)
    secret = match.kwargs.get("secret") if match else None
    if secret and secret in record.getMessage():
        record.msg, record.args = record.getMessage().replace(secret, "…"), ()


class JsonLines(logging.Formatter):
    """One JSON object a line: time, level, logger, message, and what is known of the request."""

    def format(self, record: logging.LogRecord) -> str:
        said: dict[str, Any] = {
            "time": datetime.fromtimestamp(record.created, tz=UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
        }
        said |= {
            name: value for name, value in getattr(record, "of_request", {}).items() if value is not None
        }
        given = {name: value for name, value in vars(record).items() if name not in _OWN}
        given.pop("of_request", None)
        said |= given
        if record.exc_info:
            said["traceback"] = self.formatException(record.exc_info)
        return json.dumps(said, ensure_ascii=False, default=str)


def logging_settings(*, as_json: bool) -> dict[str, Any]:
    """Return Django's logging settings: words for a terminal, or JSON lines with one of each request."""
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "filters": {"of_request": {"()": OfRequest}},
        "formatters": {"json": {"()": JsonLines}, "words": {"format": "%(message)s"}},
        "handlers": {
            "console": {
                "class": "logging.StreamHandler",
                "filters": ["of_request"],
                "formatter": "json" if as_json else "words",
            }
        },
        "root": {"handlers": ["console"], "level": "WARNING"},
        "loggers": {"workshop.requests": {"level": "INFO" if as_json else "WARNING"}}
        | ({"django.request": {"level": "ERROR"}} if as_json else {}),  # each has its own line of the request
    }
