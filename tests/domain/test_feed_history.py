"""What a calendar says of one thing after it moved, went and came back; and the clock that it brings with it."""

import io
import uuid
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from dateutil.tz import tzical

from handover.feeds.clockwork import clock_of
from handover.feeds.history import State, entry_of

UID, ZONE = uuid.UUID(int=1), ZoneInfo("Europe/London")
RECHECK = State(date(2027, 3, 10), "recheck", True)
LATER = State(date(2027, 3, 12), "recheck", True)


def at(day: int) -> datetime:
    return datetime(2027, 3, day, 9, tzinfo=UTC)


def after(*states):
    return entry_of(UID, states, ZONE)


def test_a_thing_that_never_was_is_on_no_calendar():
    assert after((at(1), None), (at(2), None)) is None


def test_a_thing_as_it_was_first_promised_has_revision_nought():
    entry = after((at(1), None), (at(2), RECHECK), (at(3), RECHECK))

    assert (entry.revision, entry.made_at, entry.changed_at, entry.is_cancelled) == (0, at(2), at(2), False)


def test_each_change_raises_the_revision_by_one_and_moves_the_stamp():
    entry = after((at(1), RECHECK), (at(2), LATER), (at(3), LATER), (at(4), RECHECK))

    assert (entry.state, entry.revision, entry.made_at, entry.changed_at) == (RECHECK, 2, at(1), at(4))


def test_what_disappears_is_cancelled_with_its_last_day_and_what_comes_back_is_not():
    gone = after((at(1), RECHECK), (at(2), None), (at(3), None))
    back = after((at(1), RECHECK), (at(2), None), (at(3), RECHECK))

    assert (gone.is_cancelled, gone.state, gone.revision, gone.changed_at) == (True, RECHECK, 1, at(2))
    assert (back.is_cancelled, back.revision, back.changed_at) == (False, 2, at(3))


def test_what_took_place_before_it_disappeared_was_not_cancelled():
    visit = after((at(1), RECHECK), (at(11), None))
    dose = after((at(1), State(at(2), "dose")), (at(3), None))

    assert (visit.is_cancelled, visit.revision, dose.is_cancelled) == (False, 0, False)


# Half an hour of summer time, none at all, both halves of the globe, and summer time as a negative one.
@pytest.mark.parametrize(
    "zone", ["Europe/London", "America/New_York", "Australia/Lord_Howe", "Asia/Kolkata", "Pacific/Auckland", "Europe/Dublin"]
)
def test_the_clock_of_a_calendar_shows_what_the_zone_shows_in_every_quarter_of_an_hour(zone):
    """Read back by dateutil, which knows nothing of the zone but what the file says, against the time zone database."""
    text = clock_of(zone, date(2026, 1, 1), date(2029, 1, 1)).to_ical().decode()
    read = tzical(io.StringIO(text)).get(zone)
    at, wrong = datetime(2026, 6, 1, tzinfo=UTC), []
    while at.year < 2028:
        local = at.astimezone(ZoneInfo(zone))
        if local.replace(tzinfo=read).utcoffset() != local.utcoffset():
            wrong.append(local)
        at += timedelta(minutes=15)

    assert wrong == []
