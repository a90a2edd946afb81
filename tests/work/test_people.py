"""People, badges, sessions and guesses, on both databases."""

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from argon2 import PasswordHasher

from tests.floor import START, Floor
from tracker.records import people as kept
from tracker.shop.codes import Kind, read_code
from tracker.shop.errors import ConflictError, InvalidInputError, NotFoundError, NotSignedInError, ThrottledError
from tracker.shop.lengths import Units
from tracker.shop.roles import Role
from tracker.work import badges, people, sessions
from tracker.work.access import make_token, withdraw_token
from tracker.work.sessions import Attempt

PASSWORD = "correct horse battery"  # noqa: S105
# A hash says what it costs to check it: this one costs little, so that many guesses take no time.
LIGHT = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1).hash(PASSWORD)
HERE = "192.0.2.7"  # an address for examples: RFC 5737


def at(minutes: float = 0, address: str = HERE) -> Attempt:
    return Attempt(address=address, now=START + timedelta(minutes=minutes))


def with_password(floor: Floor, name: str, role: Role) -> int:
    number = people.add_person(floor.database, name, role, password=None, now=START)
    with floor.database.write() as connection:
        kept.change_person(connection, number, password=LIGHT)
    return number


@pytest.fixture
def ida(floor: Floor) -> int:
    """An office worker who signs in by password."""
    return with_password(floor, "Ida", Role.OFFICE)


def test_a_person_signs_in_by_name_and_password_and_is_who_they_are(floor: Floor) -> None:
    ida = people.add_person(floor.database, "Ida", Role.OFFICE, password=PASSWORD, now=START)
    secret = sessions.sign_in(floor.database, " Ida ", PASSWORD, at())
    bearer = sessions.bearer_of(floor.database, secret, START)
    assert (bearer.name, bearer.role, bearer.person_id, bearer.station) == ("Ida", Role.OFFICE, ida, None)
    sessions.sign_out(floor.database, secret)
    with pytest.raises(NotSignedInError):
        sessions.bearer_of(floor.database, secret, START)


@pytest.mark.parametrize(
    ("name", "password"),
    [("Ida", "wrong"), ("Ida", ""), ("Nobody", PASSWORD), ("", ""), ("Ida\x00", PASSWORD), ("Ida", "\x00")],
)
def test_nobody_gets_in_with_a_name_and_password_that_do_not_belong_together(
    floor: Floor, ida: int, name: str, password: str
) -> None:
    with pytest.raises(NotSignedInError):
        sessions.sign_in(floor.database, name, password, at())


def test_the_shop_keeps_neither_a_password_nor_a_sessions_secret(floor: Floor) -> None:
    people.add_person(floor.database, "Ida", Role.OFFICE, password=PASSWORD, now=START)
    secret = sessions.sign_in(floor.database, "Ida", PASSWORD, at())
    with floor.database.engine.connect() as connection:
        for table in ("person", "visit"):
            rows = str(connection.exec_driver_sql(f"SELECT * FROM {table}").all())  # noqa: S608
            assert PASSWORD not in rows
            assert secret not in rows
    found = next(each for each in people.list_people(floor.database) if each.name == "Ida")
    assert (found.password or "").startswith("$argon2id$")


def test_a_session_ends_after_half_a_day_without_a_request_and_lives_on_with_one(floor: Floor, ida: int) -> None:
    secret = sessions.sign_in(floor.database, "Ida", PASSWORD, at())
    for hours in (11, 22, 33):
        assert sessions.bearer_of(floor.database, secret, START + timedelta(hours=hours)).name == "Ida"
    with pytest.raises(NotSignedInError):
        sessions.bearer_of(floor.database, secret, START + timedelta(hours=45.5))


def test_a_page_that_only_asks_for_news_does_not_keep_a_persons_session(floor: Floor, ida: int) -> None:
    secret = sessions.sign_in(floor.database, "Ida", PASSWORD, at())
    for hours in (4, 8, 11.9):
        assert sessions.bearer_of(floor.database, secret, START + timedelta(hours=hours), polls=True).name == "Ida"
    with pytest.raises(NotSignedInError):
        sessions.bearer_of(floor.database, secret, START + timedelta(hours=12.1), polls=True)


def test_a_clock_that_is_set_back_ends_no_session_and_makes_none_last(floor: Floor, ida: int) -> None:
    secret = sessions.sign_in(floor.database, "Ida", PASSWORD, at(60 * 24 * 365))
    assert sessions.bearer_of(floor.database, secret, START, polls=True).name == "Ida"
    with pytest.raises(NotSignedInError):
        sessions.bearer_of(floor.database, secret, START + timedelta(hours=12.1))


def test_a_clock_that_is_set_back_keeps_nobody_waiting_and_forgets_no_wrong_guess(floor: Floor, ida: int) -> None:
    later = 60 * 24 * 365
    for minute in range(sessions.GUESSES_BY_NAME):
        with pytest.raises(NotSignedInError):
            sessions.sign_in(floor.database, "Ida", "wrong", at(later + minute))
    with pytest.raises(NotSignedInError):
        sessions.sign_in(floor.database, "Ida", "wrong", at())
    with pytest.raises(ThrottledError):
        sessions.sign_in(floor.database, "Ida", PASSWORD, at(0.1))
    assert sessions.sign_in(floor.database, "Ida", PASSWORD, at(30))


def test_a_new_password_ends_the_other_sessions(floor: Floor, ida: int) -> None:
    mine, other = (sessions.sign_in(floor.database, "Ida", PASSWORD, at()) for _ in range(2))
    people.set_password(floor.database, ida, "another good password", keep=sessions.digest_of_session(mine))
    assert sessions.bearer_of(floor.database, mine, START).name == "Ida"
    with pytest.raises(NotSignedInError):
        sessions.bearer_of(floor.database, other, START)
    with pytest.raises(NotSignedInError):
        sessions.sign_in(floor.database, "Ida", PASSWORD, at())


def test_a_person_who_was_withdrawn_gets_in_no_more_by_any_way(floor: Floor, ida: int) -> None:
    with_password(floor, "Ada", Role.ADMIN)
    secret = sessions.sign_in(floor.database, "Ida", PASSWORD, at())
    badge = people.make_badge(floor.database, ida, now=START)
    people.withdraw_person(floor.database, ida, now=START)
    with pytest.raises(NotSignedInError):
        sessions.bearer_of(floor.database, secret, START)
    with pytest.raises(NotSignedInError):
        sessions.sign_in(floor.database, "Ida", PASSWORD, at())
    with pytest.raises(NotSignedInError):
        sessions.sign_in_by_badge(floor.database, badge, at())
    with pytest.raises(ConflictError):
        people.add_person(floor.database, "Ida", Role.STATION, password=None, now=START)


def test_the_last_administrator_stays(floor: Floor) -> None:
    ada = with_password(floor, "Ada", Role.ADMIN)
    with pytest.raises(ConflictError):
        people.set_role(floor.database, ada, Role.OFFICE)
    with pytest.raises(ConflictError):
        people.withdraw_person(floor.database, ada, now=START)
    with_password(floor, "Eve", Role.ADMIN)
    people.set_role(floor.database, ada, Role.OFFICE)


@pytest.mark.parametrize("password", ["", "short", "x" * 201])
def test_a_password_that_is_too_short_or_too_long_is_refused_by_its_field(floor: Floor, password: str) -> None:
    with pytest.raises(InvalidInputError) as refused:
        people.add_person(floor.database, "Ida", Role.OFFICE, password=password, now=START)
    assert [fault.where for fault in refused.value.faults] == [{"field": "password"}]
    assert people.list_people(floor.database) == []


# Tablets and badges


def paired(floor: Floor, station: str = "PACK-1") -> str:
    return sessions.pair(floor.database, sessions.make_pairing(floor.database, station, now=START), at(1))


def test_a_pairing_code_signs_one_tablet_in_as_its_station_until_it_is_withdrawn(floor: Floor) -> None:
    code = sessions.make_pairing(floor.database, "CUT-1", now=START)
    secret = sessions.pair(floor.database, f"{code[:4].lower()} {code[4:]}", at(9))
    later = START + timedelta(days=90)
    bearer = sessions.bearer_of(floor.database, secret, later)
    assert (bearer.station, bearer.role) == ("CUT-1", Role.STATION)
    with pytest.raises(NotSignedInError):
        sessions.pair(floor.database, code, at(9))
    withdraw_token(floor.database, bearer.name, now=later)
    with pytest.raises(NotSignedInError):
        sessions.bearer_of(floor.database, secret, later)


def test_a_pairing_code_is_good_for_ten_minutes(floor: Floor) -> None:
    code = sessions.make_pairing(floor.database, "CUT-1", now=START)
    with pytest.raises(NotSignedInError):
        sessions.pair(floor.database, code, at(10.1))
    with pytest.raises(NotFoundError):
        sessions.make_pairing(floor.database, "NONE", now=START)


@pytest.mark.parametrize(
    ("role", "may"),
    [(Role.STATION, Role.STATION), (Role.PACKER, Role.PACKER), (Role.FOREMAN, Role.PACKER), (Role.ADMIN, Role.PACKER)],
)
def test_at_a_tablet_scans_are_those_of_the_badge_and_it_opens_the_bench_at_most(
    floor: Floor, role: Role, may: Role
) -> None:
    secret = paired(floor)
    number = people.add_person(floor.database, "Bo", role, password=None, now=START)
    badge = people.make_badge(floor.database, number, now=START)
    assert read_code(badge).kind is Kind.WORKER
    assert sessions.note_badge(floor.database, secret, badge, at()) == "Bo"
    bearer = sessions.bearer_of(floor.database, secret, START + timedelta(hours=3.9))
    assert (bearer.name, bearer.role, bearer.station) == ("Bo", may, "PACK-1")
    assert sessions.bearer_of(floor.database, secret, START + timedelta(hours=4.1)).name != "Bo"


def test_a_new_badge_ends_the_old_one_and_what_is_no_badge_is_nobodys(floor: Floor, ida: int) -> None:
    secret = paired(floor)
    old = people.make_badge(floor.database, ida, now=START)
    new = people.make_badge(floor.database, ida, now=START)
    for code in (old, floor.deck, "W0000", ""):
        with pytest.raises(NotSignedInError):
            sessions.note_badge(floor.database, secret, code, at())
    assert sessions.note_badge(floor.database, secret, new, at()) == "Ida"
    assert sessions.sign_in_by_badge(floor.database, new, at()).name == "Ida"


def test_a_badge_that_was_withdrawn_signs_nothing_more_at_the_tablet_where_it_was_scanned(floor: Floor) -> None:
    secret = paired(floor)
    number = people.add_person(floor.database, "Bo", Role.PACKER, password=None, now=START)
    sessions.note_badge(floor.database, secret, people.make_badge(floor.database, number, now=START), at())
    badges.withdraw_badges(floor.database, number, now=START)
    assert sessions.bearer_of(floor.database, secret, START).name != "Bo"


def test_who_goes_on_scanning_stays_who_scans_all_day_and_a_screen_that_only_looks_keeps_nobody(floor: Floor) -> None:
    secret = paired(floor)
    number = people.add_person(floor.database, "Bo", Role.PACKER, password=None, now=START)
    sessions.note_badge(floor.database, secret, people.make_badge(floor.database, number, now=START), at())
    for hours in (3.0, 6.0, 9.0):
        assert sessions.bearer_of(floor.database, secret, START + timedelta(hours=hours), acts=True).name == "Bo"
    for hours in (10, 11, 12, 12.9):
        assert sessions.bearer_of(floor.database, secret, START + timedelta(hours=hours)).name == "Bo"
    assert sessions.bearer_of(floor.database, secret, START + timedelta(hours=13.1)).name != "Bo"


def test_a_badge_gives_nothing_to_a_session_that_stands_at_no_station(floor: Floor, ida: int) -> None:
    make_token(floor.database, "wall", Role.STATION, secret=lambda: "the wall's", now=START)
    secret = sessions.sign_in_by_token(floor.database, "the wall's", at())
    sessions.note_badge(floor.database, secret, people.make_badge(floor.database, ida, now=START), at())
    bearer = sessions.bearer_of(floor.database, secret, START)
    assert (bearer.name, bearer.role) == ("wall", Role.STATION)


def test_badges_cannot_be_made_up_from_one_another(floor: Floor, ida: int) -> None:
    numbers = [read_code(people.make_badge(floor.database, ida, now=START)).number for _ in range(20)]
    assert len(set(numbers)) == 20
    assert max(numbers) - min(numbers) > 1_000_000, "by chance out of a hundred million"


def test_a_token_opens_a_session_that_ends_with_it(floor: Floor) -> None:
    make_token(floor.database, "wall", Role.STATION, secret=lambda: "the wall's", now=START)
    secret = sessions.sign_in_by_token(floor.database, "the wall's", at())
    assert sessions.bearer_of(floor.database, secret, START).name == "wall"
    withdraw_token(floor.database, "wall", now=START)
    with pytest.raises(NotSignedInError):
        sessions.bearer_of(floor.database, secret, START)


# Guesses


def guess(floor: Floor, attempt: Attempt, name: str = "Ida") -> type[Exception]:
    with pytest.raises(NotSignedInError) as refused:
        sessions.sign_in(floor.database, name, "a wrong password", attempt)
    return refused.type


def guess_a_token(floor: Floor, attempt: Attempt) -> type[Exception]:
    """Guess from the same address without the work that a password costs."""
    with pytest.raises(NotSignedInError) as refused:
        sessions.sign_in_by_token(floor.database, "no token", attempt)
    return refused.type


def test_after_five_wrong_guesses_at_a_name_even_the_right_password_waits(floor: Floor, ida: int) -> None:
    assert [guess(floor, at()) for _ in range(5)] == [NotSignedInError] * 5
    with pytest.raises(ThrottledError) as wait:
        sessions.sign_in(floor.database, "IDA", PASSWORD, at(address="198.51.100.1"))
    assert 1 <= wait.value.wait_s <= 11
    assert sessions.sign_in(floor.database, "Ida", PASSWORD, at(0.2))
    assert guess(floor, at(0.2)) is NotSignedInError, "what came before is forgotten"


def test_each_further_guess_doubles_the_wait_up_to_a_quarter_of_an_hour(floor: Floor, ida: int) -> None:
    minutes, waits = 0.0, []
    for _ in range(5):
        guess(floor, at(minutes))
    for _ in range(9):
        with pytest.raises(ThrottledError) as wait:
            sessions.sign_in(floor.database, "Ida", PASSWORD, at(minutes))
        waits.append(wait.value.wait_s)
        minutes += wait.value.wait_s / 60
        assert guess(floor, at(minutes)) is NotSignedInError
    assert waits[:4] == [11, 21, 41, 81]
    assert max(waits) == 901


def test_guessing_at_many_names_from_one_address_is_throttled_too(floor: Floor, ida: int) -> None:
    for number in range(3):
        assert guess(floor, at(), name=f"name {number}") is NotSignedInError
    for _number in range(27):
        assert guess_a_token(floor, at()) is NotSignedInError
    with pytest.raises(ThrottledError):
        sessions.sign_in(floor.database, "Ida", PASSWORD, at())
    assert sessions.sign_in(floor.database, "Ida", PASSWORD, at(address="198.51.100.2"))
    with pytest.raises(ThrottledError):
        sessions.pair(floor.database, "ABCD2345", at())


def test_a_days_slips_of_the_finger_do_not_shut_out_a_shop_behind_one_address(floor: Floor, ida: int) -> None:
    for number in range(60):
        assert guess_a_token(floor, at(5 * number)) is NotSignedInError
    assert guess(floor, at(300), name="name") is NotSignedInError


def test_signing_in_rightly_is_no_guess_that_counts(floor: Floor, ida: int) -> None:
    make_token(floor.database, "wall", Role.STATION, secret=lambda: "the wall's", now=START)
    for _sign_in in range(36):
        sessions.sign_in_by_token(floor.database, "the wall's", at())
    for _sign_in in range(6):  # more than are forgiven in a row
        sessions.sign_in(floor.database, "Ida", PASSWORD, at())


def test_many_guesses_at_once_are_no_more_guesses(floor: Floor, ida: int) -> None:
    with ThreadPoolExecutor(12) as pool:
        answers = list(pool.map(lambda _number: guess(floor, at()), range(12)))
    assert sorted(each.__name__ for each in answers) == ["NotSignedInError"] * 5 + ["ThrottledError"] * 7


def test_an_accented_letter_is_the_same_however_the_keyboard_writes_it(floor: Floor) -> None:
    people.add_person(floor.database, "Zoe", Role.PACKER, password="caf\u00e9 au lait", now=START)  # noqa: S106
    assert sessions.sign_in(floor.database, "Zoe", "cafe\u0301 au lait", at())


def test_a_person_reads_in_the_language_and_units_that_they_chose(floor: Floor, ida: int) -> None:
    people.set_choices(floor.database, ida, language="es", units=Units.INCH)
    bearer = sessions.bearer_of(floor.database, sessions.sign_in(floor.database, "Ida", PASSWORD, at()), START)
    assert (bearer.language, bearer.units) == ("es", "in")
    with pytest.raises(InvalidInputError):
        people.set_choices(floor.database, ida, language="tlh", units=None)
