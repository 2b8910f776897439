"""Databases of earlier commits, brought up to date."""
