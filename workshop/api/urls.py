"""Addresses of the API."""

from workshop.api.site import addresses

urlpatterns = addresses()
