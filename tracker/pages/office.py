"""The office's pages, as one list for the application to register."""

from flask import Blueprint

from tracker.pages import box_pages, label_layouts, label_pages, lists_page, load_pages, orders, print_pages, search

BLUEPRINTS: tuple[Blueprint, ...] = tuple(
    each.blueprint
    for each in (orders, search, box_pages, load_pages, label_pages, label_layouts, print_pages, lists_page)
)
