"""Warnings: what a person's circumstances and withdrawals bring with them, from plain facts per person and tax year.

``circumstances`` says what is known, ``warning`` what is told. Each topic has a module in which every rule stands with what the
catalogue says of its warning (see ``topic``); ``registry`` joins them and runs them. The answers only gather the facts.
"""
