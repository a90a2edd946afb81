"""The ``tracker`` command: the commands of each noun, put together."""

from tracker.commands import asking, kept, lists, measuring, orders, papers, people, printers, service, stations
from tracker.commands.command import main

__all__ = [
    "asking",
    "kept",
    "lists",
    "main",
    "measuring",
    "orders",
    "papers",
    "people",
    "printers",
    "service",
    "stations",
]
