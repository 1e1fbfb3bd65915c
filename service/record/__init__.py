"""A record for the file: one question and its answer as a page that a client can read and a checker can check.

    operation = operation_of(request)                             which question it asks
    answer = ...                                                  what stands at path_of(operation)
    html = record(operation, request, answer, figures)            a self-contained page of HTML
    pdf(html)                                                     the same as PDF
    faults_of(html)                                               what is wrong with a page, in sentences

It needs the packages of the extra ``record``; without them the functions raise ImportError.
"""

from service.record.checking import document_in, faults_of
from service.record.files import PANGO, pdf, record, tax_year_of
from service.record.questions import operation_of, path_of

__all__ = ["PANGO", "document_in", "faults_of", "operation_of", "path_of", "pdf", "record", "tax_year_of"]
