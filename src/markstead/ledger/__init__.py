"""Facts: frozen values in the past tense, their serial form and the hash chain."""

from markstead.ledger.facts import KINDS, PRACTICE, AnyFact, CopyId, PersonId, Presence, Step, StopId, WordsId
from markstead.ledger.serial import ROOT, Entry, body_of, chain, link, read_body, words_id

__all__ = [
    "KINDS",
    "PRACTICE",
    "ROOT",
    "AnyFact",
    "CopyId",
    "Entry",
    "PersonId",
    "Presence",
    "Step",
    "StopId",
    "WordsId",
    "body_of",
    "chain",
    "link",
    "read_body",
    "words_id",
]
