"""Clutches: from the image to the hatch; incubators and their logs; who may do what."""

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import DatabaseError, transaction
from django.urls import reverse
from django.utils.timezone import localtime

from hospital.admissions.models import Finder, Patient
from hospital.clock import now
from hospital.clutches import actions
from hospital.clutches.models import Clutch, Egg, Reading
from hospital.clutches.queries import Standing, with_all
from hospital.clutches.wording import FAULTS
from hospital.edits import EditCollision
from hospital.medications.models import MedicationOrder
from hospital.rules.logfile import Fault, Row
from tests import make

pytestmark = pytest.mark.django_db
D = Decimal
DAY, HOUR = timedelta(days=1), timedelta(hours=1)


def url(name, patient, *args):
    return reverse(f"clutches:{name}", args=[patient.case_number, *args])


def stamp(moment):
    return f"{localtime(moment):%Y-%m-%dT%H:%M}"


@pytest.fixture
def dam(vet):
    """A snapping turtle: its days are published without a temperature."""
    return make.patient(vet, species=make.species("Chelydra serpentina", "Common snapping turtle"), days_ago=60)


@pytest.fixture
def incubator(hospital, vet):
    return actions.add_incubator(hospital, by=vet, name="Incubator 1", target_c=D(28), alarm_low_c=D(26), alarm_high_c=D(31))


def laid(dam, by, *, eggs=4, days_ago=30, incubator=None):
    clutch = actions.begin_clutch(dam, by=by, imaged_on=None, imaged_eggs=None, is_way_clear=False)
    return actions.record_laying(
        clutch, by=by, seen_version=1, laid_from=now() - days_ago * DAY, laid_until=None, eggs=eggs, is_top_marked=True, incubator=incubator
    )


def standing(clutch):
    return Standing(with_all(Clutch.objects.filter(pk=clutch.pk)).get(), now())


def text(answer):
    return " ".join(answer.content.decode().split())


# --- from the image to the eggs -----------------------------------------------------------------------------------


def test_a_clutch_is_begun_and_eggs_are_laid(client, dam, nurse, incubator):
    client.force_login(nurse)

    begun = client.post(url("begin", dam), {"imaged_on": "", "note": ""}, follow=True)
    clutch = dam.clutches.get()
    page = {"laid_from": stamp(now() - 2 * DAY), "laid_until": "", "eggs": "3", "is_top_marked": "on", "seen_version": "1"}
    answer = client.post(url("lay", dam, clutch.pk), page | {"incubator": incubator.pk}, follow=True)

    assert "No egg is laid yet" in text(begun)
    assert [egg.number for egg in clutch.eggs.all()] == [1, 2, 3]
    assert dam.milestones.get().event == "egg_laid"  # the care plan counts from it
    assert "never turned after 12 to 24 hours" in text(answer)
    assert "salmonella" in text(answer)


def test_only_a_vet_says_that_the_way_is_clear_and_on_which_image(dam, nurse, vet):
    seen = dict(imaged_on=now().date(), imaged_eggs=5, is_way_clear=True)

    with pytest.raises(ValidationError, match="vet’s judgement"):
        actions.begin_clutch(dam, by=nurse, **seen)
    with pytest.raises(ValidationError, match="day of the image"):
        actions.begin_clutch(dam, by=vet, **seen | {"imaged_on": None})

    assert actions.begin_clutch(dam, by=vet, **seen).is_way_clear


def test_an_induction_is_an_order_that_was_written_where_medicines_are_ordered(client, dam, vet):
    order = make.order(dam, drug="oxytocin", dose_unit="unit", strength_unit="unit", route="muscle")
    blind = actions.begin_clutch(dam, by=vet, imaged_on=None, imaged_eggs=None, is_way_clear=False)
    clear = actions.begin_clutch(dam, by=vet, imaged_on=now().date(), imaged_eggs=5, is_way_clear=True)

    with pytest.raises(ValidationError, match="nothing blocks the way"):
        actions.tie_induction(blind, by=vet, order=order)
    client.force_login(vet)
    answer = client.post(url("induce", dam, clear.pk), {"order": order.pk}, follow=True)

    assert clear.inductions.get().order == order
    assert "oxytocin" in text(answer)
    assert MedicationOrder.written.count() == 1  # none was made beside the order's own page
    with pytest.raises(ValidationError, match="belongs to a clutch already"):
        actions.tie_induction(clear, by=vet, order=order)


def test_an_order_of_another_animal_cannot_be_tied(dam, patient, vet):
    clear = actions.begin_clutch(dam, by=vet, imaged_on=now().date(), imaged_eggs=5, is_way_clear=True)

    with pytest.raises(ValidationError):
        actions.tie_induction(clear, by=vet, order=make.order(patient))


def test_laying_twice_at_once_is_refused_and_later_eggs_go_on_counting(dam, vet):
    clutch = laid(dam, vet, eggs=2)
    more = dict(by=vet, laid_from=now() - DAY, laid_until=None, eggs=2, is_top_marked=True)

    with pytest.raises(EditCollision):
        actions.record_laying(clutch, seen_version=1, **more)
    actions.record_laying(clutch, seen_version=2, **more)

    assert [egg.number for egg in clutch.eggs.all()] == [1, 2, 3, 4]
    assert Clutch.objects.get(pk=clutch.pk).laid_from == clutch.laid_from


@pytest.mark.parametrize(("laid_from", "sentence"), [(1 * DAY, "in the future"), (-90 * DAY, "before admission")])
def test_eggs_are_not_laid_in_the_future_nor_before_admission(dam, vet, laid_from, sentence):
    clutch = actions.begin_clutch(dam, by=vet, imaged_on=None, imaged_eggs=None, is_way_clear=False)

    with pytest.raises(ValidationError, match=sentence):
        actions.record_laying(clutch, by=vet, seen_version=1, laid_from=now() + laid_from, laid_until=None, eggs=1, is_top_marked=False)


# --- the forecast -------------------------------------------------------------------------------------------------


def test_published_days_give_a_window_that_names_its_source(client, dam, vet):
    clutch = laid(dam, vet)
    client.force_login(vet)

    page = text(client.get(url("clutch", dam, clutch.pk)))

    assert standing(clutch).forecast.earliest == clutch.laid_from + 42 * DAY
    assert "42 to 56 days. Source: Wisconsin wildlife centre" in page


def test_without_published_days_the_page_says_so_and_from_when_to_watch(client, reference, vet):
    slider = make.patient(vet, species=make.species("Trachemys scripta"), days_ago=60)
    clutch = laid(slider, vet)
    client.force_login(vet)

    page = text(client.get(url("clutch", slider, clutch.pk)))

    assert "No published figures here." in page
    assert "is day 42: watch the eggs from" in page
    assert "Ask the authority before any egg hatches" in page
    assert standing(clutch).forecast is None


def test_a_vets_own_days_make_a_window_and_need_a_source(dam, vet):
    slider = make.patient(vet, species=make.species("Trachemys scripta", "Pond slider"), days_ago=60)
    clutch = laid(slider, vet)
    known = dict(by=vet, imaged_on=None, imaged_eggs=None, is_way_clear=False, own_days_least=60, own_days_most=75)

    with pytest.raises(ValidationError, match="where they are from"):
        actions.edit_clutch(Clutch.objects.get(pk=clutch.pk), seen_version=2, own_days_source="", **known)
    actions.edit_clutch(Clutch.objects.get(pk=clutch.pk), seen_version=2, own_days_source="Our clutch of last year", **known)

    found = standing(clutch)
    assert (found.forecast.earliest, found.figures.how_known) == (clutch.laid_from + 60 * DAY, "own figure")


def test_a_log_moves_the_window_of_a_species_with_temperatures(vet, incubator):
    softshell = make.patient(vet, species=make.species("Pelodiscus sinensis", "Chinese softshell"), days_ago=60)
    actions.edit_incubator(incubator, seen_version=1, target_c=D("31.6"), is_in_use=True, alarm_high_c=None)
    clutch = laid(softshell, vet, days_ago=10, incubator=incubator)
    warm = standing(clutch).forecast
    cool = [Row(clutch.laid_from + hours * HOUR, D(25)) for hours in range(0, 48, 6)]
    actions.add_readings(incubator, by=vet, rows=cool)
    cooled = standing(clutch).forecast

    assert round((warm.earliest - clutch.laid_from) / DAY, 3) == 53  # Oh & Kim 2017; moments are rounded to the second
    assert cooled.latest > warm.latest + DAY
    assert cooled.outside_hours >= 41


def test_warmth_is_taken_from_each_incubator_while_the_eggs_were_in_it(dam, vet, hospital, incubator):
    other = actions.add_incubator(hospital, by=vet, name="Incubator 2", target_c=D(30))
    clutch = laid(dam, vet, days_ago=10, incubator=incubator)
    actions.move_clutch(clutch, by=vet, incubator=other, since=now() - 5 * DAY)

    assert [float(piece.from_c) for piece in standing(clutch).pieces] == [28, 30]
    with pytest.raises(ValidationError, match="in this incubator already"):
        actions.move_clutch(clutch, by=vet, incubator=other, since=now())
    with pytest.raises(ValidationError, match="Eggs are in it"):
        actions.edit_incubator(other, seen_version=1, is_in_use=False)


# --- candling, losses, hatching -----------------------------------------------------------------------------------


def test_candling_says_of_each_egg_what_the_light_showed(client, dam, nurse):
    clutch = laid(dam, nurse)
    one, two, *_rest = clutch.eggs.all()
    client.force_login(nurse)

    page = {"candled_on": f"{now():%Y-%m-%d}", f"egg_{one.pk}": "developing", f"egg_{two.pk}": "clear"}
    answer = client.post(url("candle", dam, clutch.pk), page, follow=True)

    assert standing(clutch).counts == {"developing": 1, "clear": 1, "": 2}
    assert "Candled: developing" in text(answer)
    assert dam.milestones.filter(event="incubation_candle").count() == 1
    assert not standing(clutch).is_candling_late


def test_a_candling_is_late_after_three_weeks(dam, vet):
    assert standing(laid(dam, vet, days_ago=22)).is_candling_late
    assert not standing(laid(dam, vet, days_ago=21)).is_candling_late


def test_a_lost_egg_has_a_reason_is_lost_once_and_can_be_taken_back(client, dam, vet):
    clutch = laid(dam, vet)
    egg = clutch.eggs.first()
    client.force_login(vet)
    lost = {"eggs": [egg.pk], "ended_on": f"{now():%Y-%m-%d}", "loss": "rotten", "loss_note": ""}

    first = client.post(url("lose", dam, clutch.pk), lost)
    with pytest.raises(ValidationError, match="already written down what became of egg 1"):
        actions.lose_eggs(clutch, by=vet, eggs=[egg], ended_on=now().date(), loss="broken")
    back = client.post(url("take-loss-back", dam, clutch.pk, 1), {"is_sure": "on", "seen_version": "2"})

    assert (first.status_code, back.status_code) == (302, 302)
    assert Egg.objects.get(pk=egg.pk).end == ""


def test_hatchlings_are_cases_of_their_own_tied_to_their_dam(client, reference, dam, vet):
    dam.found_place, dam.finder = "Slip road", Finder.objects.create(hospital=dam.hospital, name="Private Person")
    dam.save()
    clutch = laid(dam, vet)
    client.force_login(vet)
    page = {"eggs": [egg.pk for egg in clutch.eggs.all()[:2]], "hatched_at": stamp(now()), "ward": "Tub 1"}
    page["key"] = "0b1d6a0e-7b5e-4b2f-9f5d-0b7c1f1e2a3b"

    client.post(url("hatch", dam, clutch.pk), page)
    again = client.post(url("hatch", dam, clutch.pk), page)

    one, two = Patient.objects.filter(dam=dam).order_by("pk")
    assert again.status_code == 302
    assert one.case_number != two.case_number
    assert (one.cause_id, one.found_place, one.finder, one.life_stage) == ("hatched-in-care", "Slip road", None, "neonate")
    assert one.milestones.get().event == "hatch"
    assert standing(clutch).counts == {"hatched": 2, "": 2}
    chart, clutch_page = text(client.get(reverse("chart:patient", args=[one.case_number]))), text(client.get(url("clutch", dam, clutch.pk)))
    assert dam.case_number in chart
    assert two.case_number in chart
    assert "Private Person" not in chart
    assert one.case_number in clutch_page
    assert one.case_number in text(client.get(reverse("chart:patient", args=[dam.case_number])))


def test_eggs_hatch_after_the_case_of_their_dam_is_closed(reference, dam, vet):
    clutch = laid(dam, vet, eggs=1)
    Patient.objects.filter(pk=dam.pk).update(closed_on=now().date())
    clutch = Clutch.objects.get(pk=clutch.pk)

    [young] = actions.hatch(clutch, by=vet, eggs=clutch.eggs.all(), hatched_at=now(), ward="", key=uuid4())

    assert young.is_in_care
    assert not standing(clutch).is_incubating


# --- incubators ---------------------------------------------------------------------------------------------------


def test_a_reading_is_added_once_and_never_changed(incubator, vet):
    at = now() - HOUR
    reading = actions.add_reading(incubator, by=vet, read_at=at, temperature_c=D("28.3"))

    with pytest.raises(ValidationError, match="reading of this moment"):
        actions.add_reading(incubator, by=vet, read_at=at, temperature_c=D("28.4"))
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        Reading.objects.filter(pk=reading.pk).update(temperature_c=D(30))
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        reading.delete()


def test_a_wrong_reading_is_set_aside_with_a_reason_and_counts_no_more(client, dam, vet, incubator):
    clutch = laid(dam, vet, incubator=incubator)
    wrong = actions.add_reading(incubator, by=vet, read_at=now() - HOUR, temperature_c=D("38.2"))
    client.force_login(vet)
    assert standing(clutch).is_out_of_range

    address = reverse("incubators:set-aside", args=[incubator.pk, wrong.pk])
    page = client.post(address, {"reason": "The probe lay on the lamp"}, follow=True)

    assert not standing(clutch).is_out_of_range
    assert all(piece.is_assumed for piece in standing(clutch).pieces)
    assert 'class="badge">set aside<' in text(page)
    assert "The probe lay on the lamp" in text(page)
    assert client.get(address).status_code == 404
    with pytest.raises(ValidationError, match="already"):
        actions.set_aside(wrong, by=vet, reason="again")


@pytest.fixture
def duck(vet):
    """A mallard: a bird, of which a vet wrote the days to hatch."""
    waterbird = make.group("waterbird", ("bird", "animal"))
    return make.patient(vet, species=make.species("Anas platyrhynchos", "Mallard", group=waterbird), days_ago=60)


def weighed(clutch, by, *grams, every=10):
    """Its first egg, weighed every so many days, for the last time today."""
    egg = clutch.eggs.first()
    for number, weight_g in enumerate(grams):
        on = now().date() - (len(grams) - 1 - number) * every * DAY
        actions.weigh_eggs(clutch, by=by, weighed_on=on, weights={egg.pk: D(weight_g)})


def expecting(clutch, vet, days=25):
    """The clutch with days to hatch of the vet's own."""
    own = {"own_days_least": days, "own_days_most": days, "own_days_source": "Our earlier clutches"}
    fresh = Clutch.objects.get(pk=clutch.pk)
    return actions.edit_clutch(fresh, by=vet, seen_version=fresh.version, imaged_on=None, imaged_eggs=None, is_way_clear=False, **own)


def test_eggs_are_weighed_together_with_a_comma_and_without_their_dish(client, dam, nurse):
    clutch = laid(dam, nurse)
    one, two, *_rest = clutch.eggs.all()
    client.force_login(nurse)
    page = {"weighed_on": f"{now():%Y-%m-%d}", "dish_g": "4,5", f"egg_{one.pk}": "15,75", f"egg_{two.pk}": "16"}

    first = client.post(url("weigh-eggs", dam, clutch.pk), page, follow=True)
    again = client.post(url("weigh-eggs", dam, clutch.pk), page)

    assert [one.weights.get().weight_g, two.weights.get().weight_g] == [D("11.25"), D("11.5")]
    assert "11.25 g" in text(first)
    assert again.status_code == 422
    assert "weighed on that day already" in text(again)
    assert 'value="15,75"' in again.content.decode()


@pytest.mark.parametrize(
    ("page", "sentence"),
    [({"weighed_on": "2099-01-01"}, "in the future"), ({"weighed_on": "2020-01-01"}, "laid later"), ({"dish_g": "20"}, "The dish alone")],
)
def test_weights_that_cannot_be_are_refused(client, dam, nurse, page, sentence):
    clutch = laid(dam, nurse)
    client.force_login(nurse)

    usual = {"weighed_on": f"{now():%Y-%m-%d}", f"egg_{clutch.eggs.first().pk}": "12"}
    answer = client.post(url("weigh-eggs", dam, clutch.pk), usual | page)

    assert answer.status_code == 422
    assert sentence in text(answer)


def test_a_weight_of_an_egg_is_corrected_never_over_somebody_elses_and_can_be_taken_back(client, dam, nurse):
    clutch = laid(dam, nurse)
    weighed(clutch, nurse, "12")
    weight = clutch.eggs.first().weights.get()
    client.force_login(nurse)
    address, day = url("correct-weight", dam, clutch.pk, 1, weight.pk), f"{now():%Y-%m-%d}"

    first = client.post(address, {"weighed_on": day, "weight_g": "11,25", "seen_version": "1"})
    stale = client.post(address, {"weighed_on": day, "weight_g": "13", "seen_version": "1"})
    assert (first.status_code, stale.status_code) == (302, 409)
    assert "Both versions" in text(stale)
    assert clutch.eggs.first().weights.get().weight_g == D("11.25")

    back = client.post(address, {"weighed_on": day, "weight_g": "", "seen_version": "2"})
    assert back.status_code == 302
    assert not clutch.eggs.first().weights.exists()


def test_an_egg_shows_its_loss_against_the_published_lines(client, duck, vet):
    """D04: 26.49 g at first and 22.78 g on day 24 of 25 are 14.0 % so far, 14.6 % by the hatch; aimed at are 13 to 17 %."""
    clutch = laid(duck, vet)
    expecting(clutch, vet)
    weighed(clutch, vet, "26.49", "22.78", every=24)
    client.force_login(vet)

    page = client.get(url("egg", duck, clutch.pk, 1))

    assert "22.78 g, 14% lost in 24 days: 0.155 g a day." in text(page)
    assert "it will have lost 14.6% after 25 days" in text(page)
    assert "Aimed at: 13 to 17%. Source: Duerr &amp; Gage" in text(page)
    assert '<polygon class="band"' in page.content.decode()
    assert not page.context["is_outside"]
    corners = [tuple(map(int, each.split(","))) for each in page.context["chart"].band.split()]
    assert corners[0] == (page.context["chart"].points[0].x, page.context["chart"].points[0].y)
    assert corners[1][1] < page.context["chart"].points[-1].y < corners[2][1]


@pytest.mark.parametrize(("newest", "sentence"), [("59", "less than natural"), ("54", "more than natural"), ("56.7", None)])
def test_only_a_loss_outside_natural_variation_is_called_out(client, duck, vet, newest, sentence):
    """Of 60 g after 10 of 25 days: 4.2 %, 25 % and 13.8 % by the hatch; natural is 10 to 20 %."""
    clutch = laid(duck, vet)
    expecting(clutch, vet)
    weighed(clutch, vet, "60", newest)
    client.force_login(vet)

    page = client.get(url("egg", duck, clutch.pk, 1))
    board = text(client.get(reverse("boards:clutches")))

    assert page.context["is_outside"] == bool(sentence)
    assert sentence is None or sentence in text(page)
    assert ("loses too much or too little" in board) == bool(sentence)


def test_where_no_band_or_no_day_of_the_hatch_is_known_the_page_says_so(client, dam, duck, vet):
    reptile, bird = laid(dam, vet), laid(duck, vet)
    weighed(reptile, vet, "12", "12.4")
    weighed(bird, vet, "60", "57")
    client.force_login(vet)

    of_reptile, of_bird = client.get(url("egg", dam, reptile.pk, 1)), client.get(url("egg", duck, bird.pk, 1))

    assert "12.4 g, 3.3% gained in 10 days: 0.04 g a day." in text(of_reptile)
    assert "this system does not know" in text(of_reptile)
    assert "Nobody has said in how many days it hatches" in text(of_bird)
    assert not any('class="band"' in each.content.decode() for each in (of_reptile, of_bird))
    assert "Not weighed yet" in text(client.get(url("egg", dam, reptile.pk, 2)))
    assert client.get(url("egg", dam, reptile.pk, 99)).status_code == 404


def test_humidity_is_kept_drawn_and_warned_of_like_the_temperature(client, dam, vet, incubator):
    clutch = laid(dam, vet, days_ago=2, incubator=incubator)
    known = dict(target_c=D(28), is_in_use=True, alarm_low_humidity_percent=70, alarm_high_humidity_percent=90)
    actions.edit_incubator(incubator, seen_version=1, **known)
    client.force_login(vet)
    page = {"read_at": stamp(now() - 3 * HOUR), "temperature_c": "28", "humidity_percent": "80,5 %"}
    client.post(reverse("incubators:read", args=[incubator.pk]), page)
    is_calm = not standing(clutch).is_humidity_out_of_range

    wrong = client.post(reverse("incubators:read", args=[incubator.pk]), page | {"read_at": stamp(now()), "humidity_percent": "180"})
    rows = f"time;temperature;humidity\n{now() - HOUR:%Y-%m-%d %H:%M}+00:00;28;62\n"
    client.post(reverse("incubators:file", args=[incubator.pk]), {"pasted": rows, "confirm": "1"})
    shown, board = client.get(url("clutch", dam, clutch.pk)), text(client.get(reverse("boards:clutches")))

    assert is_calm
    assert wrong.status_code == 422
    assert [each.humidity_percent for each in incubator.readings.all()] == [D("80.5"), D(62)]
    assert "The newest humidity lies outside the alarm range of the incubator: 28 °C, 62% humidity" in text(shown)
    assert "Humidity out of range: look now" in board
    assert 'id="humidity"' in shown.content.decode()
    assert shown.content.decode().count('class="limit"') == 2
    assert ">alarm<" in client.get(reverse("incubators:incubator", args=[incubator.pk])).content.decode()
    with pytest.raises(ValidationError, match="must be lower than the one above"):
        actions.edit_incubator(incubator, seen_version=2, **known | {"alarm_low_humidity_percent": 95})


def test_humidity_that_an_older_reading_told_still_counts(dam, vet, incubator):
    clutch = laid(dam, vet, days_ago=2, incubator=incubator)
    actions.edit_incubator(incubator, seen_version=1, is_in_use=True, alarm_low_humidity_percent=70)
    actions.add_reading(incubator, by=vet, read_at=now() - 2 * HOUR, temperature_c=D(28), humidity_percent=D(50))
    actions.add_reading(incubator, by=vet, read_at=now() - HOUR, temperature_c=D(28))

    assert standing(clutch).is_humidity_out_of_range


def test_every_fault_of_a_file_has_words():
    assert set(FAULTS) == set(Fault)


def test_degrees_fahrenheit_are_refused_by_hand_too(client, incubator, nurse):
    client.force_login(nurse)

    answer = client.post(reverse("incubators:read", args=[incubator.pk]), {"read_at": stamp(now()), "temperature_c": "82,4"})

    assert answer.status_code == 422
    assert "looks like degrees Fahrenheit" in text(answer)
    assert 'value="82,4"' in answer.content.decode()  # nothing typed is lost


def test_a_file_is_read_first_and_kept_only_when_confirmed(client, incubator, nurse):
    client.force_login(nurse)
    address = reverse("incubators:file", args=[incubator.pk])
    rows = "time;temperature\n2026-01-10 10:00;28,1\n2026-01-10 11:00;28,2\n10/01/2026 12:00;28\n"

    seen = client.post(address, {"file": SimpleUploadedFile("log.csv", rows.encode("utf-16"))})
    assert not Reading.objects.exists()
    kept = client.post(address, {"pasted": seen.context["text"], "confirm": "1"}, follow=True)
    again = client.post(address, {"pasted": rows})

    assert "Line 4: a day with slashes" in text(seen)
    assert "Europe/London" in text(seen)
    assert "2 readings added" in text(kept)
    assert Reading.objects.filter(is_from_file=True, entered_by=nurse).count() == 2
    assert (again.context["fresh"], again.context["doubles"]) == (0, 2)


def test_a_file_that_is_too_large_or_missing_is_refused(client, incubator, nurse):
    client.force_login(nurse)
    address = reverse("incubators:file", args=[incubator.pk])

    assert "Choose the file, or paste its rows" in text(client.post(address, {"pasted": " "}))
    assert "more than 1 MB" in text(client.post(address, {"pasted": "2026-01-10 10:00;28\n" * 55_000}))


def test_silence_and_an_alarm_are_the_hospitals_own_settings(client, dam, vet, incubator):
    clutch = laid(dam, vet, incubator=incubator)
    assert standing(clutch).is_silent
    actions.add_reading(incubator, by=vet, read_at=now() - HOUR, temperature_c=D("25.5"))
    client.force_login(vet)

    page = text(client.get(url("clutch", dam, clutch.pk)))

    assert not standing(clutch).is_silent
    assert "outside the alarm range of the incubator: 25.5 °C" in page


def test_the_chart_breaks_its_line_where_nobody_read(client, dam, vet, incubator):
    clutch = laid(dam, vet, incubator=incubator)
    actions.add_readings(incubator, by=vet, rows=[Row(clutch.laid_from + hours * HOUR, D(28)) for hours in range(0, 100, 5)])
    client.force_login(vet)

    page = client.get(url("clutch", dam, clutch.pk)).content.decode()

    assert page.count('class="series second"') == 1
    assert page.count('class="series"') == 1
    assert 'class="band"' in page


# --- the board ----------------------------------------------------------------------------------------------------


def test_the_board_names_what_is_due_and_today_what_cannot_wait(client, dam, vet, incubator):
    clutch = laid(dam, vet, days_ago=30, incubator=incubator)
    client.force_login(vet)

    silent = text(client.get(reverse("boards:clutches")))
    today = text(client.get(reverse("boards:today")))
    actions.add_reading(incubator, by=vet, read_at=now() - HOUR, temperature_c=D(28))
    actions.candle(clutch, by=vet, candled_on=now().date(), seen={clutch.eggs.first().pk: "developing"})
    calm = text(client.get(reverse("boards:clutches")))

    assert all(words in silent for words in ("No reading for more than 24 hours", "Candling is late", "May hatch:"))
    assert f"today-clutch-{clutch.pk}" in today
    assert "May hatch:" in calm  # from day 42 on, in twelve days
    assert "Candling" not in calm
    assert f"today-clutch-{clutch.pk}" not in text(client.get(reverse("boards:today")))


def test_a_clutch_of_which_nothing_is_due_is_not_on_the_board_nor_is_another_hospitals(client, dam, vet, stranger):
    laid(dam, vet, days_ago=5)
    client.force_login(vet)
    calm = text(client.get(reverse("boards:clutches")))
    laid(dam, vet, days_ago=50)
    client.force_login(stranger)

    assert "No clutch is due" in calm
    assert "No clutch is due" in text(client.get(reverse("boards:clutches")))


# --- who may ------------------------------------------------------------------------------------------------------


def test_strangers_and_carers_see_no_clutch_and_coordinators_only_read(client, dam, vet, stranger, coordinator, carer, incubator):
    clutch = laid(dam, vet, incubator=incubator)
    make.placement(dam, carer)
    incubator_page = reverse("incubators:incubator", args=[incubator.pk])

    answers = {}
    for who, person in (("stranger", stranger), ("carer", carer.person), ("coordinator", coordinator)):
        client.force_login(person)
        pages = (url("clutch", dam, clutch.pk), url("egg", dam, clutch.pk, 1), url("weigh-eggs", dam, clutch.pk), incubator_page)
        answers[who] = [client.get(page).status_code for page in pages]

    assert answers == {"stranger": [404] * 4, "carer": [403] * 4, "coordinator": [200, 200, 403, 200]}


def test_the_number_of_queries_of_a_clutch_does_not_grow_with_its_eggs(client, dam, vet, incubator, django_assert_max_num_queries):
    clutch = laid(dam, vet, eggs=40, incubator=incubator)
    actions.candle(clutch, by=vet, candled_on=now().date(), seen={egg.pk: "developing" for egg in clutch.eggs.all()})
    client.force_login(vet)

    with django_assert_max_num_queries(40):
        client.get(url("clutch", dam, clutch.pk))
