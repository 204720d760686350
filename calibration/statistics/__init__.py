"""The statistics of many brews, pure: no Django, no clock, no database."""
