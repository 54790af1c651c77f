"""Cautions that are given in more than one place."""

from __future__ import annotations

UNPLUG = "Unplug the machine before you fill it or reach inside; dry hands."
