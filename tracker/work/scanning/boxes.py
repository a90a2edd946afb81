"""A box or a load that is scanned: a box opens at the bench and goes onto its load at the dock, where a load opens."""

from tracker.records.past import loading_that_stands
from tracker.records.shipping import loading_of
from tracker.shop import verdicts
from tracker.shop.box_states import BoxState
from tracker.shop.codes import Code, Kind
from tracker.shop.outcomes import Outcome
from tracker.shop.reasons import Reason
from tracker.shop.scans import Answer
from tracker.shop.steps import Step
from tracker.shop.verdicts import Verdict
from tracker.work.scanning.answering import answer
from tracker.work.scanning.late import loading_then
from tracker.work.scanning.parts import open_at, read_before
from tracker.work.scanning.scanned import Refused, Scanned


def box_scanned(scanned: Scanned, code: Code) -> Answer:
    """Judge the scan of a box's label."""
    ledger, station = scanned.ledger, scanned.station
    box = scanned.box = scanned.box_coded(code)
    judged = verdicts.judge_box(scanned.scanned_box_facts(box), scanned.station_facts(), _load_meant(scanned))
    if station.step is Step.SHIP:
        judged = loading_then(scanned, box, judged)
    if judged.outcome is Outcome.DONE and box.load_id is not None and station.step is Step.SHIP:
        ledger.set_box(box, state=BoxState.LOADED)
        ledger.set_open(station, box_id=None, load_id=box.load_id, at=scanned.at)
        scanned.load_id = box.load_id
        judged = _how_far(scanned, judged, box.load_id)
    elif judged.outcome is Outcome.DONE:
        open_at(ledger, station, box, scanned.at)
    elif judged.outcome is Outcome.AGAIN:
        judged = read_before(ledger, judged, loading_that_stands(ledger.written, box.id))
    return answer(scanned, judged)


def _load_meant(scanned: Scanned) -> str | None:
    """The load that the box is scanned onto: the one that the scan names, or that its station has open."""
    if scanned.scan.load:
        return str(scanned.read(scanned.scan.load, Kind.LOAD))
    load_id = scanned.station.open_load_id
    load = None if load_id is None else scanned.ledger.load(load_id)
    return None if load is None or load.shipped else load.code


def load_scanned(scanned: Scanned, code: Code) -> Answer:
    """Judge the scan of a load's code: at the dock it opens."""
    load = scanned.ledger.load(code.number)
    if load is None:
        raise Refused(Outcome.UNKNOWN, Reason.UNKNOWN_CODE, code=str(code))
    scanned.load_id = load.id
    judged = verdicts.judge_load(shipped=load.shipped, station=scanned.station_facts())
    if judged.outcome is Outcome.DONE:
        scanned.ledger.set_open(scanned.station, box_id=None, load_id=load.id, at=scanned.at)
        judged = _how_far(scanned, judged, load.id)
    return answer(scanned, judged)


def _how_far(scanned: Scanned, judged: Verdict, load_id: int) -> Verdict:
    """Say beside a verdict about a load how far it is loaded, and which boxes of its jobs would stay behind."""
    loading = loading_of(scanned.ledger.written, load_id)
    return verdicts.with_loading(
        judged,
        load=loading.load.code,
        day=loading.load.ship_on,
        on=loading.on,
        boxes=loading.boxes,
        keeping=loading.keeping,
        staying=[box.code for box in loading.staying],
    )
