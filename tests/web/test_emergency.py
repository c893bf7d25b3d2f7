"""The emergency sheet: only what a vet of the hospital marked, worked out for the weight now."""

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from io import BytesIO

import pypdf
import pytest
from django.urls import reverse

from hospital.admissions.models import TaxonGroup, Weight
from hospital.clock import now
from hospital.medications import formulary_actions as actions
from hospital.medications.emergency import emergency_sheet
from hospital.medications.models import FormularyAdoption
from hospital.medications.queries import shelved
from hospital.rules.doses import AmountUnit
from hospital.rules.formulary import Emergency, Entry
from hospital.rules.wording import NBSP
from tests import make

pytestmark = pytest.mark.django_db
# Invented figures that only exercise the sum: no reference for any animal.
SAID = Emergency(Decimal("0.3"), Decimal(5), AmountUnit.MG, "muscle", "Our own ward round", "Once; again after 10 minutes")


@pytest.fixture
def marked(hospital, vet, reference):
    """Meloxicam stands in for a medicine that the vets marked; it is none for emergencies."""

    def mark(slug="turtle-freshwater.meloxicam", emergency=SAID, **figures):
        to = {"hospital": hospital, "by": vet, "at": now(), "seen_version": 0}
        return actions.adopt(shelved(hospital, slug), figures={"emergency": emergency, **figures}, **to)

    return mark


def weigh(patient, grams, days_ago=0):
    return Weight.objects.create(patient=patient, weighed_at=now() - timedelta(days=days_ago), weight_g=Decimal(grams))


def url(patient, name="emergency"):
    return reverse(f"medications:{name}", args=[patient.case_number])


def words(answer):
    return answer.content.decode().replace(NBSP, " ")


def test_without_a_mark_the_page_says_so_and_prints_nothing(client, patient, nurse, hospital, vet, reference):
    actions.adopt_group(TaxonGroup.objects.get(pk="turtle-freshwater"), hospital=hospital, by=vet, at=now())
    weigh(patient, 800)
    client.force_login(nurse)

    page = words(client.get(url(patient)))

    assert "have marked no medicine for emergencies" in page
    assert "Draw up" not in page


def test_the_volume_follows_the_weight_now(client, patient, nurse, marked):
    """0.8 kg × 0.3 mg per kg = 0.24 mg; ÷ 5 mg per mL = 0.048 mL; to the nearest mark of a 1 mL syringe 0.05 mL (the textbook sum)."""
    marked()
    weigh(patient, 800)
    client.force_login(nurse)

    page = words(client.get(url(patient)))

    assert "0.05 mL" in page
    assert "240 micrograms" in page
    assert "Our own ward round" in page
    assert "Vera Vet" in page


def test_the_sheet_fits_one_page_that_another_reader_reads(client, patient, nurse, marked):
    marked()
    weigh(patient, 800)
    client.force_login(nurse)

    answer = client.get(url(patient, "emergency-print"))

    pages = pypdf.PdfReader(BytesIO(answer.content)).pages
    text = pages[0].extract_text().replace(NBSP, " ")
    assert (answer["Content-Type"], len(pages)) == ("application/pdf", 1)
    assert patient.case_number in text
    assert "0.05 mL" in text


def test_a_slip_of_the_scales_works_nothing_out(patient, marked):
    marked()
    weigh(patient, 800, days_ago=1)
    weigh(patient, 8000)

    sheet = emergency_sheet(patient)

    assert sheet.slip
    assert sheet.lines[0].worked is None


def test_an_old_weight_is_said(client, vet, nurse, marked):
    patient = make.patient(vet, days_ago=90)
    marked()
    weigh(patient, 800, days_ago=80)
    client.force_login(nurse)

    assert "The weight is from" in words(client.get(url(patient)))


def test_what_must_never_be_given_to_this_animal_has_a_reason_and_no_volume(patient, vet, hospital, reference):
    """Ivermectin and chelonians: the stop of the reference list holds here as well."""
    row = replace(shelved(hospital, "turtle-freshwater.meloxicam").entry, slug="own.ivermectin", drug="ivermectin", emergency=SAID)
    FormularyAdoption.objects.create(
        hospital=hospital, slug=row.slug, group_id="turtle-freshwater", content=row.to_json(), source="x", how_known="own",
        adopted_by=vet, adopted_at=now(),
    )  # fmt: skip
    weigh(patient, 800)

    (line,) = emergency_sheet(patient).lines

    assert line.worked is None
    assert line.refusals


def test_what_cannot_be_drawn_up_says_why(patient, marked):
    marked(emergency=replace(SAID, strength_per_ml=Decimal(500)))
    weigh(patient, 80)

    (line,) = emergency_sheet(patient).lines

    assert line.worked is None
    assert "cannot be drawn up within 10%" in line.refusals[0].replace(NBSP, " ")


def test_a_row_comes_back_from_storage_as_it_was(marked):
    kept = Entry.from_json(marked().content)

    assert kept.emergency == SAID
    assert Entry.from_json({k: v for k, v in kept.to_json().items() if k != "emergency"}).emergency is None


def test_an_emergency_dose_is_whole_or_refused_and_below_the_second_vets_limit(client, vet, hospital, reference):
    client.force_login(vet)
    form = {
        "unit": "mg", "per_kg": "0.2", "per_kg_top": "0.3", "least_per_kg": "0.1", "hard_from_per_kg": "0.5", "routes": ["muscle"],
        "seen_version": "0", "emergency_per_kg": "0.4", "emergency_strength_unit": "mg",
    }  # fmt: skip
    whole = {"emergency_strength_per_ml": "5", "emergency_route": "muscle", "emergency_source": "Our own ward round"}
    row = reverse("formulary:row", args=["turtle-freshwater.meloxicam"])

    half = client.post(row, form)
    too_much = client.post(row, form | whole | {"emergency_per_kg": "0.5"})
    kept = client.post(row, form | whole)

    assert (half.status_code, too_much.status_code, kept.status_code) == (422, 422, 302)
    assert words(half).count("The emergency sheet needs this") == 6  # three fields, each in the summary and at its place
    assert "must be more than" in words(too_much)
    assert Entry.from_json(FormularyAdoption.objects.get().content).emergency.per_kg == Decimal("0.4")


def test_a_carer_and_a_stranger_do_not_see_it(client, patient, carer, stranger, coordinator):
    make.placement(patient, carer)

    for person, status in ((carer.person, 403), (coordinator, 403), (stranger, 404)):
        client.force_login(person)
        assert client.get(url(patient)).status_code == status


def test_theatre_and_the_patients_page_lead_to_it(client, patient, nurse, vet):
    it = patient.anaesthetics.create(kind="", planned_on=now().date(), vet=vet, planned_by=vet)
    client.force_login(nurse)

    for page in (reverse("theatre:record", args=[patient.case_number, it.pk]), reverse("chart:patient", args=[patient.case_number])):
        assert url(patient) in client.get(page).content.decode()
