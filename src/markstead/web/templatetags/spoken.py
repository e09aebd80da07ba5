"""Filters for what is said: days, and words that stand in a table. Every template has them."""

from django import template

from markstead import speech

register = template.Library()

for write in (speech.day_words, speech.date_words, speech.day_short):
    register.filter(write.__name__, write)


@register.filter
def say(text: str) -> str:
    """Words that code keeps in English in a table: {{ page.kind|say }}."""
    return speech.say(str(text))
