"""Addresses of planning."""

from django.urls.resolvers import URLPattern

urlpatterns: list[URLPattern] = []
