"""Addresses for these tests: the site's own, stand-ins for the places, and pages that go wrong."""

from django.core.exceptions import BadRequest, PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.template import RequestContext, Template
from django.urls import path

from workshop import urls

PAGE = """{% extends "workshop/base.html" %}
{% block title %}A place{% endblock %}
{% block heading %}A place{% endblock %}
{% block content %}
<p>{{ 914400|thread_length:units }}, {{ 113398|weight:units }}, {{ 254|size:units }}</p>
{% endblock %}"""


def place(request: HttpRequest, **_: object) -> HttpResponse:
    return HttpResponse(Template(PAGE).render(RequestContext(request, {})))


DROP = """{% extends "workshop/base.html" %}
{% block title %}Stitch files{% endblock %}
{% block heading %}Stitch files{% endblock %}
{% block content %}
<div class="drop"><label for="files">Stitch files</label>
<input id="files" type="file" data-drop{% if not one %} multiple{% endif %}></div>
<button class="button" hx-get="/plain/" hx-target="#part">Fetch</button><div id="part"></div>
{% endblock %}"""


def plain(request: HttpRequest) -> HttpResponse:
    return HttpResponse("no page of the house")


def drop(request: HttpRequest) -> HttpResponse:
    return HttpResponse(Template(DROP).render(RequestContext(request, {"one": "one" in request.GET})))


def malformed(request: HttpRequest) -> HttpResponse:
    raise BadRequest


def forbidden(request: HttpRequest) -> HttpResponse:
    raise PermissionDenied


def broken(request: HttpRequest) -> HttpResponse:
    raise RuntimeError("the bobbin case fell out")


# The stand-ins come first: these tests are about the frame, whatever the real places show.
urlpatterns = [
    path("", place, name="today"),
    path("shelf/", place, name="shelf"),
    path("shelf/spools/", place, name="spools"),
    path("plain/", plain, name="plain"),
    path("drop/", drop, name="drop"),
    path("malformed/", malformed, name="malformed"),
    path("forbidden/", forbidden, name="forbidden"),
    path("broken/", broken, name="broken"),
    *urls.urlpatterns,
]
