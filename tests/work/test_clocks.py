"""A clock that is wrong is noticed, corrected for when its scans are placed, and shown; the log keeps both times."""

from datetime import datetime, timedelta

from tests.floor import Floor, scan_of
from tracker.records import look
from tracker.records.clocks import WrongClock, wrong_clocks
from tracker.shop.codes import read_code
from tracker.shop.scans import Action, Answer, Scan
from tracker.work.scan import Sender, take_scans

HOUR = timedelta(hours=1)


def send(floor: Floor, *scans: Scan, sent: datetime | None, device: str = "token 7") -> list[Answer]:
    return take_scans(floor.database, scans, Sender(name="saw", device=device), floor.clock, sent=sent)


def wrong(floor: Floor) -> list[WrongClock]:
    with floor.database.read() as connection:
        return wrong_clocks(connection, since=floor.clock - HOUR)


def history(floor: Floor, code: str) -> list[look.HistoryEntry]:
    with floor.database.read() as connection:
        return look.part_history(connection, read_code(code).number, 1)


def test_a_clock_an_hour_ahead_places_its_scans_by_the_right_time_and_the_log_keeps_both(floor: Floor) -> None:
    made = floor.tick()
    said = made + HOUR
    floor.clock += timedelta(minutes=10)
    send(floor, scan_of(floor.deck, "CUT-1", said), sent=floor.clock + HOUR)
    (entry,) = history(floor, floor.deck)
    assert (entry.at, entry.said_at, entry.received_at) == (made, said, floor.clock)
    (clock,) = wrong(floor)
    assert (clock.device, clock.station, clock.ahead_s, clock.told) == ("token 7", "CUT-1", 3600, True)
    floor.check()


def test_a_clock_an_hour_behind_lets_a_late_scan_take_its_true_place(floor: Floor) -> None:
    first = floor.tick()
    second = floor.tick(60)
    floor.scan(floor.deck, "MACHINE-1", at=second)
    floor.clock += 2 * HOUR
    # The saw's own time of the deck is an hour before it was taken: placed as said, it would be before everything.
    send(floor, scan_of(floor.deck, "CUT-1", first - HOUR), sent=floor.clock - HOUR)
    assert history(floor, floor.deck)[0].at == first
    part = floor.part(floor.deck)
    assert part.last_seen is not None
    assert (part.last_seen.station, part.step) == ("MACHINE-1", "band")
    floor.check()


def test_scans_that_waited_offline_are_late_and_their_clock_is_right(floor: Floor) -> None:
    made = floor.tick()
    floor.clock += 5 * HOUR
    send(floor, scan_of(floor.deck, "CUT-1", made), sent=floor.clock - timedelta(seconds=3))
    (entry,) = history(floor, floor.deck)
    assert (entry.at, entry.said_at) == (made, None)
    assert wrong(floor) == []


def test_without_a_time_of_sending_a_scan_from_the_future_is_placed_when_it_came(floor: Floor) -> None:
    floor.tick()
    said = floor.clock + 3 * HOUR
    send(floor, scan_of(floor.deck, "CUT-1", said), sent=None)
    (entry,) = history(floor, floor.deck)
    assert (entry.at, entry.said_at) == (floor.clock, said)
    (clock,) = wrong(floor)
    assert (clock.ahead_s, clock.told) == (3 * 3600, False)
    floor.tick()
    send(floor, scan_of(floor.end, "CUT-1", floor.clock), sent=None)
    assert history(floor, floor.end)[0].said_at is None, "one bad reading shifts nothing after it"


def test_an_undo_from_a_wrong_clock_takes_back_what_was_scanned_before_it(floor: Floor) -> None:
    for way in (4.0, 0.1):  # seconds: the first request is slow, so its measurement is the worse one
        scanned = floor.tick(30)
        floor.clock += timedelta(seconds=way)
        sent = floor.clock - timedelta(seconds=way) + HOUR
        send(floor, scan_of(floor.deck, "CUT-1", scanned + HOUR), sent=sent)
        undo = scan_of("", "CUT-1", scanned + HOUR + timedelta(milliseconds=900), action=Action.UNDO)
        floor.tick()
        (answer,) = send(floor, undo, sent=sent + timedelta(seconds=1))
        assert answer.outcome == "undone"
    floor.check()


def test_a_clock_that_was_set_right_is_no_longer_shown(floor: Floor) -> None:
    floor.tick()
    send(floor, scan_of(floor.deck, "CUT-1", floor.clock), sent=floor.clock - HOUR)
    assert len(wrong(floor)) == 1
    floor.tick(10)
    send(floor, scan_of(floor.end, "CUT-1", floor.clock), sent=floor.clock)
    assert wrong(floor) == []


def test_two_devices_at_one_station_have_two_clocks(floor: Floor) -> None:
    floor.tick()
    send(floor, scan_of(floor.deck, "CUT-1", floor.clock - HOUR), sent=floor.clock - HOUR, device="token 7")
    send(floor, scan_of(floor.end, "CUT-1", floor.clock), sent=floor.clock, device="token 8")
    assert history(floor, floor.end)[0].said_at is None
    assert [clock.device for clock in wrong(floor)] == ["token 7"]


def test_a_scan_sent_again_keeps_its_first_place(floor: Floor) -> None:
    floor.tick()
    scan = scan_of(floor.deck, "CUT-1", floor.clock + HOUR)
    first = send(floor, scan, sent=floor.clock + HOUR)
    placed = history(floor, floor.deck)[0].at
    floor.tick(100)
    assert send(floor, scan, sent=floor.clock + HOUR) == first
    (entry,) = history(floor, floor.deck)
    assert entry.at == placed
