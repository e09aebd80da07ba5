"""Filters for what is said: days, and words that stand in a table. Every template has them."""

from datetime import date

from django import template

from markstead import speech

register = template.Library()

for write in (
    speech.day_words,
    speech.date_words,
    speech.day_short,
    speech.day_of_month,
    speech.short_day_of_month,
    speech.short_date,
    speech.month_words,
    speech.month_name,
    speech.weekday,
    speech.weekday_short,
):
    register.filter(write.__name__, write)
register.filter("begun", speech.begun)


@register.filter
def say(text: str) -> str:
    """Words that code keeps in English in a table: {{ page.kind|say }}."""
    return speech.say(str(text))


@register.filter
def at_clock(day: date) -> str:
    """A time of day: 09:05."""
    return f"{day:%H:%M}"
