"""Everything a company owns as one file, and that file taken in by an empty brewbar with nothing changed.

writing is the front door of export, taking_in of import; dictionary says what is in the file.
"""

FORMAT = 1
"""Of the file as a whole. A column that is added with a default needs no other one."""

MANIFEST, README, DICTIONARY, RECIPES = "export.json", "README.txt", "dictionary.csv", "recipes.json"
