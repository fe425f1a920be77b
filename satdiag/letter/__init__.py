"""One-page letters in plain words, made from the findings of a job: to the customer, the provider, the dealer."""

from satdiag.letter.page import letter_html, letter_of, letter_text
from satdiag.letter.parts import RECIPIENTS, Letter, Recipient
from satdiag.letter.writing import write_letter

__all__ = ["RECIPIENTS", "Letter", "Recipient", "letter_html", "letter_of", "letter_text", "write_letter"]
