"""Where everything lies on the picture on which dates are moved."""

from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from handover.plans.slider import ROW, Thing, slider
from handover.schedule.problem import Closed

MONDAY = date(2027, 3, 1)
FINGER = 44  # pixels: the least size of a target on this project's pages
offsets = st.integers(0, 400)


def part(text: str) -> float:
    assert text.endswith("%")
    return float(text[:-1])


def thing(on=10, opens=5, closes=15, home=None, label="Recheck"):
    numbers = {"on": on, "home": home, "opens": opens, "closes": closes}
    days = {name: None if n is None else MONDAY + timedelta(n) for name, n in numbers.items()}
    return Thing("recheck:1", label, state="coming", **days)


@given(st.lists(st.tuples(offsets, offsets, offsets).map(sorted), min_size=1, max_size=9))
def test_every_dot_lies_on_its_bar_and_on_the_picture(days):
    picture = slider([thing(on, opens, closes) for opens, on, closes in days], MONDAY, {})

    for track in picture.tracks:
        left, width = part(track.window.x), part(track.window.width)
        assert left <= part(track.on_x) <= left + width
        assert 0 <= left
        assert left + width <= 100
        assert picture.top < track.middle < picture.height


@given(offsets, offsets)
def test_the_scale_that_the_page_is_told_is_the_one_that_the_dots_lie_on(one, other):
    """The script works days out from the first day, their number and the edge, as percent of the width."""
    picture = slider([thing(one, home=other)], MONDAY, {})
    (track,) = picture.tracks

    for day, x in ((track.on, track.on_x), (track.home, track.home_x)):
        number = (day - picture.first).days
        told = picture.edge + (100 - 2 * picture.edge) * (number + 0.5) / picture.days
        assert abs(part(x) - told) < 0.01


def test_rows_leave_room_for_a_finger():
    assert ROW >= FINGER


def test_a_date_that_stays_has_not_moved_and_a_new_one_has_no_home():
    stays, moves, new = slider([thing(10, home=10), thing(10, home=9), thing(10)], MONDAY, {}).tracks

    assert [track.has_moved for track in (stays, moves, new)] == [False, True, False]


def test_there_is_room_to_drag_the_last_date_later_and_todays_line_is_on_the_picture():
    picture = slider([thing(30)], MONDAY, {"clinic": Closed(frozenset({5, 6}))})

    assert picture.first + timedelta(picture.days - 1) >= MONDAY + timedelta(30 + 14)
    assert 0 < part(picture.today.x) < part(picture.tracks[0].on_x) < 100
    assert len(picture.closed) >= 6


def test_a_long_label_is_shortened_for_a_phone_and_whole_for_the_desk():
    (track,) = slider([thing(label="Bandage check and change · left hind limb (no. 12)")], MONDAY, {}).tracks

    assert track.label.endswith("left hind limb (no. 12)")
    assert track.short.endswith("… (no. 12)")
    assert len(track.short) <= 30
