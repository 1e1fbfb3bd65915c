"""Warnings: what a person's circumstances and withdrawals bring with them, from plain facts per person and tax year.

``circumstances`` says what is known, ``catalogue`` what each warning is, the topic modules when it applies, ``rules`` lists
them all. The answers of a quote, of a plan and of POST /v1/warnings only gather the facts.
"""
