"""A clock that is wrong is noticed, corrected for when its scans are placed, and shown; the log keeps both times."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from sqlalchemy import BigInteger, literal, select, text, update

from tests.floor import Floor, scan_of
from tracker.records.clocks import WrongClock, wrong_clocks
from tracker.records.logged import LogView, part_history
from tracker.records.tables import log, part
from tracker.shop.codes import read_code
from tracker.shop.scans import Action, Answer, Scan
from tracker.work.scanning.batch import Sender, take_scans
from tracker.work.verify import impossible_rows

HOUR = timedelta(hours=1)


def send(floor: Floor, *scans: Scan, sent: datetime | None, device: str = "token 7") -> list[Answer]:
    return take_scans(floor.database, scans, Sender(name="saw", device=device), floor.clock, sent=sent)


def wrong(floor: Floor) -> list[WrongClock]:
    with floor.database.read() as connection:
        return wrong_clocks(connection, since=floor.clock - HOUR)


def history(floor: Floor, code: str) -> list[LogView]:
    with floor.database.read() as connection:
        return part_history(connection, read_code(code).number, 1)[::-1]


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


@pytest.mark.parametrize("tells", [True, False])
@pytest.mark.parametrize(
    "said",
    [
        datetime(1, 1, 1, tzinfo=timezone(timedelta(hours=14))),
        datetime(9999, 12, 31, 23, tzinfo=timezone(timedelta(hours=-14))),
        datetime(1970, 1, 1, 0, 5, tzinfo=UTC),
    ],
)
def test_a_scan_whose_time_cannot_be_counts_from_when_it_arrived_and_its_clock_is_shown(
    floor: Floor, said: datetime, *, tells: bool
) -> None:
    before = floor.scan(floor.deck, "CUT-1")
    floor.tick(60)
    sent = floor.clock if tells else None
    answers = send(floor, scan_of(floor.end, "CUT-1", floor.clock), scan_of(floor.deck, "MACHINE-1", said), sent=sent)
    assert before.ok
    assert all(answer.ok for answer in answers)
    entry = history(floor, floor.deck)[-1]
    assert (entry.at, entry.received_at) == (floor.clock, floor.clock)
    assert entry.said_at is not None
    assert [(clock.device, clock.told) for clock in wrong(floor)] == [("token 7", False)]
    floor.tick(60)
    send(floor, scan_of(floor.deck, "BAND-1", floor.clock), sent=floor.clock)
    assert history(floor, floor.deck)[-1].at == floor.clock, "nothing after it is shifted"
    floor.check()


def test_a_scan_whose_time_cannot_be_is_judged_after_those_whose_time_can(floor: Floor) -> None:
    floor.tick(60)
    never = datetime(1970, 1, 1, tzinfo=UTC)
    earlier = floor.clock - timedelta(seconds=5)
    undo, scan = scan_of("", "CUT-1", never, action=Action.UNDO), scan_of(floor.deck, "CUT-1", earlier)
    undone, done = send(floor, undo, scan, sent=floor.clock)
    assert (done.outcome, undone.outcome) == ("done", "undone")
    floor.check()


def test_what_version_0_5_stored_from_outside_the_calendar_is_read_and_named(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1")
    floor.scan(floor.end, "CUT-1")
    early, late = -62_135_647_200_000_000, 253_402_346_800_000_000  # microseconds: the year 0 and the year 10000
    with floor.database.write() as connection:
        sqlite = connection.dialect.name == "sqlite"
        connection.execute(text(f"DROP TRIGGER {'log_refuses_update' if sqlite else 'log_is_written_once ON log'}"))
        rows = connection.execute(select(log.c.seq).where(log.c.action == "pass").order_by(log.c.seq)).scalars().all()
        for column, micros, seq in ((log.c.at, early, rows[0]), (log.c.said_at, late, rows[1])):
            connection.execute(update(log).where(log.c.seq == seq).values({column: literal(micros, BigInteger)}))
        kept = literal(early, BigInteger)
        connection.execute(update(part).where(part.c.id == 1).values(seen_at=kept, latest_at=kept))
    assert history(floor, floor.deck)[0].at.year == 2
    assert history(floor, floor.end)[0].said_at is not None
    assert floor.part(floor.deck).last_seen is not None
    floor.check()
    assert [row.seq for row in impossible_rows(floor.database)] == list(rows)
