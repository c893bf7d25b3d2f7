"""Pages of the register. Vets and nurses write, coordinators read, carers never come here."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from hospital.clock import now
from hospital.pages import both_versions, done, show, status_of
from hospital.people.access import for_roles
from hospital.people.models import CLINICAL, STAFF, Role
from hospital.register import actions, forms
from hospital.register.export import as_csv, as_pdf
from hospital.register.models import DrugForm, Kind, RegisterLine, RegisterPage
from hospital.register.queries import balance_of, corrected_thousandths, fault_of, faults, first_count, lines_of, rules_of, standings
from hospital.register.wording import amount, fault, rows, signed, title
from hospital.rules.register import amount_of

LINES_A_PAGE = 50
READERS, WRITERS = for_roles(*STAFF), for_roles(*CLINICAL)


def _pages(request: HttpRequest):
    """The register of the hospital one works at now: roles are held there."""
    return RegisterPage.objects.visible_to(request.user).at(request.hospital).select_related("hospital")


def _page(request: HttpRequest, page_id: int) -> RegisterPage:
    return get_object_or_404(_pages(request), pk=page_id)


def _line(request: HttpRequest, page_id: int, number: int) -> RegisterLine:
    return get_object_or_404(lines_of(_page(request, page_id)), number=number)


def _may_write(request: HttpRequest) -> bool:
    return bool(request.roles & CLINICAL)


# --- reading ------------------------------------------------------------------------------------------------------


@require_GET
@READERS
def register(request: HttpRequest) -> HttpResponse:
    """Every page with its balance and what is to settle."""
    found = standings(_pages(request), request.hospital, now())
    said = [{"standing": each, "title": title(each.page), "balance": amount(each.page, each.balance_thousandths)} for each in found]
    context = {
        "in_use": [each for each in said if each["standing"].is_in_use],
        "empty": [each for each in said if not each["standing"].is_in_use],
        "may_write": _may_write(request),
        "may_rule": Role.VET in request.roles,
    }
    return show(request, "register/register.html", context)


@require_GET
@READERS
def page(request: HttpRequest, page_id: int) -> HttpResponse:
    """One page, the newest lines first."""
    shown = _page(request, page_id)
    [standing] = standings(_pages(request).filter(pk=shown.pk), request.hospital, now())
    lines = Paginator(lines_of(shown).order_by("-number"), LINES_A_PAGE).get_page(request.GET.get("page"))
    found = fault_of(shown)
    context = {
        "shown": shown,
        "title": title(shown),
        "standing": standing,
        "balance": amount(shown, standing.balance_thousandths),
        "rows": rows(lines),
        "lines": lines,
        "fault": fault(found) if found else "",
        "may_write": _may_write(request),
        "waits_for_count": first_count(shown, now()),
    }
    return show(request, "register/page.html", context)


@require_GET
@READERS
def check(request: HttpRequest) -> HttpResponse:
    """Whether every chain holds, and what that proves."""
    pages = list(_pages(request))
    found = {page.pk: fault(each) for page, each in faults(pages)}
    wanted = request.GET.get("hash", "").strip().lower()[:80]
    lines = RegisterLine.objects.filter(page__in=pages, hash=wanted).exclude(page__in=found)
    context = {
        "checked": [(page, title(page), found.get(page.pk, "")) for page in pages],
        "wanted": wanted,
        "on_paper": lines.select_related("page").first() if wanted else None,
    }
    return show(request, "register/check.html", context)


@require_GET
@READERS
def print_set(request: HttpRequest) -> HttpResponse:
    """The printed register: all of it, or one page."""
    return _file(as_pdf(request.hospital, _chosen(request)), "register.pdf", "application/pdf")


@require_GET
@READERS
def export(request: HttpRequest) -> HttpResponse:
    """The register as a file for a spreadsheet or another program."""
    return _file(as_csv(request.hospital, _chosen(request)), "register.csv", "text/csv; charset=utf-8")


def _chosen(request: HttpRequest):
    wanted = request.GET.get("only", "")
    return _pages(request).filter(pk=int(wanted)) if wanted.isdecimal() and len(wanted) < 19 else _pages(request)


def _file(content: bytes | str, name: str, kind: str) -> HttpResponse:
    headers = {"Content-Disposition": f'inline; filename="{name}"' if name.endswith("pdf") else f'attachment; filename="{name}"'}
    return HttpResponse(content, content_type=kind, headers=headers | {"X-Content-Type-Options": "nosniff"})


@require_GET
@READERS
def count_sheet(request: HttpRequest) -> HttpResponse:
    """Paper for a count by two: no balance on it, and the newest hash of each page to compare later."""
    found = [each for each in standings(_pages(request), request.hospital, now()) if each.is_in_use]
    context = {"rows": [(each, title(each.page)) for each in found], "printed_at": now()}
    return show(request, "register/count_sheet.html", context)


# --- writing ------------------------------------------------------------------------------------------------------


@WRITERS
def open_page(request: HttpRequest) -> HttpResponse:
    form = forms.PageForm(request.POST or None)
    if done(form, actions.open_page, request.hospital, by=request.user):
        messages.success(request, _("The page is open. Write down what is there: receive it, with the document."))
        return redirect("register:page", form.result.pk)
    return show(request, "register/open.html", {"form": form}, part="register/_open_form.html", status=status_of(form))


def _enter(
    request: HttpRequest, page_id: int, kind: type[forms.SignedForm], action: Callable[..., Any], heading: str, save: str
) -> HttpResponse:
    """A page on which stock moves."""
    page = _page(request, page_id)
    form = kind(request.POST or None, page=page, by=request.user)
    if done(form, action, page, by=request.user):
        _say_written(request, form.result)
        return redirect("register:page", page.pk)
    context = {"form": form, "shown": page, "title": title(page), "heading": heading, "save": save}
    context |= {"balance": amount(page, balance_of(page)), "sharps": kind is forms.UseForm and page.form == DrugForm.INJECTION}
    return show(request, "register/entry.html", context, part="register/_entry_form.html", status=status_of(form))


def _say_written(request: HttpRequest, line: RegisterLine) -> None:
    if line.kind == Kind.WITNESSED:
        return messages.success(request, _("Signed. Line %(number)d has its witness now.") % {"number": line.refers_to.number})
    told = {"number": line.number, "left": amount(line.page, balance_of(line.page))}
    messages.success(request, _("Line %(number)d is written. There should be %(left)s now.") % told)
    if line.is_witness_asked and line.witness_id is None:
        messages.warning(request, _("It is not witnessed yet. Ask who saw it to sign it within ten minutes."))


@WRITERS
def receive(request: HttpRequest, page_id: int) -> HttpResponse:
    return _enter(request, page_id, forms.ReceiveForm, actions.receive, _("Receive stock"), _("Write it down"))


@WRITERS
def use(request: HttpRequest, page_id: int) -> HttpResponse:
    return _enter(request, page_id, forms.UseForm, actions.use, _("Draw up a dose"), _("Write it down"))


@WRITERS
def discard(request: HttpRequest, page_id: int) -> HttpResponse:
    return _enter(request, page_id, forms.DiscardForm, actions.discard, _("Waste or destroy stock"), _("Write it down"))


@WRITERS
def transfer(request: HttpRequest, page_id: int) -> HttpResponse:
    return _enter(request, page_id, forms.TransferForm, actions.transfer, _("Transfer stock"), _("Write it down"))


@WRITERS
def correct(request: HttpRequest, page_id: int, number: int) -> HttpResponse:
    """A counter-entry to one line."""
    line = _line(request, page_id, number)
    right = amount_of(abs(corrected_thousandths(line)))
    form = forms.CorrectForm(request.POST or None, page=line.page, by=request.user, initial={"should_be": right.normalize()})
    return _about_line(request, line, form, actions.correct, _("Correct line %(number)d"), _("Write the correction"))


@WRITERS
def settle(request: HttpRequest, page_id: int, number: int) -> HttpResponse:
    """Close the difference that a count found."""
    line = _line(request, page_id, number)
    form = forms.SettleForm(request.POST or None, page=line.page, by=request.user)
    return _about_line(request, line, form, actions.settle, _("Close the difference of line %(number)d"), _("Close the difference"))


@WRITERS
def witness(request: HttpRequest, page_id: int, number: int) -> HttpResponse:
    """Sign a line of somebody else's that one saw."""
    line = _line(request, page_id, number)
    form = forms.WitnessForm(request.POST or None, by=request.user, line=line)
    return _about_line(request, line, form, actions.witness_later, _("Witness line %(number)d"), _("I saw this: sign"))


def _about_line(
    request: HttpRequest, line: RegisterLine, form: Any, action: Callable[..., Any], heading: str, save: str
) -> HttpResponse:
    if done(form, action, line, by=request.user):
        _say_written(request, form.result)
        return redirect("register:page", line.page_id)
    context = {"form": form, "shown": line.page, "title": title(line.page), "row": rows([line])[0], "save": save}
    context["heading"] = heading % {"number": line.number}
    return show(request, "register/entry.html", context, part="register/_entry_form.html", status=status_of(form))


@WRITERS
def count(request: HttpRequest, page_id: int) -> HttpResponse:
    """Enter a count without seeing the balance, nor what the other person counted."""
    page = _page(request, page_id)
    form = forms.CountForm(request.POST or None, page=page, by=request.user)
    if done(form, actions.count, page):
        return _after_count(request, page, form.result)
    context = {"form": form, "shown": page, "title": title(page)}
    return show(request, "register/count.html", context, part="register/_count_form.html", status=status_of(form))


def _after_count(request: HttpRequest, page: RegisterPage, counted: actions.Counted) -> HttpResponse:
    if counted.is_waiting:
        messages.info(request, _("Your count is kept and not shown. Now the second person counts, without knowing it."))
        return redirect("register:count", page.pk)
    if counted.is_differing:
        messages.error(request, _("The two counts differ, so nothing is written. Both count again, each without the other's figure."))
        return redirect("register:count", page.pk)
    if difference := counted.line.difference_thousandths:
        told = {"number": counted.line.number, "amount": signed(page, difference)}
        sentence = _("Line %(number)d: the count differs from the register by %(amount)s. Look for the cause, then close it.")
        messages.error(request, sentence % told)
    else:
        messages.success(request, _("Line %(number)d: the count agrees with the register.") % {"number": counted.line.number})
    return redirect("register:page", page.pk)


@for_roles(Role.VET)
def change_rules(request: HttpRequest) -> HttpResponse:
    """For what a witness is asked, and how often the stock is counted."""
    asked = rules_of(request.hospital)
    known = {"witness_for": asked.witness_for, "count_every_days": asked.count_every_days, "seen_version": asked.version}
    form = forms.RulesForm(request.POST or None, initial=known)
    if done(form, actions.change_rules, request.hospital):
        messages.success(request, _("Saved. Lines written before keep what was asked then."))
        return redirect("register:register")
    context = {"form": form} | ({"rows": both_versions(form)} if hasattr(form, "collision") else {})
    return show(request, "register/rules.html", context, part="register/_rules_form.html", status=status_of(form))
