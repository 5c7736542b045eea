"""Signing in: by one-time code first, then by PIN or password; locked after failed tries; ended by itself."""

from datetime import timedelta

import pytest
from argon2 import PasswordHasher

from qc import clock
from qc.errors import UsageError
from qc.jobs.new import new_workshop
from qc.jobs.people import (
    NO_LIST,
    PASSWORD,
    PIN,
    SignInRefused,
    StoreDoorkeeper,
    add_person,
    leave,
    passwords,
    reset_person,
    signing,
)
from qc.jobs.roles import Role
from qc.jobs.workshop import open_workshop

WORDS = "anvil heron plum gate"


@pytest.fixture(scope="session")
def quick():
    """The same hash with the least work, so that a test of a rule does not pay for its slowness."""
    return PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)


@pytest.fixture
def shop(tmp_path, monkeypatch, quick):
    monkeypatch.setattr(passwords, "_HASHER", quick)
    new_workshop(tmp_path / "shop")
    workshop = open_workshop(tmp_path / "shop")
    yield workshop
    workshop.store.close()


@pytest.fixture
def keeper(shop):
    return StoreDoorkeeper(shop.folder)


@pytest.fixture
def later(monkeypatch):
    """Let the clock go on."""
    real, gone = clock.now, [timedelta(0)]
    monkeypatch.setattr(clock, "now", lambda: real() + gone[0])

    def pass_by(**time):
        gone[0] += timedelta(**time)

    return pass_by


@pytest.fixture
def lead(shop, keeper):
    """BK, a lead, who has set PIN and password."""
    once = add_person(shop, "BK", "lead", name="Bo Kestrel").one_time_code
    keeper.set_up("BK", once, "4071", WORDS)
    return "BK"


def test_the_first_sign_in_sets_pin_and_password_and_the_code_is_used_up(shop, keeper):
    once = add_person(shop, "BK", "lead", name="Bo Kestrel").one_time_code
    cookie = keeper.set_up("BK", once.lower().replace("-", " "), "4071", WORDS)
    own = keeper.signed(cookie)
    assert (own.code, own.name, own.role, own.acts_as) == ("BK", "Bo Kestrel", Role.LEAD, Role.LEAD)
    with pytest.raises(SignInRefused, match="used already"):
        keeper.set_up("BK", once, "4072", WORDS)
    assert shop.store.verify() == [] and shop.store.people()[0].signed_up


def test_a_pin_that_is_refused_leaves_the_code_to_be_used_again(shop, keeper):
    once = add_person(shop, "BK", "lead").one_time_code
    with pytest.raises(UsageError, match="first that anybody would try"):
        keeper.set_up("BK", once, "1234", WORDS)
    assert keeper.signed(keeper.set_up("BK", once, "4071", WORDS))


def test_a_code_that_is_too_old_or_of_another_is_refused(shop, keeper, later):
    mine, other = add_person(shop, "BK", "lead").one_time_code, add_person(shop, "CD", "lead").one_time_code
    with pytest.raises(SignInRefused, match="do not fit"):
        keeper.set_up("BK", other, "4071", WORDS)
    later(days=8)
    with pytest.raises(SignInRefused, match="too old"):
        keeper.set_up("BK", mine, "4071", WORDS)


def test_a_pin_makes_a_technician_and_a_password_what_one_is(keeper, lead):
    by_pin = keeper.signed(keeper.sign_in(lead, "4071", PIN))
    assert (by_pin.role, by_pin.acts_as) == (Role.LEAD, Role.TECHNICIAN)
    assert keeper.signed(keeper.sign_in(lead, WORDS, PASSWORD)).acts_as is Role.LEAD


@pytest.mark.parametrize(
    "code, secret, by", [("BK", WORDS, PIN), ("BK", "4071", PASSWORD), ("BK", "", PIN), ("ZZ", "4071", PIN)]
)
def test_what_does_not_fit_is_told_alike(keeper, lead, code, secret, by):
    with pytest.raises(
        SignInRefused, match="^Code and (PIN|password) do not fit. Try again; after some tries"
    ):
        keeper.sign_in(code, secret, by)


def test_failed_tries_lock_and_a_good_one_begins_anew(keeper, lead, later):
    def fail(match):
        with pytest.raises(SignInRefused, match=match):
            keeper.sign_in(lead, "9090", PIN)

    for _ in range(4):
        fail("do not fit")
    keeper.sign_in(lead, "4071", PIN)
    for _ in range(5):
        fail("do not fit")
    fail("can sign in again in 1 minute,")
    with pytest.raises(SignInRefused, match="Too many tries"):
        keeper.sign_in(lead, "4071", PIN)
    later(minutes=2)
    fail("do not fit")
    fail("again in 2 minutes")
    later(minutes=3)
    assert keeper.signed(keeper.sign_in(lead, "4071", PIN))


def test_failed_tries_count_over_a_new_start_of_the_board(shop, keeper, lead):
    for _ in range(5):
        with pytest.raises(SignInRefused):
            keeper.sign_in(lead, "9090", PIN)
    with pytest.raises(SignInRefused, match="Too many"):
        StoreDoorkeeper(shop.folder).sign_in(lead, "4071", PIN)


def test_a_one_time_code_cannot_be_tried_out(shop, keeper):
    once = add_person(shop, "BK", "lead").one_time_code
    for _ in range(5):
        with pytest.raises(SignInRefused, match="do not fit"):
            keeper.set_up("BK", "AAAA-AAAA-AAAA", "4071", WORDS)
    with pytest.raises(SignInRefused, match="Too many tries"):
        keeper.set_up("BK", once, "4071", WORDS)


@pytest.mark.parametrize("by, secret, idle", [(PIN, "4071", 60), (PASSWORD, WORDS, 240)])
def test_a_session_ends_unused_sooner_by_pin_and_in_any_case_after_a_day_of_work(
    keeper, lead, later, by, secret, idle
):
    cookie = keeper.sign_in(lead, secret, by)
    for _ in range(3):
        later(minutes=idle - 2)
        if clock.now() - keeper._store.session(signing._digest(cookie)).begun < signing.LONGEST:
            assert keeper.signed(cookie)
    later(minutes=idle + 1)
    assert keeper.signed(cookie) is None
    later(days=1)
    fresh = keeper.sign_in(lead, secret, by)
    for _ in range(40):
        later(minutes=20)
        keeper.signed(fresh)
    assert keeper.signed(fresh) is None


def test_a_session_survives_a_new_start_and_ends_by_signing_out(shop, keeper, lead):
    cookie = keeper.sign_in(lead, "4071", PIN)
    again = StoreDoorkeeper(shop.folder)
    assert again.signed(cookie).code == lead
    again.sign_out(cookie)
    assert keeper.signed(cookie) is None


def test_a_screen_on_the_wall_lasts_a_month_untouched_and_decides_nothing(shop, keeper, lead, later):
    with pytest.raises(SignInRefused, match="takes your password"):
        keeper.hang(keeper.sign_in(lead, "4071", PIN))
    first = keeper.sign_in(lead, WORDS, PASSWORD)
    hung = keeper.hang(first)
    assert keeper.signed(first) is None
    later(days=30)
    own = keeper.signed(hung)
    assert (own.code, own.by, own.role, own.acts_as) == (lead, "wall", Role.LEAD, Role.TECHNICIAN)
    later(days=2)
    assert keeper.signed(hung) is None
    again = keeper.hang(keeper.sign_in(lead, WORDS, PASSWORD))
    leave(shop, lead)
    assert keeper.signed(again) is None


def test_who_leaves_or_is_given_a_new_code_is_signed_out_at_once(shop, keeper, lead):
    cookie = keeper.sign_in(lead, WORDS, PASSWORD)
    once = reset_person(shop, lead).one_time_code
    assert keeper.signed(cookie) is None
    with pytest.raises(SignInRefused):
        keeper.sign_in(lead, WORDS, PASSWORD)
    cookie = keeper.set_up(lead, once, "8306", WORDS)
    leave(shop, lead)
    assert keeper.signed(cookie) is None
    with pytest.raises(SignInRefused, match="do not fit"):
        keeper.sign_in(lead, WORDS, PASSWORD)
    assert keeper.asks(), "a list stays one when everybody has left"


def test_a_new_role_holds_at_once(shop, keeper, lead):
    cookie = keeper.sign_in(lead, WORDS, PASSWORD)
    add_person(shop, lead, "technician")
    assert keeper.signed(cookie).acts_as is Role.TECHNICIAN


@pytest.mark.file
def test_the_store_tells_nobody_how_to_sign_in(shop, keeper, lead):
    cookie = keeper.sign_in(lead, "4071", PIN)
    kept = b"".join(file.read_bytes() for file in shop.folder.glob("qc.db*"))
    assert cookie.encode() not in kept and WORDS.encode() not in kept
    assert b"$argon2id$" in kept


def test_a_link_signs_in_once_as_the_plans_lead_while_there_is_no_list(shop, keeper):
    link = keeper.link()
    cookie = keeper.follow(link)
    own = keeper.signed(cookie)
    assert (own.code, own.name, own.acts_as) == ("QL", "Quality lead", Role.LEAD)
    with pytest.raises(SignInRefused, match="used already"):
        keeper.follow(link)
    other = keeper.link()
    add_person(shop, "BK", "lead")
    assert keeper.signed(cookie) is None and keeper.link() == ""
    with pytest.raises(SignInRefused):
        keeper.follow(other)


def test_an_open_board_knows_nobody():
    door = signing.OpenDoor()
    assert (door.asks(), door.signed("x"), door.at_work(), door.link()) == (False, None, [], "")
    with pytest.raises(SignInRefused, match="qc people add CODE"):
        door.sign_in("BK", "4071", PIN)
    with pytest.raises(SignInRefused):
        door.set_up("BK", "x", "4071", WORDS)
    assert NO_LIST.endswith("--role owner")
