"""Scans that contradict what happened meanwhile: what a foreman may make of each, and those that are settled."""

from collections.abc import Sequence
from http import HTTPStatus
from typing import Final

from flask import Blueprint, abort, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from tracker.pages.words.clocks import CLOCKS_OF, clock_says
from tracker.pages.words.happened import contradicts
from tracker.pages.words.names import gettext as _
from tracker.pages.words.signals import OUTCOMES
from tracker.pages.words.spoken import spoken
from tracker.records.clocks import wrong_clocks
from tracker.records.contradictions import Flagged, count_open, open_contradictions, settled_contradictions
from tracker.shop.contradictions import WANT_REASON, Choice, choices_of, chosen, offered
from tracker.shop.errors import ConflictError, InvalidInputError, NotFoundError
from tracker.shop.outcomes import Outcome
from tracker.shop.roles import Role
from tracker.web.context import act, database, now
from tracker.work.access import needs
from tracker.work.settle import LONGEST_REASON, Settling, settle

blueprint = Blueprint("flagged_page", __name__)

SHOWN: Final = 20
_LARGEST: Final = 2**63 - 1


@blueprint.get("/flagged")
@needs(Role.STATION)
def flagged() -> str:
    """What nobody has settled yet, the oldest first; or what is settled, the latest first."""
    return _page()


@blueprint.post("/flagged/<int:seq>/settle")
@needs(Role.FOREMAN)
def do_settle(seq: int) -> AnyResponse | tuple[str, int]:
    """Settle one by what was chosen."""
    if seq > _LARGEST:
        abort(HTTPStatus.NOT_FOUND)
    choice, reason = request.form.get("choice", ""), " ".join(request.form.get("reason", "").split())
    try:
        settling = Settling(seq=seq, choice=_choice(choice), reason=reason)
        settle(database(), settling, **act())
    except NotFoundError:
        abort(HTTPStatus.NOT_FOUND)
    except InvalidInputError as refused:
        return _page(wrong=spoken(refused.detail)), HTTPStatus.UNPROCESSABLE_ENTITY
    except ConflictError as refused:
        return _page(wrong=spoken(refused.detail)), HTTPStatus.CONFLICT
    flash(_("Settled: %(choice)s.", choice=spoken(chosen(settling.choice))))
    return redirect(url_for("flagged_page.flagged"), HTTPStatus.SEE_OTHER)


def _choice(word: str) -> Choice:
    try:
        return Choice(word)
    except ValueError:
        abort(HTTPStatus.UNPROCESSABLE_ENTITY)


def _page(*, wrong: str = "") -> str:
    settled = request.method == "GET" and "settled" in request.args
    after = max(0, min(request.args.get("after", 0, type=int), _LARGEST))
    found: Sequence[Flagged]
    with database().read() as connection:
        if settled:
            found = settled_contradictions(connection, limit=SHOWN + 1, before=after or None)
        else:
            found = open_contradictions(connection, limit=SHOWN + 1, after=after)
        left = count_open(connection)
        clocks = wrong_clocks(connection, since=now() - CLOCKS_OF)
    shown = found[:SHOWN]
    return render_template(
        "foreman/flagged.html",
        scans=shown,
        more=shown[-1].seq if len(found) > SHOWN else 0,
        settled=settled,
        left=left,
        clocks=[clock_says(each) for each in clocks],
        wrong=wrong,
        contradicts=contradicts,
        choices_of=choices_of,
        offered=offered,
        chosen=chosen,
        WANT_REASON=WANT_REASON,
        longest_reason=LONGEST_REASON,
        outcomes=OUTCOMES,
        Outcome=Outcome,
    )
