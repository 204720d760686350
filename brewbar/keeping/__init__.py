"""Backups: one file that holds everything an installation keeps, made while it runs, and brought back."""
