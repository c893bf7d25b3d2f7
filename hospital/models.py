"""The one list of the hospital's tables."""

from hospital.admissions.models import (
    CaseCounter,
    Cause,
    Finder,
    Identification,
    Patient,
    Photo,
    Placement,
    Species,
    TaxonGroup,
    Weight,
)
from hospital.audit.models import AuditEntry
from hospital.clutches.models import CandledEgg, Candling, Clutch, Egg, EggWeight, Incubator, Induction, Reading, SetAside, Stay
from hospital.examinations.models import Examination, Problem, WoundMark
from hospital.exports.models import Download, Export
from hospital.feeding.models import FeedingPlan, FluidPlan, PlanStop
from hospital.images.models import Image, Measurement
from hospital.imports.models import Import, ImportedCase, RowProblem
from hospital.jobs.models import Job
from hospital.labs.models import Finding, Sample
from hospital.mail.models import Letter, MailChoice
from hospital.medications.models import DoseGiven, FormularyAdoption, MedicationOrder
from hospital.ordersets.models import OrderSet, SetLine, SignedSet
from hospital.outcomes.models import Outcome, Reopening
from hospital.people.models import Carer, CarerAway, Invitation, MailedCode, Membership, Passkey, Person, SignedIn, Tries
from hospital.placements.models import HoldingLimit, Loan
from hospital.procedures.models import Bandage, BandageChange, Closure, Implant, Milestone, Procedure
from hospital.register.models import CountEntry, RegisterLine, RegisterPage, RegisterRules
from hospital.sites.models import ClosedDay, Hospital
from hospital.theatre.models import Anaesthetic, TheatreReading
from hospital.ward.models import Attended, Minder

__all__ = [
    "Anaesthetic",
    "Attended",
    "AuditEntry",
    "Bandage",
    "BandageChange",
    "CandledEgg",
    "Candling",
    "Carer",
    "CarerAway",
    "CaseCounter",
    "Cause",
    "ClosedDay",
    "Closure",
    "Clutch",
    "CountEntry",
    "DoseGiven",
    "Download",
    "Egg",
    "EggWeight",
    "Examination",
    "Export",
    "FeedingPlan",
    "Finder",
    "Finding",
    "FluidPlan",
    "FormularyAdoption",
    "HoldingLimit",
    "Hospital",
    "Identification",
    "Image",
    "Implant",
    "Import",
    "ImportedCase",
    "Incubator",
    "Induction",
    "Invitation",
    "Job",
    "Letter",
    "Loan",
    "MailChoice",
    "MailedCode",
    "Measurement",
    "MedicationOrder",
    "Membership",
    "Milestone",
    "Minder",
    "OrderSet",
    "Outcome",
    "Passkey",
    "Patient",
    "Person",
    "Photo",
    "Placement",
    "PlanStop",
    "Problem",
    "Procedure",
    "Reading",
    "RegisterLine",
    "RegisterPage",
    "RegisterRules",
    "Reopening",
    "RowProblem",
    "Sample",
    "SetAside",
    "SetLine",
    "SignedIn",
    "SignedSet",
    "Species",
    "Stay",
    "TaxonGroup",
    "TheatreReading",
    "Tries",
    "Weight",
    "WoundMark",
]
