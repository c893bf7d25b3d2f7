"""Days, labels and lines of the reference as templates show them in the reader's language (hospital.words)."""

from datetime import date, datetime

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.timezone import localtime

from hospital import words

register = template.Library()


@register.filter
def day(on: date | datetime | None, form: str) -> str:
    """A day in one of our forms: {{ made_on|day:"D j M Y" }}."""
    return words.dated(localtime(on) if isinstance(on, datetime) and on.tzinfo else on, form)


@register.filter
def lowered(text: str) -> str:
    """A label within a sentence."""
    return words.lowered(str(text))


@register.filter
def said(text: str) -> str | SafeString:
    """A line of the reference or of a vet."""
    return marked(words.said(str(text or "")))


@register.filter
def marked(text: str) -> str | SafeString:
    """A line that stayed English is told to screen readers as English."""
    if not str(text).startswith(words.IN_ENGLISH):
        return text
    return format_html('<span lang="en">{}</span>', text)
