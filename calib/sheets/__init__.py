"""Sheets of tags and the card as a PDF at true size."""
