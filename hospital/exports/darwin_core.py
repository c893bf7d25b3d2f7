"""A Darwin Core archive: occurrences with their weights, for those who gather biodiversity records.

Darwin Core text guide and terms (TDWG), EML 2.2.0 for the description. Places are always generalised; no person is named.
"""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Callable, Iterable
from typing import Any, BinaryIO
from xml.etree import ElementTree as Xml
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from hospital.admissions.models import LifeStage, Patient, Sex
from hospital.exports.models import Export
from hospital.exports.places import Shown, found_place
from hospital.outcomes.models import Outcome
from hospital.sheets import plain_cell

DWC, DC = "http://rs.tdwg.org/dwc/terms/", "http://purl.org/dc/terms/"
TEXT = "http://rs.tdwg.org/dwc/text/"
EML = "https://eml.ecoinformatics.org/eml-2.2.0"
# The three that the largest gatherer of such records takes. From memory.
LICENCES = {
    "cc0": "http://creativecommons.org/publicdomain/zero/1.0/legalcode",
    "cc-by": "http://creativecommons.org/licenses/by/4.0/legalcode",
    "cc-by-nc": "http://creativecommons.org/licenses/by-nc/4.0/legalcode",
}
# term → what stands there
TERMS: dict[str, Callable[[Patient, Shown, Export], Any]] = {
    f"{DWC}occurrenceID": lambda p, s, x: f"urn:uuid:{p.key}",
    f"{DC}license": lambda p, s, x: LICENCES[x.choices["licence"]],
    f"{DC}rightsHolder": lambda p, s, x: x.hospital.name,
    f"{DWC}basisOfRecord": lambda p, s, x: "HumanObservation",
    f"{DWC}occurrenceStatus": lambda p, s, x: "present",
    f"{DWC}individualCount": lambda p, s, x: 1,
    f"{DWC}scientificName": lambda p, s, x: p.species.scientific_name,
    f"{DWC}vernacularName": lambda p, s, x: p.species.common_name,
    f"{DWC}class": lambda p, s, x: p.species.class_name,
    f"{DWC}family": lambda p, s, x: p.species.family,
    f"{DWC}sex": lambda p, s, x: "" if p.sex == Sex.UNKNOWN else p.sex,
    f"{DWC}lifeStage": lambda p, s, x: "" if p.life_stage == LifeStage.UNKNOWN else p.life_stage,
    f"{DWC}vitality": lambda p, s, x: "dead" if _arrived_dead(p) else "alive",
    f"{DWC}eventDate": lambda p, s, x: str(p.found_on or p.admitted_at.astimezone(ZoneInfo(x.hospital.zone)).date()),
    f"{DWC}locality": lambda p, s, x: s.words,
    f"{DWC}decimalLatitude": lambda p, s, x: s.latitude,
    f"{DWC}decimalLongitude": lambda p, s, x: s.longitude,
    f"{DWC}geodeticDatum": lambda p, s, x: "" if s.latitude is None else "EPSG:4326",
    f"{DWC}coordinateUncertaintyInMeters": lambda p, s, x: s.uncertainty_m or "",
    f"{DWC}coordinatePrecision": lambda p, s, x: s.precision_deg,
    f"{DWC}dataGeneralizations": lambda p, s, x: s.generalised,
    f"{DWC}informationWithheld": lambda p, s, x: s.withheld,
    f"{DWC}recordedBy": lambda p, s, x: x.hospital.name,
}
MEASURED = [f"{DWC}{name}" for name in ("measurementType", "measurementValue", "measurementUnit", "measurementDeterminedDate")]


def _arrived_dead(patient: Patient) -> bool:
    outcome = getattr(patient, "outcome", None)
    return bool(outcome) and outcome.kind == Outcome.Kind.DEAD_ON_ARRIVAL


def write_archive(file: BinaryIO, export: Export, patients: Iterable[Patient]) -> None:
    """The zip: occurrence.csv, measurement.csv, meta.xml and eml.xml."""
    measured = io.StringIO(newline="")
    weights = csv.writer(measured, lineterminator="\n")
    weights.writerow(["id", *(_short(term) for term in MEASURED)])
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed:
        with packed.open("occurrence.csv", "w") as opened, io.TextIOWrapper(opened, "utf-8", newline="") as text:
            occurrences = csv.writer(text, lineterminator="\n")
            occurrences.writerow(_short(term) for term in TERMS)
            for patient in patients:
                place = found_place(patient, is_exact=False)
                occurrences.writerow([plain_cell(cell(patient, place, export)) for cell in TERMS.values()])
                weights.writerows(_weights(patient, export))
        packed.writestr("measurement.csv", measured.getvalue())
        packed.writestr("meta.xml", _xml(_meta()))
        packed.writestr("eml.xml", _xml(_eml(export)))


def _weights(patient: Patient, export: Export) -> Iterable[list[Any]]:
    zone = ZoneInfo(export.hospital.zone)
    for weight in patient.weights.all():
        on = weight.weighed_at.astimezone(zone).date().isoformat()
        yield [f"urn:uuid:{patient.key}", "body mass", f"{weight.weight_g.normalize():f}", "g", on]


def _short(term: str) -> str:
    return term.rpartition("/")[2]


def _xml(root: Xml.Element) -> bytes:
    Xml.indent(root)
    return Xml.tostring(root, encoding="utf-8", xml_declaration=True)


def _meta() -> Xml.Element:
    """What the files are, as the Darwin Core text guide wants it told."""
    archive = Xml.Element("archive", {"xmlns": TEXT, "metadata": "eml.xml"})
    _table(archive, "core", "occurrence.csv", "Occurrence", list(enumerate(TERMS)))
    _table(archive, "extension", "measurement.csv", "MeasurementOrFact", list(enumerate(MEASURED, 1)))
    return archive


def _table(archive: Xml.Element, part: str, name: str, kind: str, fields: list[tuple[int, str]]) -> None:
    how = {"encoding": "UTF-8", "fieldsTerminatedBy": ",", "linesTerminatedBy": "\\n", "fieldsEnclosedBy": '"', "ignoreHeaderLines": "1"}
    table = Xml.SubElement(archive, part, how | {"rowType": f"{DWC}{kind}"})
    Xml.SubElement(Xml.SubElement(table, "files"), "location").text = name
    Xml.SubElement(table, "id" if part == "core" else "coreid", {"index": "0"})
    for index, term in fields:
        Xml.SubElement(table, "field", {"index": str(index), "term": term})


def _eml(export: Export) -> Xml.Element:
    """Who made the records, what they are, and under which licence they may be used."""
    root = Xml.Element(
        "eml:eml", {"xmlns:eml": EML, "packageId": f"urn:uuid:{export.key}", "system": "http://rs.gbif.org", "xml:lang": "en"}
    )
    dataset = Xml.SubElement(root, "dataset")
    Xml.SubElement(dataset, "title").text = _("Wild animals admitted to %(hospital)s") % {"hospital": export.hospital.name}
    for role in ("creator", "metadataProvider"):
        Xml.SubElement(Xml.SubElement(dataset, role), "organizationName").text = export.hospital.name
    Xml.SubElement(dataset, "pubDate").text = export.asked_at.date().isoformat()
    Xml.SubElement(dataset, "language").text = "en"
    about = _("Injured or sick wild animals, where they were found. Places of sensitive species are generalised, finders are not named.")
    Xml.SubElement(Xml.SubElement(dataset, "abstract"), "para").text = about
    Xml.SubElement(Xml.SubElement(dataset, "intellectualRights"), "para").text = LICENCES[export.choices["licence"]]
    days = Xml.SubElement(Xml.SubElement(Xml.SubElement(dataset, "coverage"), "temporalCoverage"), "rangeOfDates")
    for name, day in (("beginDate", export.starts_on), ("endDate", export.ends_on)):
        Xml.SubElement(Xml.SubElement(days, name), "calendarDate").text = day.isoformat()
    Xml.SubElement(Xml.SubElement(dataset, "contact"), "organizationName").text = export.hospital.name
    return root
