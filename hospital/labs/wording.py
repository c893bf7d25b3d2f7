"""Results in words: never by colour alone, and never against a range that nobody gave."""

from __future__ import annotations

from django.utils.translation import gettext as _

from hospital.admissions.days import in_words
from hospital.labs.models import Finding, Sample
from hospital.rules.ranges import verdict
from hospital.rules.wording import number


def how(finding: Finding) -> str:
    """ "low", "high", "within" or "" of the range that came with the result."""
    return verdict(finding.value, finding.words, finding.low, finding.high)


def verdict_in_words(finding: Finding) -> str:
    words = {"low": _("below the range"), "high": _("above the range"), "within": _("in the range")}
    return words.get(how(finding), "")


def value_line(finding: Finding) -> str:
    """ "31 %", or what was written."""
    if finding.value is None:
        return " ".join(part for part in (finding.words, finding.unit) if part)
    return f"{number(finding.value)}\N{NO-BREAK SPACE}{finding.unit}".rstrip()


def range_line(finding: Finding) -> str:
    if finding.low is None and finding.high is None:
        return ""
    if finding.low is None:
        return _("up to %s") % number(finding.high)
    return _("from %s") % number(finding.low) if finding.high is None else f"{number(finding.low)}–{number(finding.high)}"


def finding_line(finding: Finding) -> str:
    """ "Lead: 38 µg/dL, above the range"."""
    verdict_words = verdict_in_words(finding)
    is_odd = how(finding) in ("low", "high")
    return f"{finding.name}: {value_line(finding)}" + (f", {verdict_words}" if is_odd else "")


def sample_title(sample: Sample) -> str:
    """ "Blood" or "Swab, left wing"."""
    return f"{sample.get_kind_display()}, {sample.site}" if sample.site else str(sample.get_kind_display())


def waiting_line(sample: Sample) -> str:
    """ "Droppings, taken Tue 05-Jan-2027: no result yet"."""
    said = {"what": sample_title(sample), "on": in_words(sample.taken_on)}
    words = _("%(what)s, taken %(on)s: no result yet") % said
    return f"{words} ({sample.laboratory})" if sample.laboratory else words


def result_lines(sample: Sample) -> list[str]:
    """A result line by line, what lies outside its range first; then what it says as a whole."""
    findings = sorted(sample.findings.all(), key=lambda each: how(each) not in ("low", "high"))
    return [*(finding_line(each) for each in findings), *([sample.conclusion] if sample.conclusion else [])]
