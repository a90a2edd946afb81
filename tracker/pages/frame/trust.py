"""How a tablet comes to trust the service: the shop's authority to take along, its fingerprint to compare, and how.

Open to all and, alone of all pages, served by plain http beside HTTPS: who needs it does not trust this service yet.
"""

from http import HTTPStatus
from typing import Final

from flask import Blueprint, Response, abort, render_template, request

from tracker.web.context import settings
from tracker.work.access import open_to_all
from tracker.work.authority import kept_authority

blueprint = Blueprint("trust", __name__)

# What a service that speaks HTTPS answers by plain http, too: this page and what it is drawn with.
PLAIN_PATHS: Final = ("/trust", "/static/")


@blueprint.get("/trust")
@open_to_all
def trust() -> str:
    """Say what is to be done on a tablet, if anything."""
    speaks_https = settings().certificate is not None
    return render_template(
        "frame/trust.html",
        authority=kept_authority(settings().data_dir),
        speaks_https=speaks_https,
        by_https=request.is_secure,
        there=f"https://{request.host}/" if speaks_https and not request.is_secure else None,
    )


@blueprint.get("/trust/authority.crt")
@open_to_all
def authority() -> Response:
    """Give the authority's certificate, as PEM, under the type by which systems know one to trust."""
    kept = kept_authority(settings().data_dir)
    if kept is None:
        abort(HTTPStatus.NOT_FOUND)
    response = Response(kept.pem, mimetype="application/x-x509-ca-cert")
    response.headers["Content-Disposition"] = 'attachment; filename="shop-authority.crt"'
    response.headers["Cache-Control"] = "no-cache"
    return response
