"""Statistics of a spreadsheet at the command line: a CSV file in, an answer for people and for machines out.

`sheet` reads the file and `columns` picks from it; `answer` is what comes out. Every other module is one kind of study:
its `study` calls the pure functions of `calibration.statistics`. `options` names them all without importing one, so
that only the kind asked for loads numpy and scipy. Nothing here knows Django or a database.
"""
