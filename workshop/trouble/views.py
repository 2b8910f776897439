"""The last answer: for errors that come where no page is near, such as while a session is written."""

import sys

from django.http import HttpRequest, HttpResponse
from django.utils import translation
from django.views.defaults import server_error as broken

from workshop.trouble.kinds import trouble_of
from workshop.trouble.middleware import answer_trouble


def server_error(request: HttpRequest) -> HttpResponse:
    """Answer trouble in words, and anything else as a fault of the program."""
    problem = sys.exc_info()[1]
    trouble = trouble_of(problem) if problem is not None else None
    with translation.override(translation.get_language_from_request(request)):
        return broken(request) if trouble is None else answer_trouble(request, trouble)
