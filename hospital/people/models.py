"""People, what they do at which hospital, and what a carer can offer."""

from __future__ import annotations

import uuid
from datetime import date

from django.conf import settings
from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from hospital.edits import Versioned
from hospital.sites.models import Hospital


class Role(models.TextChoices):
    VET = "vet", _("Vet")
    NURSE = "nurse", _("Nurse")
    COORDINATOR = "coordinator", _("Coordinator")
    CARER = "carer", _("Carer")


STAFF = frozenset({Role.VET, Role.NURSE, Role.COORDINATOR})
CLINICAL = frozenset({Role.VET, Role.NURSE})
EVERYONE = frozenset(Role)


class PersonManager(BaseUserManager):
    def create_user(self, email: str, name: str, password: str | None = None, **fields) -> Person:
        person = self.model(email=self.normalize_email(email).lower(), name=name, **fields)
        person.set_password(password)
        person.full_clean(exclude=["password"])
        person.save()
        return person

    def get_by_natural_key(self, username: str) -> Person:
        return self.get(email__iexact=username)


PAPERS = {"A4": _("A4"), "Letter": _("Letter")}
PRINT_SIZES = {"usual": _("Usual print"), "large": _("Large print, 18 points and more")}


class Person(AbstractBaseUser):
    """Somebody who signs in, known by e-mail address. `language`, `paper` and `print_size` are how they like to read."""

    email = models.EmailField(_("e-mail address"), unique=True)
    name = models.CharField(_("name"), max_length=120)
    phone = models.CharField(_("phone"), max_length=30, blank=True)
    is_active = models.BooleanField(default=True)
    language = models.CharField(max_length=8, choices=settings.LANGUAGES, blank=True)  # blank: as the browser asks
    paper = models.CharField(max_length=6, choices=PAPERS, default="A4")
    print_size = models.CharField(max_length=5, choices=PRINT_SIZES, default="usual")
    hospitals = models.ManyToManyField(Hospital, through="Membership", related_name="people")

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS = ["name"]
    objects = PersonManager()

    def __str__(self) -> str:
        return self.name


class Membership(models.Model):
    """One role of one person at one hospital."""

    person = models.ForeignKey(Person, models.CASCADE, related_name="memberships", db_index=False)
    hospital = models.ForeignKey(Hospital, models.CASCADE, related_name="memberships")
    role = models.CharField(max_length=12, choices=Role)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["person", "hospital", "role"], name="a_role_is_held_once"),
            models.CheckConstraint(condition=Q(role__in=Role.values), name="membership_role_is_known"),
        ]


class CarerQuerySet(models.QuerySet):
    def visible_to(self, person: Person) -> CarerQuerySet:
        """A carer sees their own profile; staff see the carers of their hospitals."""
        staffed = hospitals_where(person, STAFF)
        return self.filter(Q(person=person) | Q(hospital__in=staffed))

    def at(self, hospital: Hospital) -> CarerQuerySet:
        return self.filter(hospital=hospital)


class Carer(Versioned):
    """What a volunteer carer can offer to one hospital. Home position is for distances, never shown to others."""

    person = models.ForeignKey(Person, models.PROTECT, related_name="carer_profiles", db_index=False)
    hospital = models.ForeignKey(Hospital, models.PROTECT, related_name="carers")
    town = models.CharField(_("town or village"), max_length=120, blank=True)
    latitude = models.DecimalField(max_digits=9, decimal_places=6, null=True, blank=True)
    longitude = models.DecimalField(max_digits=9, decimal_places=6, null=True, blank=True)
    authority = models.CharField(_("authority to hold wildlife"), max_length=160, blank=True)
    authority_ends_on = models.DateField(_("authority ends on"), null=True, blank=True)
    taxon_groups = models.JSONField(_("groups they may hold"), default=list, blank=True)  # slugs
    facilities = models.JSONField(default=list, blank=True)  # of FACILITIES
    room_for = models.PositiveSmallIntegerField(_("animals at most"), default=1)
    experience = models.CharField(max_length=250, blank=True)
    is_active = models.BooleanField(default=True)

    objects = CarerQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["person", "hospital"], name="a_carer_has_one_profile_per_hospital")
        ]

    def __str__(self) -> str:
        return self.person.name


FACILITIES = {
    "pool": _("Pool"),
    "aviary": _("Aviary"),
    "quarantine": _("Separate quarantine room"),
    "heated": _("Heated room or vivarium"),
    "outdoor_pen": _("Outdoor pen"),
}


class CarerAway(models.Model):
    """Days, both ends included, on which a carer can neither nurse nor drive."""

    carer = models.ForeignKey(Carer, models.CASCADE, related_name="away", db_index=False)
    starts_on = models.DateField(_("from"))
    ends_on = models.DateField(_("until and including"))
    note = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["starts_on"]
        indexes = [models.Index(fields=["carer", "ends_on"], name="away_of_a_carer")]
        constraints = [
            models.CheckConstraint(condition=Q(ends_on__gte=F("starts_on")), name="away_ends_after_it_starts")
        ]


def hospitals_where(person: Person, roles: frozenset[Role]) -> models.QuerySet:
    """Ids of the hospitals at which the person holds one of the roles."""
    return Membership.objects.filter(person=person, role__in=roles).values("hospital_id")


def away_spans(carer: Carer, since: date) -> list[tuple[date, date]]:
    """The carer's away spans that are not over by `since`."""
    return list(carer.away.filter(ends_on__gte=since).values_list("starts_on", "ends_on"))


# --- signing in ---------------------------------------------------------------------------------------------------


class Tries(models.Model):
    """How often something was tried by or for somebody until a moment; `key` is a hash, so that it names nobody."""

    key = models.CharField(max_length=64, unique=True)
    count = models.PositiveIntegerField(default=0)
    ends_at = models.DateTimeField(db_index=True)


class MailedCode(models.Model):
    """A code that was mailed, for the browser that asked for it. Gone once it was used; nobody's for an unknown address."""

    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    person = models.ForeignKey(Person, models.CASCADE, null=True, related_name="+")
    digest = models.CharField(max_length=64)
    asked_at = models.DateTimeField(db_index=True)
    wrong = models.PositiveSmallIntegerField(default=0)


class SignedIn(models.Model):
    """One browser in which a person signed in, until they sign out there."""

    class By(models.TextChoices):
        PASSWORD = "password", _("Password")
        CODE = "code", _("Mailed code")
        PASSKEY = "passkey", _("Passkey")
        INVITATION = "invitation", _("Invitation")

    person = models.ForeignKey(Person, models.CASCADE, related_name="signed_in")
    session_key = models.CharField(max_length=40, unique=True)
    by = models.CharField(max_length=10, choices=By)
    device = models.CharField(max_length=80, blank=True)
    signed_in_at = models.DateTimeField()
    seen_on = models.DateField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-signed_in_at"]


class Passkey(models.Model):
    """A passkey (W3C WebAuthn): the public half of a pair whose other half stays on the person's own device."""

    person = models.ForeignKey(Person, models.CASCADE, related_name="passkeys")
    name = models.CharField(_("name"), max_length=60)
    credential_id = models.CharField(max_length=1400, unique=True)  # base64url; at most 1023 bytes by the standard
    credential = models.TextField()  # base64url of the attested credential data: id and public key
    sign_count = models.PositiveBigIntegerField(default=0)
    made_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["made_at"]


class InvitationQuerySet(models.QuerySet):
    def open(self) -> InvitationQuerySet:
        return self.filter(accepted_at=None, withdrawn_at=None)

    def visible_to(self, person: Person) -> InvitationQuerySet:
        return self.filter(hospital__in=hospitals_where(person, frozenset({Role.COORDINATOR})))


class Invitation(models.Model):
    """Somebody was asked by e-mail to work with a hospital. The secret of the link is kept as a hash only."""

    hospital = models.ForeignKey(Hospital, models.CASCADE, related_name="invitations")
    email = models.EmailField(_("e-mail address"))
    role = models.CharField(_("role"), max_length=12, choices=Role)
    digest = models.CharField(max_length=64, unique=True)
    invited_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    sent_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    accepted_at = models.DateTimeField(null=True, blank=True)
    accepted_by = models.ForeignKey(Person, models.PROTECT, null=True, blank=True, related_name="+")
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    objects = InvitationQuerySet.as_manager()

    class Meta:
        ordering = ["-sent_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["hospital", "email", "role"],
                condition=Q(accepted_at=None, withdrawn_at=None),
                name="one_open_invitation_per_address_and_role",
            ),
            models.CheckConstraint(condition=Q(role__in=Role.values), name="invitation_role_is_known"),
        ]
