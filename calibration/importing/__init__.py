"""A spreadsheet as people keep it -> typed rows, each with a verdict in words. Pure: no Django, saves nothing.

`reading.open_sheet` takes a file apart, `columns.guess` says which column is what, `settling.settle` decides what only
a whole column can tell (its decimal mark, its order of day and month), and `verdicts.judge` says of every row what it
holds and what is wrong with it, where, and how to mend it.
"""
