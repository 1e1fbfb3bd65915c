"""A record for the file: one question and its answer as a page that a client can read and a checker can check.

    html = record("withdrawal-tax", request, answer, figures)     a self-contained page of HTML
    pdf(html)                                                     the same as PDF
    faults_of(html)                                               what is wrong with a page, in sentences

It needs the packages of the extra ``record``; without them the functions raise ImportError.
"""

from service.record.checking import document_in, faults_of
from service.record.files import pdf, record, tax_year_of

__all__ = ["document_in", "faults_of", "pdf", "record", "tax_year_of"]
