"""What people sign in with: what is refused, how it is kept, how long a row of failed tries locks."""

from datetime import timedelta

import pytest

from qc.errors import UsageError
from qc.jobs.people import passwords


@pytest.mark.parametrize("pin", ["4071", "83920175"])
def test_a_pin_is_digits_without_an_order(pin):
    passwords.refuse_pin(pin)


@pytest.mark.parametrize(
    "pin", ["", "123", "407a", "4444", "1234", "9876", "7890", "407140714", "٤٠٧١", "40 71"]
)
def test_what_is_no_pin_or_the_first_that_is_tried_is_refused(pin):
    with pytest.raises(UsageError, match="PIN"):
        passwords.refuse_pin(pin)


def test_the_own_code_is_no_pin():
    with pytest.raises(UsageError, match="first that anybody"):
        passwords.refuse_pin("4071", "4071")


@pytest.mark.parametrize(
    "password", ["short", "a" * 12, "abababababab", "x" * 129, "Bo Kestrel BK", "kestrelkestrel"]
)
def test_a_password_too_short_too_long_or_of_the_own_name_is_refused(password):
    with pytest.raises(UsageError, match="password"):
        passwords.refuse_password(password, "BK", "Bo Kestrel")


def test_four_words_are_a_password():
    passwords.refuse_password("anvil heron plum gate", "BK", "Bo Kestrel")


def test_a_secret_is_kept_as_argon2id_with_the_parameters_of_rfc_9106():
    """RFC 9106, section 4, second recommended option: t=3, p=4, m=2^16 KiB, 128-bit salt, 256-bit tag."""
    kept = passwords.keep_secret("4071")
    assert kept.startswith("$argon2id$v=19$m=65536,t=3,p=4$")
    salt, tag = kept.split("$")[-2:]
    assert len(salt) * 6 // 8 == 16 and len(tag) * 6 // 8 == 32
    assert passwords.is_secret(kept, "4071")
    assert not passwords.is_secret(kept, "4072")
    assert not passwords.is_secret("", "4071") and not passwords.is_secret("no hash", "4071")


def test_one_time_codes_differ_and_are_taken_however_they_are_typed():
    codes = {passwords.new_once() for _ in range(50)}
    assert len(codes) == 50
    one = codes.pop()
    assert passwords.once_digest(one) == passwords.once_digest(one.lower().replace("-", " "))
    assert passwords.once_digest(one) != passwords.once_digest(codes.pop())


def test_each_failed_try_locks_longer_up_to_half_a_day():
    locks = [passwords.lock_for(n) for n in range(30)]
    assert locks[:5] == [timedelta(0)] * 5 and locks == sorted(locks)
    assert locks[5] == timedelta(minutes=1) and locks[-1] == timedelta(hours=12)
