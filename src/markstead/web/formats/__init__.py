"""How a bare number in a template is written: as scripts, drawings and fields read it, in every language.

A number that a person reads is put into words by the code, with the language's own marks.
"""
