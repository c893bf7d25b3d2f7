"""The live cases of fixtures/demo/stories.toml, told in order: each step happens at its own moment, by its own person."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from functools import partial
from typing import Any
from zoneinfo import ZoneInfo

from django.utils import timezone

from handover.demo.clutches import ClutchStory
from handover.demo.shadows import HEIGHT_PX, WIDTH_PX, bones
from handover.logs import actions as logs
from handover.logs.water import allowance_today
from handover.packs.actions import make_pack
from handover.plans import actions as plans
from handover.plans.queries import changes_since, live_plan, plan_in_force
from handover.releases import actions as releases
from hospital.admissions import actions as admissions
from hospital.admissions.models import Cause, Patient, Species
from hospital.audit.acting import acting
from hospital.clock import now, pretending
from hospital.clock import today as today_at
from hospital.examinations import actions as examinations
from hospital.examinations.vocabulary import REGIONS, scale_for
from hospital.feeding import actions as feeding
from hospital.images import actions as images
from hospital.images.dicom import Radiograph
from hospital.labs import actions as labs
from hospital.labs.forms import FindingForm
from hospital.medications import actions as medications
from hospital.people.models import Carer, Person, Role
from hospital.pictures import grey_scan
from hospital.placements import actions as placements
from hospital.procedures import actions as procedures
from hospital.procedures.models import LAYERS, Bandage
from hospital.sites.models import Hospital

Row = Mapping[str, Any]
NAMESPACE = uuid.UUID("5ed9e000-0000-4000-8000-000000000000")  # makes the reports' keys the same every time


@dataclass(frozen=True)
class Cast:
    """Whom and what the stories name by key."""

    hospitals: Mapping[str, Hospital]
    people: Mapping[str, Person]
    carers: Mapping[tuple[str, str], Carer]
    now: datetime  # the moment at which the demonstration is made


@dataclass(frozen=True)
class Step:
    """Something that one person did at one moment."""

    at: datetime
    by: Person
    do: Callable[[], Any]


class Story:
    """One case: its rows of the file turned into steps."""

    def __init__(self, row: Row, cast: Cast):
        self.row, self.cast = row, cast
        self.hospital = cast.hospitals[row["hospital"]]
        self.zone = ZoneInfo(self.hospital.zone)
        self.today = cast.now.astimezone(self.zone).date()
        self.admitted_on = self.today - timedelta(days=row["admitted_days_ago"])
        self.admitted_at = self.moment(0, row["admitted_time"])
        self.vet = next(p for p in cast.people.values() if self._holds(p, Role.VET))
        self.chief = next((p for p in cast.people.values() if self._holds(p, Role.COORDINATOR)), self.vet)
        self.patient: Patient = None
        self.bandages: list[tuple[Row, Bandage]] = []

    def _holds(self, person: Person, role: Role) -> bool:
        return person.memberships.filter(hospital=self.hospital, role=role).exists()

    def moment(self, day: int, clock: str) -> datetime:
        """A clock time on a day counted from admission; never before it, never after now."""
        at = datetime.combine(self.admitted_on + timedelta(days=day), time.fromisoformat(clock), self.zone)
        return min(max(at, getattr(self, "admitted_at", at)), self.cast.now)

    def day(self, days_ago: int) -> int:
        """The day, counted from admission, that was so many days ago."""
        return self.row["admitted_days_ago"] - days_ago

    def on(self, day: int) -> date:
        return self.admitted_on + timedelta(days=day)

    def tell(self) -> Patient:
        """Do everything in order. Two steps of one moment keep the order in which they are written here."""
        for step in sorted(self.steps(), key=lambda step: step.at):
            with pretending(step.at), acting(step.by.pk, "demonstration"), timezone.override(self.zone):
                step.do()
        return self.patient

    def steps(self) -> Iterator[Step]:
        row = self.row
        yield Step(self.admitted_at, self.cast.people[row["admitted_by"]], self.admit)
        for weight in row.get("weights", [])[1:]:
            yield Step(self.moment(weight["day"], "08:30"), self.vet, self._weigh(weight))
        for exam in row.get("examination", []):
            yield self._examination(exam)
        for sample in row.get("sample", []):
            yield from self._sample(sample)
        for image in row.get("image", []):
            by = self.cast.people[image["by"]]
            yield Step(self.moment(image["day"], "12:15"), by, partial(self._image, image, by))
        for procedure in row.get("procedure", []):
            yield from self._procedure(procedure)
        for bandage in row.get("bandage", []):
            yield from self._bandage(bandage, lambda: None, put_on=True)
        for order in row.get("order", []):
            yield from self._order(order)
        for signed in row.get("feeding", []):
            yield self._feeding(signed)
        for signed in row.get("fluids", []):
            yield self._fluids(signed)
        for day in row.get("recheck_days", []):
            yield self._recheck(day)
        for milestone in row.get("milestone", []):
            yield self._milestone(milestone["event"], milestone["day"], milestone.get("note", ""))
        for clutch in row.get("clutch", []):
            for at, do in ClutchStory(self, clutch).steps():
                yield Step(at, self.vet, do)
        for placement in row.get("placement", [])[1:]:
            yield from self._placement(placement)
        for offer in row.get("offer", []):
            yield from self._offer(offer)
        yield from self._plans()
        for pin in row.get("pin", []):
            yield self._pin(pin)
        for hold in row.get("hold", []):
            yield self._hold(hold)
        if log := row.get("log"):
            yield from self._logs(log)
        if release := row.get("release"):
            yield self._release(release)

    # --- what the hospital does -----------------------------------------------------------------------------------

    def admit(self) -> None:
        row, found = self.row, self.row.get("found", {})
        plain = {k: row[k] for k in ("name", "circumstances", "sex", "life_stage", "triage", "triage_note") if k in row}
        flags = {k: row.get(k, False) for k in ("is_gravid", "is_biosecurity_risk", "is_zoonosis_risk")}
        place = {
            "found_on": self.admitted_on,
            "found_place": found.get("place", ""),
            "found_latitude": Decimal(found["latitude"]) if "latitude" in found else None,
            "found_longitude": Decimal(found["longitude"]) if "longitude" in found else None,
            "found_uncertainty_m": found.get("uncertainty_m"),
        }
        species = Species.objects.get(scientific_name=row["species"])
        self.patient = admissions.admit(
            self.hospital, by=self.cast.people[row["admitted_by"]], at=now(), finder=row.get("finder"), ward=row["placement"][0]["ward"],
            weight_g=Decimal(row["weights"][0]["g"]) if row.get("weights") else None,
            animal=plain | flags | place | {"species": species, "cause": Cause.objects.get(slug=row["cause"])},
        )  # fmt: skip
        for mark in row.get("identification", []):
            admissions.note_mark(self.patient, **mark)

    def _weigh(self, weight: Row) -> Callable[[], None]:
        return lambda: admissions.record_weight(
            self.patient, by=self.vet, now=now(), weight_g=Decimal(weight["g"]), is_sure=True
        )

    def _examination(self, exam: Row) -> Step:
        return Step(self.moment(exam["day"], "10:30"), self.cast.people[exam["by"]], lambda: self._examine(exam))

    def _examine(self, exam: Row) -> None:
        by, on = self.cast.people[exam["by"]], self.on(exam["day"])
        told = {k: v for k, v in exam.items() if k not in ("day", "by", "mark", "closes", "temperature_c")}
        if "condition_score" in told:
            told["condition_scale"] = scale_for(self.patient.species.group.lineage()).slug
        if "temperature_c" in exam:
            told["temperature_c"] = Decimal(exam["temperature_c"])
        seen = examinations.record_examination(self.patient, by=by, examined_on=on, **told)
        for number, mark in enumerate(exam.get("mark", []), start=1):
            view, _, place = mark["place"].partition(":")
            x, y = REGIONS[self.patient.species.group.body_plan, view][place]
            examinations.mark(seen, by=by, number=number, kind=mark["kind"], words=mark["words"], view=view, x=x, y=y)
        for name, why in exam.get("closes", {}).items():
            problem = self.patient.problems.get(name=name)
            examinations.close_problem(problem, by=by, seen_version=problem.version, closed_on=on, close_reason=why)

    def _sample(self, row: Row) -> Iterator[Step]:
        by, made = self.cast.people[row["by"]], []
        told = {k: row[k] for k in ("kind", "site", "laboratory", "number", "question") if k in row}
        record = lambda: made.append(labs.record_sample(self.patient, by=by, taken_on=self.on(row["day"]), **told))  # noqa: E731
        yield Step(self.moment(row["day"], "11:00"), by, record)
        if "result_day" in row:
            yield Step(self.moment(row["result_day"], "15:00"), by, lambda: self._result(made[0], by, row))

    def _result(self, sample, by, row: Row) -> None:
        found = [dict(zip(("name", "result", "unit", "low", "high"), line, strict=False)) for line in row.get("findings", [])]
        said: Row = {k: row.get(k, "") for k in ("ranges_of", "conclusion")}
        said |= {"resulted_on": self.on(row["result_day"]), "findings": [_finding(each) for each in found]}
        labs.edit_sample(sample, by=by, seen_version=sample.version, **said)

    def _image(self, row: Row, by: Person) -> None:
        """A radiograph that we draw: of no animal, and its note says so."""
        picture = Radiograph(
            scan=grey_scan(bones(**row["shadow"]), WIDTH_PX, HEIGHT_PX), window=(2000, 45000), kind="radiograph", taken_on=None,
            body_part=row["body_part"], view_position=row["view_position"], spacing_mm=None, spacing_kind="",
        )  # fmt: skip
        kept = images.add_image(
            self.patient, by=by, picture=picture, kind="", taken_on=self.on(row["day"]), body_part="", view_position="", note=row["note"]
        )
        for drawn in row.get("drawn", []):
            mm = Decimal(drawn["mm"]) if "mm" in drawn else None
            images.draw(kept, by=by, kind=drawn["kind"], points=drawn["points_tenths"], marker_mm=mm, words=drawn.get("words", ""))

    def _recheck(self, day: int) -> Step:
        seen = {
            "wound": "healing" if self.row.get("procedure") else "none",
            "body_condition": "",
            "findings": "All well.",
            "advice": "",
        }
        at = self.moment(day, "10:45")
        return Step(
            at,
            self.vet,
            lambda: examinations.record_recheck(self.patient, by=self.vet, examined_on=self.on(day), **seen),
        )

    def _procedure(self, row: Row) -> Iterator[Step]:
        by, on = self.cast.people[row["surgeon"]], self.on(row["day"])
        said = {k: row.get(k, "") for k in ("kind", "site", "indication", "anaesthetic", "findings", "complications")}
        made: list = []

        def operate() -> None:
            made.append(
                procedures.record_procedure(
                    self.patient, by=by, done_on=on, surgeon=by, **said,
                    closures=[{k: v for k, v in c.items() if k != "removed_day"} for c in row.get("closures", [])],
                    bandages=[{k: v for k, v in b.items() if k not in ("changed_days", "removed_day")} for b in row.get("bandages", [])],
                    implants=[{k: v for k, v in i.items() if k != "removed_day"} for i in row.get("implants", [])],
                )
            )  # fmt: skip

        yield Step(self.moment(row["day"], "11:30"), by, operate)
        for index, closure in enumerate(row.get("closures", [])):
            if "removed_day" in closure:
                out = lambda index=index, day=closure["removed_day"]: procedures.take_closure_out(  # noqa: E731
                    list(made[0].closures.order_by("pk"))[index], removed_on=self.on(day)
                )
                yield Step(self.moment(closure["removed_day"], "11:00"), self.vet, out)
        for index, implant in enumerate(row.get("implants", [])):
            if "removed_day" in implant:
                out = lambda index=index, day=implant["removed_day"]: procedures.take_implant_out(  # noqa: E731
                    list(made[0].implants.order_by("pk"))[index], removed_on=self.on(day)
                )
                yield Step(self.moment(implant["removed_day"], "11:00"), self.vet, out)
        for index, bandage in enumerate(row.get("bandages", [])):
            yield from self._bandage(bandage, lambda index=index: list(made[0].bandages.order_by("pk"))[index])

    def _bandage(self, row: Row, find: Callable[[], Bandage], put_on: bool = False) -> Iterator[Step]:
        made: list[Bandage] = []
        if put_on:
            fields = {k: row.get(k, "") for k in ("kind", "site", *LAYERS)}
            apply = lambda: made.append(  # noqa: E731
                procedures.put_bandage_on(self.patient, by=self.vet, applied_on=self.on(row["day"]), **fields)
            )
            find = lambda: made[0]  # noqa: E731
            yield Step(self.moment(row["day"], "11:40"), self.vet, apply)
        for day in row.get("changed_days", []):
            change = lambda day=day: procedures.change_bandage(find(), by=self.vet, changed_on=self.on(day), note="")  # noqa: E731
            yield Step(self.moment(day, "10:50"), self.vet, change)
        if "removed_day" in row:
            off = lambda: procedures.take_bandage_off(find(), removed_on=self.on(row["removed_day"]))  # noqa: E731
            yield Step(self.moment(row["removed_day"], "10:55"), self.vet, off)

    def _milestone(self, event: str, day: int, note: str) -> Step:
        def reach() -> None:
            procedures.record_milestone(self.patient, by=self.vet, event=event, happened_on=self.on(day), note=note)

        return Step(self.moment(day, "11:10"), self.vet, reach)

    def _order(self, row: Row) -> Iterator[Step]:
        by, first_at = self.cast.people[row["ordered_by"]], self.moment(row["day"], row["time"])
        asked = {k: row[k] for k in ("drug", "route", "every_hours", "doses", "instruction")}
        asked |= {
            "dose_per_kg": Decimal(row["mg_per_kg"]),
            "dose_unit": "mg",
            "strength_per_ml": Decimal(row["mg_per_ml"]),
            "strength_unit": "mg",
            "first_dose_at": first_at,
        }
        asked |= {"is_weight_checked": True, "is_warning_read": True, "seen_weight_g": None}
        asked |= {"dose_reason": row.get("reason", "As talked over on the ward round")}
        made: list = []
        yield Step(first_at, by, lambda: made.append(medications.order_medication(self.patient, by=by, **asked)))
        open_since = self.cast.now - timedelta(hours=row.get("open_for_hours", 0), minutes=30)
        for number in range(0 if row.get("waits") else row["doses"]):  # one that waits for a second vet is not given
            at = datetime.combine(first_at.date(), first_at.time(), self.zone) + timedelta(
                hours=row["every_hours"] * number
            )
            if at < open_since:
                give = lambda at=at: medications.give_dose(made[0], by=self.vet, kind="given", given_at=at, note="")  # noqa: E731
                yield Step(max(at, first_at) + timedelta(minutes=5), self.vet, give)

    def _feeding(self, row: Row) -> Step:
        by = self.cast.people[row["by"]]
        figures = {name: Decimal(row[name]) for name in ("kcal_constant", "factor", "kcal_per_g")}
        figures |= {name: row[name] for name in ("meals_per_day", "every_days")}

        def sign() -> None:
            kept_at_c = Decimal(row["kept_at_c"]) if "kept_at_c" in row else None
            feeding.sign_feeding(
                self.patient, by=by, seen_version=self.patient.feedingplans.count(), seen_weight_g=None, is_weight_checked=True,
                is_warning_read=True, kept_at_c=kept_at_c, food=row["food"], note=row.get("note", ""), **figures,
            )  # fmt: skip

        return Step(self.moment(row["day"], "12:00"), by, sign)

    def _fluids(self, row: Row) -> Step:
        by, at = self.cast.people[row["by"]], self.moment(row["day"], "12:10")
        figures = {name: Decimal(row.get(name, 0)) for name in ("ml_per_kg_day", "dehydration_percent", "losses_ml_day")}
        figures |= {name: row.get(name) for name in ("deficit_hours", "half_in_hours", "times_per_day", "drops_per_ml")}

        def sign() -> None:
            feeding.sign_fluids(
                self.patient, by=by, seen_version=self.patient.fluidplans.count(), seen_weight_g=None, is_weight_checked=True,
                is_warning_read=True, fluid=row["fluid"], route=row["route"], note=row.get("note", ""), starts_at=at,
                carer_gives=row.get("carer_gives", False), **figures,
            )  # fmt: skip

        return Step(at, by, sign)

    # --- the handover ---------------------------------------------------------------------------------------------

    def _placement(self, row: Row) -> Iterator[Step]:
        carer = self.cast.carers[row["carer"], self.row["hospital"]] if "carer" in row else None
        if carer is None:
            back = lambda: placements.bring_back(self.patient, by=self.chief, at=now(), ward=row["ward"])  # noqa: E731
            yield Step(self.moment(row["day"], "14:00"), self.chief, back)
            return
        send = lambda: placements.place(  # noqa: E731
            self.patient,
            carer=carer,
            by=self.chief,
            at=now(),
            on=today_at(self.hospital.zone),
            note=row.get("note", "Agreed by phone"),
        )
        yield Step(self.moment(row["day"], "15:00"), self.chief, send)
        take = lambda: placements.accept(self.patient, by=carer.person, at=now())  # noqa: E731
        yield Step(self.moment(row["day"], "17:00"), carer.person, take)

    def _offer(self, row: Row) -> Iterator[Step]:
        """A carer was asked and could not take it."""
        carer = self.cast.carers[row["carer"], self.row["hospital"]]
        said = {"carer": carer, "by": self.chief, "note": "Asked by phone"}
        offer = lambda: placements.place(self.patient, at=now(), on=today_at(self.hospital.zone), **said)  # noqa: E731
        yield Step(self.moment(row["day"], "16:10"), self.chief, offer)
        decline = lambda: placements.decline(self.patient, by=carer.person, at=now(), why=row["declined"])  # noqa: E731
        yield Step(self.moment(row["day"], "16:40"), carer.person, decline)

    def _plans(self) -> Iterator[Step]:
        """A plan is published when the animal goes home, and again whenever it was seen; before that nobody waits for one."""
        homes = [p["day"] for p in self.row.get("placement", []) if "carer" in p]
        if self.row["admitted_days_ago"] < 1:
            return
        first = homes[0] if homes else 1
        seen = [*self.row.get("recheck_days", []), *(e["day"] for e in self.row.get("examination", []))]
        days = sorted({first, *(day for day in seen if day > first)})
        for day in days:
            reason = "Going home with a carer" if day == first and homes else "After the recheck"
            yield Step(self.moment(day, "15:30"), self.vet, lambda reason=reason: self._publish(reason))
        printed = days[-2:] if "graded_water" in self.row["shows"] else days[-1:]  # one pack that a newer one replaced
        for day in printed if homes else ():
            yield Step(self.moment(day, "15:45"), self.chief, self._print_pack)

    def _print_pack(self) -> None:
        if plan_in_force(self.patient):
            make_pack(self.patient, by=self.chief, paper="A4", dates_differ=True)

    def _publish(self, reason: str) -> None:
        """Publish today's plan. One that changes nothing, or whose dates collide, leaves the old one in force."""
        current, live = plan_in_force(self.patient), live_plan(self.patient, today_at(self.hospital.zone))
        if live.planned is not None and changes_since(current, live):
            plans.publish(self.patient, by=self.vet, reason=reason)

    def _event_id(self, event: str) -> str:
        """The open event of that name in today's problem."""
        problem = live_plan(self.patient, today_at(self.hospital.zone)).instance.problem
        return next(e.id for e in problem.events if e.id.split(":")[0] == event and not e.done)

    def _pin(self, row: Row) -> Step:
        by, on = self.cast.people[row["by"]], self.today + timedelta(days=row["in_days"])

        def pin() -> None:
            plans.fix_day(self.patient, by=by, event_id=self._event_id(row["event"]), on=on, reason=row["reason"])

        return Step(self.moment(self.day(row["decided_days_ago"]), "16:00"), by, pin)

    def _hold(self, row: Row) -> Step:
        by = self.cast.people[row["by"]]
        until = max(next_first_of_may(self.today), self.today + timedelta(days=row.get("least_days", 0)))

        def hold() -> None:
            plans.hold_back(self.patient, by=by, event_id=self._event_id(row["event"]), not_before=until, reason=row["reason"])

        return Step(self.moment(self.day(row["decided_days_ago"]), "16:00"), by, hold)

    def _release(self, row: Row) -> Step:
        """Somebody looked at the animal for release and found what people judge to be met."""
        by, at = self.cast.people[row["by"]], self.moment(self.day(row["days_ago"]), "12:00")
        return Step(at, by, lambda: releases.find_all_met(self.patient, by=by))

    # --- what the carer reports -----------------------------------------------------------------------------------

    def _logs(self, row: Row) -> Iterator[Step]:
        """A report each evening since the animal came home, until the carer fell quiet."""
        home = self.row["placement"][-1]
        if "carer" not in home:
            return
        author = self.cast.carers[home["carer"], self.row["hospital"]].person
        told = {self.day(entry["days_ago"]): entry for entry in row.get("entry", [])}
        last = self.row["admitted_days_ago"] - row.get("quiet_days", 0)
        for day in range(home["day"] + 1, last + 1):
            at = datetime.combine(self.on(day), time(18, 30), self.zone) + timedelta(minutes=day * 7 % 40)
            if at <= self.cast.now:
                yield Step(at, author, self._report(author, row, told.get(day, {}), day))

    def _report(self, author: Person, row: Row, entry: Row, day: int) -> Callable[[], None]:
        told = {name: entry[name] for name in ("eaten", "droppings", "activity", "signs", "worries", "bandage") if name in entry}

        def send() -> None:
            on = today_at(self.hospital.zone)
            report = {"eaten": "all", "droppings": "normal", "activity": "usual", "food": row.get("food", "")}
            if self.patient.bandages.filter(removed_on=None).exists():
                report["bandage"] = "dry"
            allowed = allowance_today(self.patient, on) if row.get("water") == "as_allowed" else None
            if allowed and allowed.minutes:
                report["water_minutes"] = allowed.minutes
            key = uuid.uuid5(NAMESPACE, f"{self.row['story']} {day}")
            logs.receive(self.patient, by=author, key=key, made_at=now(), on=on, **report | told)

        return send


def next_first_of_may(today: date) -> date:
    may = date(today.year, 5, 1)
    return may if may > today else date(today.year + 1, 5, 1)


def _finding(typed: Row) -> dict:
    """A line of a result as the form would hand it on."""
    form = FindingForm(typed)
    if not form.is_valid():
        raise ValueError(f"{typed}: {form.errors.as_text()}")
    return form.cleaned_data
