"""All screens, as one list for the application to register."""

from typing import Final

from flask import Blueprint

from tracker.pages.bench import bench
from tracker.pages.foreman import find, flagged, job, job_acts, jobs_board, missing, reports
from tracker.pages.frame import sign_in, trust
from tracker.pages.help import manual
from tracker.pages.office import boxes, lists, loads, me, people, search, stations, tokens
from tracker.pages.office.labels import labels, layouts, prints
from tracker.pages.office.orders import orders
from tracker.pages.scanning import offline
from tracker.pages.site import assembly_sheet, label_links, report
from tracker.pages.station import station

BLUEPRINTS: Final[tuple[Blueprint, ...]] = tuple(
    screen.blueprint
    for screen in (
        *(sign_in, offline, trust, people, stations, tokens, me, station, bench),
        *(jobs_board, job, job_acts, missing, find, reports, flagged),
        *(assembly_sheet, report, label_links),
        *(orders, search, boxes, loads, labels, layouts, prints, lists, manual),
    )
)
