"""Spreadsheets become readings and batches: looked at row by row, brought in whole, and taken back whole.

`uploads` keeps a file and what was answered about it between one page and the next; `known` is what brewbar has under
which name; `turning` makes an entry of a row, `looking` judges all of them as the form would, and `saving` brings them
in at once (`lots` those of coffees and batches). `shown_rows` is a page of them, each as it is read.
`undoing` takes an import back. `working` does what takes long.
"""
